# SPDX-License-Identifier: Apache-2.0
"""The pages of review, sensitivity, fit and --spread, held against their tables.
check_findings.py SEROSA REPOSITORY FOLDER TEST"""
import base64
import csv
import math
import re
import sys
import time

from selenium.webdriver.common.by import By

from browser import browser, root, screenshot, serosa, shipped, size, work
from check_page import CAUTION, charts, close_figure, fresh, no_complaints, opened, requests, text_of

EXPLORATION = "not recommendation"


def made(name, text, command, *more):
    """The folder of results of a study, a review or a fit."""
    path = work / f"{name}.yaml"
    path.write_text(text)
    serosa(command, path, *more, "--quiet", "--out", name)
    return work / name


def table(path):
    with open(path, newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def words(driver):
    text = text_of(driver)
    assert text.count(CAUTION) == 2
    for wrong in (r"[a-z]_[a-z]", r"degC", r"\bnull\b|NaN|undefined", r"(?<![\w/])-\d", r"\b1\.00 %|\b[1-9]0\.0 %"):
        found = [line for line in text.splitlines() if re.search(wrong, line)
                 and not line.startswith("Changed on the command line")]
        assert not found, (wrong, found[:5])
    return text


def drawn(driver):
    """Every chart has marks, a name for those who can't see it, and an axis with its unit."""
    for figure in charts(driver):
        name = figure.get_attribute("id")
        if not figure.is_displayed():  # another choice is shown in its place
            continue
        svg = figure.find_element(By.CSS_SELECTOR, ".drawing svg")
        assert len(svg.get_attribute("aria-label")) > 20, name
        html = svg.get_attribute("outerHTML")
        assert not re.search(r"NaN|Infinity|undefined|\bnull\b", html), name
        box = svg.rect
        for label in svg.find_elements(By.CSS_SELECTOR, "text"):
            place = label.rect
            assert place["x"] >= box["x"] - 2 and place["x"] + place["width"] <= box["x"] + box["width"] + 2, (
                name, label.text, place, box)


def looked_at(driver, folder, name):
    """At two widths and on paper, without a word on the console or to the network."""
    kept = (folder / "report.html").read_bytes()
    (folder / "report.html").unlink()
    serosa("page", folder, "--quiet")
    assert (folder / "report.html").read_bytes() == kept, "`serosa page` makes another page"
    page = opened(driver, folder)
    text = words(driver)
    for section in page["sections"]:
        assert driver.find_element(By.ID, section["id"]).is_displayed(), section["id"]
    drawn(driver)
    screenshot(driver, work / f"{name}-1280.png")
    size(driver, 390, 844)
    time.sleep(0.4)
    assert driver.execute_script("return document.documentElement.scrollWidth") <= 390
    drawn(driver)
    screenshot(driver, work / f"{name}-390.png")
    no_complaints(driver)
    gone = [url for url in requests(driver) if not url.startswith("file://")]
    assert not gone, f"requests: {gone}"
    size(driver, 1280)
    pdf = base64.b64decode(driver.execute_cdp_cmd(
        "Page.printToPDF", {"preferCSSPageSize": True, "printBackground": True})["data"])
    (work / f"{name}.pdf").write_bytes(pdf)
    driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    size(driver, 680)
    time.sleep(0.4)
    for figure in charts(driver):
        assert figure.size["height"] < (297 - 30) / 25.4 * 96, (figure.get_attribute("id"), figure.size)
    driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})
    size(driver, 1280)
    return page, {section["id"]: section for section in page["sections"]}, text


def in_browser(test):
    driver = browser()
    try:
        test(driver)
    finally:
        driver.quit()


REVIEW = """title: Three plans, two wraps
case: to-be-filled
protocols: [fixed-by-day, bolus-10-by-trigger, bolus-20-routine]
covers:
  wrapped at 3 min: {}
  wrapped loosely: {set: {timeline.wrap.seal: 60 %}}
cohort: gastroschisis
design: {runs: 12, seed: 3}
until: 12 h
failed_runs: exclude
"""


def review(driver):
    folder = made("plans", REVIEW, "review")
    page, sections, text = looked_at(driver, folder, "plans")
    assert EXPLORATION in text
    assert list(sections) == ["hours", "babies", "ranks", "harm", "fluid", "chart", "uncharted"]
    value = {(r["protocol"], r["cover"], r["verdict"]): float(r["value"]) for r in table(folder / "review.csv")}
    plans = ("fixed-by-day", "bolus-10-by-trigger", "bolus-20-routine")
    # Shares are those of the table, under-filled and over-filled alike.
    for kind, under, inside, over in (("hours", "hours_under", "hours_in_band", "hours_over"),
                                      ("babies", "under", "in_band", "over")):
        for panel in sections[kind]["data"]["panels"]:
            parts = [part["label"].split(":")[0] for part in panel["parts"]]
            for plan, shares in zip(plans, panel["shares"]):
                at = lambda verdict: value[plan, panel["title"], verdict]  # noqa: E731
                share = dict(zip(parts, shares))
                assert math.isclose(share["Under-filled"] + share["Both"], at(under), abs_tol=1e-9)
                assert math.isclose(share["Over-filled"] + share["Both"], at(over), abs_tol=1e-9)
                assert math.isclose(share["In band"], at(inside), abs_tol=1e-9)
    # A title says where a figure is least and where it is most.
    for kind, verdicts, factor in (("babies", ["in_band"], 100), ("harm", ["hours_under", "hours_over"], 100),
                                   ("fluid", ["fluid", "boluses"], 1), ("chart", ["charted", "circulating"], 1),
                                   ("uncharted", ["uncharted_loss"], 100)):
        title = sections[kind]["title"]
        told = re.findall(r"[−-]?\d+(?:\.\d+)?", title)
        for verdict in verdicts:
            every = [factor * x for (_, _, v), x in value.items() if v == verdict]
            for end in (min(every), max(every)):
                assert any(close_figure(one, end) for one in told), (title, verdict, end)
    harm = [panel["title"] for panel in sections["harm"]["data"]["panels"]]
    assert len(harm) == 5 and "over-filled" in " ".join(harm) and "deficit" in harm[0], harm
    # Ranks: the order and figures of ranking.csv, and who cannot be told from the first.
    ranks = table(folder / "ranking.csv")
    cells = [row["cells"] for row in sections["ranks"]["data"]["rows"]]
    for rank, row in zip(ranks, cells):
        assert close_figure(row[3].split(" ")[0].replace("−", "-"), float(rank["utility"])), (rank, row)
    held = [row[1] for row, rank in zip(cells[1:], ranks[1:])
            if float(rank["low of that"]) <= 0 <= float(rank["high of that"])]
    assert all(name in sections["hours"]["title"] for name in held), (held, sections["hours"]["title"])
    # Chart against truth: of each protocol, by choice.
    chart = driver.find_element(By.ID, "chart")

    def shown():
        driver.execute_script("arguments[0].scrollIntoView()", chart)  # charts are drawn when they come into sight
        for _ in range(40):
            found = [svg for svg in chart.find_elements(By.CSS_SELECTOR, ".drawing svg") if svg.is_displayed()]
            if found:
                return found[0].get_attribute("aria-label")
            time.sleep(0.05)
        raise AssertionError("no chart after a choice")

    buttons = [b for b in chart.find_elements(By.CSS_SELECTOR, "button.choice")]
    assert len(buttons) == 3, [b.text for b in buttons]
    seen = set()
    for button in buttons:
        button.click()
        seen.add(shown())
    assert len(seen) == 3
    curves = {(r["arm"], r["deficit"], float(r["time [h]"])): float(r["middle [mL/kg]"]) for r in table(folder / "chart.csv")}
    one = sections["chart"]["data"]["alternatives"][0]["data"]
    for panel in one["panels"]:
        for series, deficit in zip(panel["series"], ("charted", "all routes", "circulating")):
            arm = f"{plans[0]} + {panel['title']}"
            assert math.isclose(series["values"][-1], curves[arm, deficit, 12.0], abs_tol=1e-9), (arm, deficit)


CORRIDOR = """title: A map over numbers of a protocol
case: to-be-filled
protocols: [bolus-10-by-trigger]
corridor:
  x: {label: Maintenance, set: [protocol.orders.line.rate], values: [40 mL/kg/d, 80 mL/kg/d, 130 mL/kg/d]}
  y: {label: Volume of a bolus, set: [protocol.rules.bolus for urine.do.volume], values: [5 mL/kg, 15 mL/kg]}
  level: 60 %
cohort: gastroschisis
design: {runs: 8, seed: 3}
until: 12 h
failed_runs: exclude
"""


def corridor(driver):
    folder = made("map", CORRIDOR, "review")
    page, sections, text = looked_at(driver, folder, "map")
    assert EXPLORATION in text and list(sections) == ["corridor", "uncharted"]
    cells = {(r["Maintenance"], r["Volume of a bolus"], r["verdict"]): r for r in table(folder / "corridor.csv")}
    xs, ys = ("40 mL/kg/d", "80 mL/kg/d", "130 mL/kg/d"), ("5 mL/kg", "15 mL/kg")
    for panel, verdict in zip(sections["corridor"]["data"]["panels"],
                              ("hours_in_band", "hours_under", "hours_over", "hours_sodium_low")):
        values = [100 * float(cells[x, y, verdict]["value"]) for y in ys for x in xs]
        assert all(math.isclose(a, b, abs_tol=1e-9) for a, b in zip(panel["values"], values)), verdict
        if verdict == "hours_in_band":
            assert panel["marked"] == [i for i, v in enumerate(values) if v >= 60]
    # The table has the intervals, its star the corridor.
    for row in sections["corridor"]["below"]["rows"]:
        y = row["cells"][0]
        for x, cell in zip(xs, row["cells"][1:]):
            r = cells[x, y, "hours_in_band"]
            figures = re.match(r"(\S+) \((\S+) to (\S+)\)( \*)?$", cell)
            for got, name in zip(figures.groups(), ("value", "low", "high")):
                assert close_figure(got, 100 * float(r[name])), (cell, r)
            assert bool(figures[4]) == (float(r["value"]) >= 0.6), (cell, r)
    count = sum(float(cells[x, y, "hours_in_band"]["value"]) >= 0.6 for x in xs for y in ys)
    assert sections["corridor"]["title"].startswith(str(count) if count else "No"), sections["corridor"]["title"]


STUDY = """title: What carries the water of a wrapped bowel
arms: {exposed: {case: exposed}, wrapped: {case: wrapped}}
vary:
  bowel.spread: {law: triangular, from: 0, mode: 0.2, to: 0.6}
  air.temperature: {law: uniform, from: 22 degC, to: 28 degC}
  air.speed: {law: uniform, from: 0.05 m/s, to: 0.3 m/s}
  timeline.wrap.seal: {law: uniform, from: 70 %, to: 98 %}
  timeline.wrap.at: {law: uniform, from: 2 min, to: 9 min}
  parameters.dried_serosa_resistance: published
outputs: [bowel_evaporation, core_temperature]
times: [30 min, 1 h, 2 h]
"""


def labels_of(sections, study=STUDY):
    """Inputs are called by words, never by their paths."""
    rows = sections["inputs"]["data"]["rows"]
    names = [row["cells"][0] for row in rows]
    assert len(names) == 6 and all(re.match(r"[A-Z]", name) for name in names), names
    paths = re.findall(r"^  ([a-z]+\.[\w.]+):", study, re.M)
    return dict(zip(paths, names))


def indices(driver):
    folder = made("indices", STUDY + "sensitivity: {method: indices, sample: 64, scrambles: 16,\n"
                  "  second_order: [{inputs: [bowel.spread, air.speed]}]}\n", "sensitivity")
    page, sections, text = looked_at(driver, folder, "indices")
    assert {"carries-0", "time-0", "pairs-0", "carries-2", "time-2", "settled", "inputs"} <= set(sections)
    called = labels_of(sections)
    rows = {(r["arm"], r["answer"], r["time_h"], called[r["input"]]): r for r in table(folder / "sensitivity.csv")}
    compared = 0
    for arm, name in enumerate(("exposed", "wrapped", "wrapped less exposed")):
        for panel, answer in zip(sections[f"carries-{arm}"]["data"]["panels"], ("bowel_evaporation", "core_temperature")):
            for series, measure in zip(panel["series"], ("first_order", "total")):
                for category, point in zip(panel["categories"], series["points"]):
                    row = rows[name, answer, "2", category]
                    for end, column in (("value", measure), ("low", measure + "_low"), ("high", measure + "_high")):
                        assert math.isclose(point[end], 100 * float(row[column]), abs_tol=1e-9), (row, point)
                    # Hollow: zero lies in the interval.
                    assert bool(point.get("hollow")) == (point["low"] <= 0 <= point["high"]), point
                    compared += 1
        for panel, answer in zip(sections[f"time-{arm}"]["data"]["panels"], ("bowel_evaporation", "core_temperature")):
            for course in panel["series"]:
                for time_h, got, low in zip(("0.5", "1", "2"), course["values"], course["bands"][0]["low"]):
                    row = rows[name, answer, time_h, course["label"]]
                    assert math.isclose(got, 100 * float(row["total"]), abs_tol=1e-9)
                    assert math.isclose(low, 100 * float(row["total_low"]), abs_tol=1e-9)
                    compared += 1
    assert compared > 80, compared
    assert "% of the variance" in text


def effects(driver):
    folder = made("effects", STUDY + "sensitivity: {method: elementary-effects, trajectories: 8}\n", "sensitivity")
    page, sections, text = looked_at(driver, folder, "effects")
    called = labels_of(sections)
    rows = {(r["arm"], r["answer"], r["time_h"], called[r["input"]]): r for r in table(folder / "sensitivity.csv")}
    compared = 0
    for panel, answer in zip(sections["plane-0"]["data"]["panels"], ("bowel_evaporation", "core_temperature")):
        # A change of a temperature is a difference, not a temperature.
        assert panel["x"]["unit"] == {"bowel_evaporation": "g", "core_temperature": "°C difference"}[answer]
        assert panel["y"]["unit"] == panel["x"]["unit"]
        for point in panel["series"][0]["points"]:
            row = rows["exposed", answer, "2", point["label"]]
            assert math.isclose(point["x"], float(row["mu_star"]), rel_tol=1e-12)
            assert math.isclose(point["y"], float(row["sigma"]), rel_tol=1e-12)
            compared += 1
    assert compared >= 6, compared


def slopes(driver):
    folder = made("slopes", STUDY + "sensitivity: {method: elasticities}\n", "sensitivity")
    page, sections, text = looked_at(driver, folder, "slopes")
    called = labels_of(sections)
    file = table(folder / "sensitivity.csv")
    assert {r["found_by"] for r in file} == {"dual numbers"}
    rows = {(r["arm"], r["answer"], r["time_h"], called[r["input"]]): r for r in file}
    compared = 0
    for panel, answer in zip(sections["slopes-1"]["data"]["panels"], ("bowel_evaporation", "core_temperature")):
        assert panel["axis"]["unit"] == {"bowel_evaporation": "g", "core_temperature": "°C difference"}[answer]
        points = panel["series"][0]["points"]
        assert [abs(p["value"]) for p in points] == sorted((abs(p["value"]) for p in points), reverse=True)
        for category, point in zip(panel["categories"], points):
            assert math.isclose(point["value"], float(rows["wrapped", answer, "2", category]["over_range"]), rel_tol=1e-12)
            assert not point.get("hollow")  # exact: no dot is an estimate
            compared += 1
    assert compared >= 10, compared
    below = sections["slopes-1"]["below"]["rows"]
    assert sum(bool(row["cells"][0]) for row in below) == 2  # each answer is named once
    assert any("per °C" in row["cells"][4] for row in below), below


def fit(driver):
    fits = root / "models" / "fits"
    serosa("fit", fits / "first-hours.yaml", fits / "first-hours.csv", "--quiet", "--out", "fit")
    folder = work / "fit"
    page, sections, text = looked_at(driver, folder, "fit")
    assert "simulated" in text.lower()
    assert {"fitted", "intervals", "profiles", "figures", "residuals", "searches"} <= set(sections), list(sections)
    # Every measured figure is drawn with what the fit says, and its residual.
    residuals = table(folder / "residuals.csv")
    for name, column in (("figures", "measured"), ("residuals", "residual / error")):
        points = [(p["x"], p["y"]) for panel in sections[name]["data"]["panels"]
                  for series in panel["series"] if not series.get("joined") for p in series["points"]]
        wanted = sorted((float(r["time [h]"]), float(r[column])) for r in residuals)
        assert len(points) == len(wanted) and all(
            math.isclose(a, b, rel_tol=1e-9, abs_tol=1e-9)
            for one, other in zip(sorted(points), wanted) for a, b in zip(one, other)), name
    joined = [p["y"] for panel in sections["figures"]["data"]["panels"]
              for series in panel["series"] if series.get("joined") for p in series["points"]]
    assert all(math.isclose(a, b, rel_tol=1e-9) for a, b in
               zip(sorted(joined), sorted(float(r["fitted"]) for r in residuals)))


def spread(driver):
    serosa("run", shipped("exposed"), "--spread", 64, "--at", "2 h", "--until", "2 h", "--quiet", "--out", "spread")
    folder = work / "spread"
    page, sections, text = looked_at(driver, folder, "spread")
    rows = {(r["output"], float(r["time_h"])): r for r in table(folder / "spread.csv")}
    panel = sections["spread"]["data"]["panels"][0]
    last = {"low": panel["series"][0]["bands"][0]["low"][-1], "high": panel["series"][0]["bands"][0]["high"][-1]}
    row = rows["bowel_evaporation", 2.0]
    assert math.isclose(last["low"], float(row["quantile_0.05"]), rel_tol=1e-12)
    assert math.isclose(last["high"], float(row["quantile_0.95"]), rel_tol=1e-12)
    assert "owed to assumptions" in text


if __name__ == "__main__":
    fresh()
    in_browser({"review": review, "corridor": corridor, "indices": indices, "effects": effects, "slopes": slopes,
                "fit": fit, "spread": spread}[sys.argv[4]])
