# SPDX-License-Identifier: Apache-2.0
"""The page of `serosa validate`, held against validation.csv. check_validation.py SEROSA REPOSITORY FOLDER TEST"""
import csv
import math
import re
import sys
import time

from selenium.webdriver.common.by import By

from browser import (browser, charts, close_figure, fresh, no_complaints, opened, requests, root, screenshot,
                     serosa, size, text_of, work, CAUTION)
def in_words(text):
    return re.sub(r"(?<=[ cm])m2\b|\bm2\b", "m²", text.replace("degC", "°C"))


def opens():
    fresh()
    serosa("validate", "--quiet", "--out", "validation")
    folder = work / "validation"
    kept = (folder / "report.html").read_bytes()
    (folder / "report.html").unlink()
    serosa("page", folder, "--quiet")
    assert (folder / "report.html").read_bytes() == kept, "`serosa page` makes another page"
    with open(folder / "validation.csv", newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["low"] or row["high"]]
    driver = browser()
    try:
        page = opened(driver, folder)
        sections = {section["id"]: section for section in page["sections"]}
        text = text_of(driver)
        assert text.count(CAUTION) == 2
        for wrong in (r"[a-z]_[a-z]", r"degC", r"`|\*\*", r"\bnull\b|NaN|undefined"):
            found = [line for line in text.splitlines() if re.search(wrong, line)]
            found = [line for line in found if not re.search(r"\.(nc|csv|json|yaml)|doi|models/|tests/", line)]
            assert not found, (wrong, found[:5])
        # No name of an experiment's file, and no key of the bibliography.
        names = {path.stem for path in (root / "models" / "published").glob("*.yaml")}
        shown = [name for name in names if re.search(rf"(?<![\w-]){re.escape(name)}(?![\w-])", text) and "-" in name]
        assert not shown, shown
        keys = set(re.findall(r"^@\w+\{(\w*\d{4}\w*),", (root / "models" / "references.bib").read_text(), re.M))
        shown = [key for key in keys if re.search(rf"\b{key}\b", text)]
        assert not shown, shown
        # Every reading with a band stands in a table with its figures, and in a chart where it has two ends.
        tables = [row["cells"] for name, section in sections.items() if re.fullmatch(r"part-\d+", name)
                  for row in (section.get("below") or section["data"])["rows"]]
        assert len(tables) == len(rows) > 60
        left = list(rows)
        for cells in tables:
            title = cells[0].removesuffix(" (calibration)")
            match = next(row for row in left if in_words(row["title"]) == title and in_words(row["reading"]).lower() == cells[1].lower())
            left.remove(match)
            assert cells[4] == "–" or close_figure(cells[4].split(" ")[0], float(match["simulated"])), (cells, match)
            if match["published"]:
                assert close_figure(cells[2].split(" ")[0], float(match["published"])), (cells, match)
        number = 0
        for name, section in sections.items():
            if section["kind"] != "intervals":
                continue
            for panel in section["data"]["panels"]:
                assert len(panel["categories"]) <= 14
                published, inside, outside = panel["series"]
                for i, category in enumerate(panel["categories"]):
                    got = inside["points"][i] or outside["points"][i]
                    match = next(row for row in rows if category.startswith(f"{in_words(row['title'])}, {in_words(row['reading'])}: "))
                    low, high = float(match["low"]), float(match["high"])
                    place = (float(match["simulated"]) - low) / (high - low)
                    assert math.isclose(got["value"], min(max(place, -1.5), 2.5), rel_tol=1e-9, abs_tol=1e-9), (category, got, place)
                    assert bool(inside["points"][i]) == (0 <= place <= 1), category
                    number += 1
        assert number > 50, number
        misses = sections["misses"]["data"]["rows"]
        assert len(misses) == sum(row["verdict"] not in ("holds", "shown") for row in rows)
        assert all(len(row["cells"][4]) > 10 for row in misses)
        assert sections["overview"]["title"].endswith("calibration experiments hold.")
        for title in ("Question of interest and context of use", "Pedigree of the numbers", "Ten rules of credible practice"):
            assert any(section["title"] == title for section in page["sections"]), title
        for figure in charts(driver):
            html = figure.find_element(By.CSS_SELECTOR, ".drawing svg").get_attribute("outerHTML")
            assert not re.search(r"NaN|Infinity|undefined|\bnull\b", html), figure.get_attribute("id")
        screenshot(driver, work / "validation-1280.png", 4000)
        size(driver, 390, 844)
        time.sleep(0.5)
        assert driver.execute_script("return document.documentElement.scrollWidth") <= 390
        screenshot(driver, work / "validation-390.png", 4000)
        no_complaints(driver)
        gone = [url for url in requests(driver) if not url.startswith("file://")]
        assert not gone, f"requests: {gone}"
        driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
        size(driver, 680)
        time.sleep(0.5)
        for figure in charts(driver):
            assert figure.size["height"] < (297 - 30) / 25.4 * 96, (figure.get_attribute("id"), figure.size)
    finally:
        driver.quit()


if __name__ == "__main__":
    {"opens": opens}[sys.argv[4]]()
