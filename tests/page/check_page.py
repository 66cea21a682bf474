# SPDX-License-Identifier: Apache-2.0
"""report.html in a browser. check_page.py SEROSA REPOSITORY FOLDER TEST"""
import csv
import json
import math
import re
import sys
import time

import netCDF4
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

from browser import (CAUTION, browser, charts, close_figure, fresh, no_complaints, opened, printed, requests, screenshot,
                      serosa, shipped, size, text_of, waited, work)

MARKS = "path, line, circle, rect"


def compared(*names, folder="pair"):
    serosa("compare", *[shipped(name) for name in names], "--quiet", "--out", folder)
    return work / folder


def every_chart_is_whole(driver):
    for figure in charts(driver):
        name = figure.get_attribute("id")
        svg = figure.find_element(By.CSS_SELECTOR, ".drawing svg")
        assert svg.get_attribute("role") == "img" and len(svg.get_attribute("aria-label")) > 20, name
        assert svg.find_elements(By.CSS_SELECTOR, f"[data-part] :is({MARKS}), path[data-part]"), f"{name}: no marks"
        parts = driver.execute_script(
            "return [...arguments[0].querySelectorAll('[data-part]')].map(p => [p.dataset.part, p.textContent])", svg)
        labels = [text for part, text in parts if "axis label" in part]
        wanted = 2 if re.match("water|deficits|third-space|temperatures|blood", name) else 1
        assert len(labels) >= wanted and all(label.strip() for label in labels), f"{name}: axes {labels}"
        # Every axis names its unit: hours, or what stands after a comma or alone.
        assert any(re.search(r"\bh$|mL|°C|mmol|mmHg|%|beats", label) for label in labels), labels
        ticks = [text for part, text in parts if "tick label" in part]
        assert ticks and all(text.strip() for text in ticks), f"{name}: no ticks"
        assert not re.search(r"NaN|Infinity|undefined|null", svg.get_attribute("outerHTML")), name


def opens():
    """From disk, without a word on the console or to the network, at two widths."""
    fresh()
    folder = compared("exposed", "wrapped")
    bytes_ = (folder / "report.html").stat().st_size
    assert bytes_ < 1.5e6, bytes_
    again = (folder / "report.html").read_bytes()
    (folder / "report.html").unlink()
    serosa("page", folder, "--quiet")
    assert (folder / "report.html").read_bytes() == again, "`serosa page` makes another page"
    driver = browser()
    try:
        page = opened(driver, folder)
        drawn = float(driver.execute_script("return document.getElementById('page').dataset.drawn"))
        print(f"{bytes_} bytes, drawn {drawn:.0f} ms after the page was opened")
        # Machines that test are slow and shared; on a quiet one it is below 1000.
        assert drawn < 3000, drawn
        text = text_of(driver)
        assert text.count(CAUTION) == 2
        ids = [section["id"] for section in page["sections"]]
        for wanted in ("cases", "care", "water", "deficits", "third-space", "temperatures", "blood",
                       "explained-1", "influence-1", "limits", "words", "origin"):
            assert wanted in ids and driver.find_element(By.ID, wanted).is_displayed(), wanted
        assert len(charts(driver)) == 2 + 2 + 2 + 2 + 4 + 6 + 1 + 2
        every_chart_is_whole(driver)
        # No name of a variable or parameter shows, no minus before nought, nothing undefined.
        assert not re.search(r"[a-z]_[a-z]", text), re.findall(r"\S*[a-z]_[a-z]\S*", text)
        assert not re.search(r"[-−]0(\.0+)?(?![\d.])|NaN|undefined|\bnull\b", text)
        # Series go away and come back by keyboard, in every chart of the section.
        water = driver.find_element(By.ID, "water")
        areas = lambda: len(water.find_elements(By.CSS_SELECTOR, "svg [data-part='area'] path"))
        rows = lambda: len(water.find_elements(By.CSS_SELECTOR, ".readout li"))
        before, lines = areas(), rows()
        button = water.find_element(By.XPATH, ".//button[contains(., 'Evaporated from the bowel')]")
        button.send_keys(Keys.SPACE)
        assert button.get_attribute("aria-pressed") == "false"
        assert areas() == before - 2 and rows() == lines - 2, (before, areas(), lines, rows())
        button.send_keys(Keys.SPACE)
        assert areas() == before and rows() == lines
        # The time slider moves the read-outs.
        readout = lambda: water.find_element(By.CSS_SELECTOR, ".readout").text
        end = readout()
        slider = water.find_element(By.CSS_SELECTOR, "input[type=range]")
        slider.send_keys(Keys.HOME)
        assert readout() != end and "0 min after birth" in water.find_element(By.TAG_NAME, "output").text
        slider.send_keys(Keys.END)
        assert readout() == end
        # So does the pointer.
        from selenium.webdriver import ActionChains
        ActionChains(driver).move_to_element(water.find_element(By.CSS_SELECTOR, ".drawing svg")).perform()
        assert readout() != end
        # The waterfall at another time.
        why = driver.find_element(By.ID, "explained-1")
        drawing = lambda: why.find_element(By.CSS_SELECTOR, "svg").get_attribute("aria-label")
        last = drawing()
        why.find_element(By.CSS_SELECTOR, "button.choice").click()
        assert drawing() != last
        screenshot(driver, work / "page-1280.png")
        size(driver, 390, 844)
        time.sleep(0.5)
        assert driver.execute_script("return document.documentElement.scrollWidth") <= 390
        every_chart_is_whole(driver)
        screenshot(driver, work / "page-390.png")
        no_complaints(driver)
        gone = [url for url in requests(driver) if not url.startswith("file://")]
        assert not gone, f"requests: {gone}"
        # The policy lets nothing out, whoever asks.
        let = driver.execute_async_script(
            "const done = arguments[0];"
            "fetch('http://127.0.0.1:9/').then(() => done('sent'), () => done('refused'));")
        assert let == "refused"
        assert any("Content Security Policy" in entry["message"] for entry in driver.get_log("browser"))
    finally:
        driver.quit()


def figures():
    """What stands on the page are the values of series.nc, bit for bit, and figures of them."""
    fresh()
    driver = browser()
    checked = 0
    try:
        for names in (["exposed", "wrapped"], ["day-one"], ["exposed", "wrapped-loose", "wrapped-tight"]):
            folder = work / "-".join(names)
            command = "run" if len(names) == 1 else "compare"
            serosa(command, *[shipped(name) for name in names], "--quiet", "--out", folder)
            page = opened(driver, folder)
            with netCDF4.Dataset(folder / "series.nc") as file:
                hours = list(map(abs, file["time"][:].filled(math.nan).tolist()))
                value = {name: file[name][:].filled(math.nan) for name in file.variables
                         if file[name].ndim == 2 and file[name].dimensions[1] == "time"}
            weights = [case["weight_kg"] for case in page["cases"]]
            for section in page["sections"]:
                data = section["data"]
                places = [hours.index(t) for t in data.get("times", [])]
                for panel in data.get("panels", []):
                    for series in panel.get("series", []) + panel.get("stack", []) + [
                            one for one in [panel.get("total")] if one]:
                        of = value[series["source"]["variable"]][series["source"]["run"]]
                        for got, place in zip(series["values"], places, strict=True):
                            assert (got is None and math.isnan(of[place])) or got == of[place], (
                                section["id"], series["source"], hours[place], got, of[place])
                            checked += 1
                if section["kind"] == "waterfall":
                    checked += waterfall(section, value, weights, hours)
            bare_numbers(driver, page, value, weights)
            readouts(driver, page, value)
            no_complaints(driver)
    finally:
        driver.quit()
    assert checked > 10000, checked
    print(f"{checked} values are those of the file")


def waterfall(section, value, weights, hours):
    first, second = section["data"]["first"], section["data"]["second"]
    count = 0
    for choice in section["data"]["choices"]:
        place = min(range(len(hours)), key=lambda i: abs(hours[i] - choice["hour"]))
        gap = lambda name: value[name][second][place] / weights[second] - value[name][first][place] / weights[first]
        level = 0.0
        for step in choice["steps"]:
            if "total" in step:
                # The parts add up to the gap of the whole; mL/kg, accounts close far better.
                assert abs(level - step["total"]) < 1e-5, (choice["label"], level, step)
                assert step["total"] == gap(f"{step['style']}_deficit")
            else:
                assert step["value"] == gap(f"part_{step['style']}"), step
                level += step["value"]
            count += 1
    return count


def bare_numbers(driver, page, value, weights):
    section = next(section for section in page["sections"] if section["id"] == "water")
    rows = driver.find_elements(By.CSS_SELECTOR, "#water .numbers tbody tr")
    assert len(rows) == len(section["data"]["numbers"]["rows"]) >= 6
    last = page_time(section, value)
    for row, source in zip(rows, section["data"]["numbers"]["rows"]):
        sign = -1 if source["variable"] in ("oxidation_water", "given_total") else 1
        cells = [cell.text for cell in row.find_elements(By.TAG_NAME, "td")]
        for case, weight in enumerate(weights):
            exact = sign * value[source["variable"]][case][last]
            assert close_figure(cells[2 * case], exact / weight), (source, cells)
            assert close_figure(cells[2 * case + 1], exact), (source, cells)


def page_time(section, value):
    """The last report time is the end of these runs."""
    return value["external_deficit"].shape[1] - 1


def readouts(driver, page, value):
    for section in page["sections"]:
        if section["kind"] != "time_courses":
            continue
        lists = driver.find_elements(By.CSS_SELECTOR, f"#{section['id']} .readout")
        for panel, shown in zip(section["data"]["panels"], lists, strict=True):
            items = [item.text for item in shown.find_elements(By.TAG_NAME, "li")]
            for series, item in zip(panel["series"], items, strict=True):
                exact = value[series["source"]["variable"]][series["source"]["run"]][-1] * series["scale"]
                assert close_figure(item.rsplit(": ", 1)[1], exact), (section["id"], item, exact)


HOSTILE = ['</script><script>window.broken = 1</script>', '<img src=x onerror="window.broken = 2">',
           '"; window.broken = 3; //', "line\u2028separator\u2029", "<!--<script>", "@SCRIPT@ @DATA@ &lt;b&gt;",
           "=HYPERLINK(\"x\")"]


def hostile():
    """Titles and notes of a case stay text."""
    fresh()
    driver = browser()
    try:
        for i, words in enumerate(HOSTILE):
            case = work / f"case{i}.yaml"
            case.write_text(f"based_on: {json.dumps(str(shipped('wrapped')))}\n"
                            f"title: {json.dumps(words)}\nnote: {json.dumps('note ' + words)}\n")
            serosa("run", case, "--quiet", "--out", f"hostile{i}")
            opened(driver, work / f"hostile{i}")
            assert driver.execute_script("return window.broken") is None, words
            squeezed = lambda text: " ".join(text.split())
            assert squeezed(driver.find_element(By.TAG_NAME, "h1").get_attribute("textContent")) == squeezed(words)
            assert squeezed(driver.title) == squeezed(words)
            assert squeezed("note " + words) in squeezed(driver.find_element(By.ID, "cases").get_attribute("textContent"))
            assert not driver.find_elements(By.CSS_SELECTOR, "#page img, #page script, #page iframe")
            assert len(driver.find_elements(By.TAG_NAME, "script")) == 2
            no_complaints(driver)
        policy = driver.find_element(By.CSS_SELECTOR, "meta[http-equiv]").get_attribute("content")
        assert "unsafe" not in policy and "default-src 'none'" in policy, policy
    finally:
        driver.quit()


def prints():
    """A4, no chart cut by the end of a page, no buttons for saving."""
    fresh()
    folder = compared("exposed", "wrapped")
    driver = browser()
    try:
        opened(driver, folder)
        pdf = printed(driver)
        (work / "page.pdf").write_bytes(pdf)
        assert pdf.startswith(b"%PDF-")
        pages = len(re.findall(rb"/Type\s*/Page\b", pdf))
        assert 5 <= pages <= 16, pages
        boxes = re.findall(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)", pdf)
        # A4 is 210 mm by 297 mm (ISO 216), in points.
        assert boxes and all(abs(float(w) - 595.28) < 1 and abs(float(h) - 841.89) < 1 for w, h in boxes), boxes
        # For paper charts are drawn anew at its width, so that their writing keeps its size (A4 less
        # 15 mm on either side is 680 pixels of 1/96 inch), and at that of the screen thereafter.
        widths = lambda: set(driver.execute_script(
            "return [...document.querySelectorAll('.drawing svg')].map(svg => svg.viewBox.baseVal.width)"))
        before = widths()
        driver.execute_script("window.dispatchEvent(new Event('beforeprint'))")
        assert widths() == {326, 680} and not before & {326, 680}, (before, widths())
        driver.execute_script("window.dispatchEvent(new Event('afterprint'))")
        assert widths() == before
        # Chromium lays out print as it lays out the screen of that width: charts may not be taller
        # than a page, and are kept whole.
        driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
        size(driver, 680)
        time.sleep(0.5)
        for figure in charts(driver):
            assert figure.value_of_css_property("break-inside") == "avoid"
            assert figure.size["height"] < (297 - 30) / 25.4 * 96, figure.get_attribute("id")
        for hidden in driver.find_elements(By.CSS_SELECTOR, ".save, nav, .time, details"):
            assert not hidden.is_displayed()
        no_complaints(driver)
    finally:
        driver.quit()


def saves():
    """SVG, PNG and CSV of a chart; the table behind it."""
    fresh()
    case = work / "case.yaml"
    case.write_text(f"based_on: {json.dumps(str(shipped('wrapped')))}\ntitle: \"=1+1\"\n")
    serosa("compare", shipped("exposed"), case, "--quiet", "--out", "pair")
    driver = browser(downloads=work)
    try:
        page = opened(driver, work / "pair")
        for section in ("temperatures", "blood"):
            for button in driver.find_elements(By.CSS_SELECTOR, f"#{section}-1 .save button"):
                driver.execute_script("arguments[0].scrollIntoView({block: 'center'})", button)
                button.click()
                waited(work / f"{section}-1.{button.text.lower()}")
        svg = waited(work / "temperatures-1.svg").read_text()
        import xml.etree.ElementTree as tree
        assert tree.fromstring(svg).tag == "{http://www.w3.org/2000/svg}svg" and "°C" in svg
        assert waited(work / "temperatures-1.png").read_bytes().startswith(b"\x89PNG\r\n\x1a\n")
        with open(waited(work / "temperatures-1.csv"), newline="") as file:
            rows = list(csv.reader(file))
        section = next(section for section in page["sections"] if section["id"] == "temperatures")
        assert [float(row[0]) for row in rows[1:]] == section["data"]["times"]
        assert [float(row[1]) for row in rows[1:]] == section["data"]["panels"][0]["series"][0]["values"]
        assert not [cell for row in rows for cell in row if re.match(r"[=+@\t\r]|-(?![\d.])", cell)]
        details = driver.find_element(By.CSS_SELECTOR, "#temperatures-1 details")
        driver.execute_script("arguments[0].open = true", details)
        time.sleep(0.3)
        assert len(details.find_elements(By.CSS_SELECTOR, "tbody tr")) == len(section["data"]["times"])
        no_complaints(driver)
    finally:
        driver.quit()


if __name__ == "__main__":
    {"opens": opens, "figures": figures, "hostile": hostile, "prints": prints, "saves": saves}[sys.argv[4]]()
