# SPDX-License-Identifier: Apache-2.0
"""The page of a batch. check_sweep.py SEROSA REPOSITORY FOLDER TEST

Every figure is reckoned again here from runs.nc and series.nc, by numpy.
"""
import json
import math
import re
import shutil
import subprocess
import sys
import time

import netCDF4
import numpy
from selenium.webdriver.common.by import By

from browser import (browser, charts, close_figure, fresh, no_complaints, opened, printed, program, requests,
                     screenshot, serosa, size, text_of, work, CAUTION)

STUDY = """
title: {title}
note: The same babies left exposed and wrapped; for a test.
arms:
  left exposed: {{case: exposed}}
  wrapped early: {{case: wrapped}}
  wrapped late: {{case: wrapped, set: {{timeline.wrap.at: 20 min}}}}
cohort: gastroschisis
vary:
  air.speed: {{law: uniform, from: 0.05 m/s, to: 0.3 m/s, note: assumed}}
  parameters.spread: published
design: {{kind: latin-hypercube, runs: {runs}, seed: 3}}
outputs: [bowel_evaporation, external_deficit, core_temperature, plasma_sodium]
times: [30 min, 2 h]
series: {{every: 5 min, outputs: [external_deficit, core_temperature]}}
bands:
  cold: {{output: core_temperature, below: 36.5 degC}}
  too warm: {{output: core_temperature, above: 37.5 degC}}
  low sodium: {{output: plasma_sodium, below: 135 mmol/L}}
failed_runs: exclude
"""
PER_KG = ("bowel_evaporation", "external_deficit")


def swept(runs=120, title="Wrapping, for a test", name="batch"):
    study = work / f"{name}.yaml"
    study.write_text(STUDY.format(title=json.dumps(title), runs=runs))
    serosa("sweep", study, "--quiet", "--out", name, "--threads", "1")
    return work / name


class Runs:
    """runs.nc as the page shows it: water per kg of each baby's own birth weight."""

    def __init__(self, folder):
        with netCDF4.Dataset(folder / "runs.nc") as file:
            self.weight = file["baby_weight"][:].filled(math.nan) / 1000
            self.values = {name: file[name][:].filled(math.nan) for name in file.variables
                           if file[name].ndim == 3}
            self.hours = file["time"][:].filled(math.nan)
            self.inputs = {file[name].input_path: file[name][:] for name in file.variables
                           if "input_path" in file[name].ncattrs()}
        for name in PER_KG:
            self.values[name] = self.values[name] / self.weight[:, None, None]


def near(got, want, what):
    assert math.isclose(got, want, rel_tol=1e-9, abs_tol=1e-12), (what, got, want)


def opens():
    """From disk, at two widths, every figure that of the files."""
    fresh()
    folder = swept()
    page_file = folder / "report.html"
    kept = page_file.read_bytes()
    page_file.unlink()
    serosa("page", folder, "--quiet")
    assert page_file.read_bytes() == kept, "`serosa page` makes another page"
    assert len(kept) < 1.5e6, len(kept)
    driver = browser()
    try:
        page = opened(driver, folder)
        drawn = float(driver.execute_script("return document.getElementById('page').dataset.drawn"))
        print(f"{len(kept)} bytes, drawn {drawn:.0f} ms after the page was opened")
        assert drawn < 3000, drawn
        text = text_of(driver)
        assert text.count(CAUTION) == 2
        sections = {section["id"]: section for section in page["sections"]}
        for wanted in ("arms", "differences", "over-time", "distributions", "paired", "bands", "failed",
                       "who", "inputs", "numbers", "limits", "words", "origin"):
            assert wanted in sections and driver.find_element(By.ID, wanted).is_displayed(), wanted
        # No name of a variable, file key or unit of a file shows.
        for wrong in (r"[a-z]_[a-z]", r"\b(baby|bowel|timeline|parameters)\.[a-z]", r"degC", r"\bnull\b|NaN|undefined",
                      r"[-−]0(\.0+)?(?![\d.])"):
            found = [line for line in text.splitlines() if re.search(wrong, line)]
            found = [line for line in found if not re.search(r"\.(nc|csv|json|yaml)", line)]
            assert not found, (wrong, found[:5])
        figures(folder, sections, driver)
        visible(driver)
        screenshot(driver, work / "sweep-1280.png")
        # Another time of the distributions.
        block = driver.find_element(By.ID, "distributions")
        shown = lambda: [figure.get_attribute("id") for figure in block.find_elements(By.CSS_SELECTOR, "figure") if figure.is_displayed()]
        before = shown()
        block.find_elements(By.CSS_SELECTOR, "button.choice")[0].click()
        time.sleep(0.4)
        assert len(shown()) == len(before) and not set(shown()) & set(before)
        visible(driver)
        size(driver, 390, 844)
        time.sleep(0.6)
        assert driver.execute_script("return document.documentElement.scrollWidth") <= 390
        visible(driver)
        screenshot(driver, work / "sweep-390.png")
        no_complaints(driver)
        gone = [url for url in requests(driver) if not url.startswith("file://")]
        assert not gone, f"requests: {gone}"
    finally:
        driver.quit()


def visible(driver):
    seen = 0
    for figure in charts(driver):
        if not figure.is_displayed():
            continue
        seen += 1
        parts = driver.execute_script(
            "return [...arguments[0].querySelectorAll('svg [data-part$=\"axis label\"]')].map(p => p.textContent)", figure)
        assert parts and all(parts), (figure.get_attribute("id"), parts)
        assert any(re.search(r"\bh$|mL|°C|mmol|%|m/s|kg|g/L|weeks|0 (none|packed)|Mass|Share|Fetal|lie apart", label) for label in parts), parts
        html = driver.execute_script("return arguments[0].querySelector('svg').outerHTML", figure)
        assert not re.search(r"NaN|Infinity|undefined|\bnull\b", html), figure.get_attribute("id")
    assert seen >= 14, seen


def figures(folder, sections, driver):
    runs = Runs(folder)
    arms = ["Left exposed", "Wrapped early", "Wrapped late"]
    names = list(runs.values)
    # Means of the paired differences, with Student's interval (t for 119 degrees of freedom, 97.5 %:
    # 1.980, Fisher and Yates' table has 1.980 for 120).
    for panel, name in zip(sections["differences"]["data"]["panels"], names, strict=True):
        for series in panel["series"]:
            a = arms.index(series["label"])
            for t, point in enumerate(series["points"]):
                gap = runs.values[name][:, a, t] - runs.values[name][:, 0, t]
                near(point["value"], gap.mean(), (name, a, t))
                half = 1.980 * gap.std(ddof=1) / math.sqrt(len(gap))
                assert abs(point["high"] - gap.mean() - half) < 1e-3 * half + 1e-12, (name, a, t, point)
                assert bool(point.get("hollow")) == (point["low"] <= 0 <= point["high"])
    title = sections["differences"]["title"]
    gap = runs.values["external_deficit"][:, 1, 1] - runs.values["external_deficit"][:, 0, 1]
    said = re.fullmatch(r"Wrapped early instead of left exposed: ([\d.]+) mL/kg less lost by all routes together by 2 h "
                        r"\(([\d.]+) to ([\d.]+)\)", title)
    assert said and close_figure(said[1], -gap.mean()), title
    assert float(said[2]) < -gap.mean() < float(said[3])
    # Bins hold what numpy counts.
    for choice, t in zip(sections["distributions"]["data"]["alternatives"], range(2), strict=True):
        for panel, name in zip(choice["data"]["panels"], names, strict=True):
            for a, series in enumerate(panel["series"]):
                values = runs.values[name][:, a, t]
                edges = numpy.array(panel["edges"])
                want = [((values >= low) & (values < high)).sum() for low, high in zip(edges, edges[1:])]
                assert series["counts"] == want, (name, a, t)
                near(series["median"], numpy.median(values), name)
                assert series["below"] == (values < edges[0]).sum() and series["above"] == (values >= edges[-1]).sum()
    for choice, t in zip(sections["paired"]["data"]["alternatives"], range(2), strict=True):
        for panel, name in zip(choice["data"]["panels"], names, strict=True):
            for a, series in enumerate(panel["series"], start=1):
                gap = runs.values[name][:, a, t] - runs.values[name][:, 0, t]
                near(series["median"], numpy.median(gap), name)
                assert sum(series["counts"]) + series["below"] + series["above"] == len(gap)
    # Bands over time: every value that of series.nc.
    with netCDF4.Dataset(folder / "series.nc") as file:
        hours = list(file["time"][:])
        quantiles = list(numpy.round(file["quantile"][:], 6))
        data = sections["over-time"]["data"]
        assert quantiles == [0.05, 0.25, 0.5, 0.75, 0.95] and data["times"] == hours
        for panel, name in zip(data["panels"], ("external_deficit", "core_temperature"), strict=True):
            assert panel["unit"] == {"external_deficit": "mL, whole baby", "core_temperature": "°C"}[name]
            for a, series in enumerate(panel["series"]):
                values = file[name][:].filled(math.nan)[a]
                assert series["values"] == list(values[:, 2])
                assert [band["low"] for band in series["bands"]] == [list(values[:, 0]), list(values[:, 1])]
                assert [band["high"] for band in series["bands"]] == [list(values[:, 4]), list(values[:, 3])]
    # Shares: two bands of one output divide it, one band alone is in or out.
    for choice, t in zip(sections["bands"]["data"]["alternatives"], range(2), strict=True):
        temperature, sodium = choice["data"]["panels"]
        assert [part["style"] for part in temperature["parts"]] == ["under", "inside", "over"]
        for a in range(3):
            core, salt = runs.values["core_temperature"][:, a, t], runs.values["plasma_sodium"][:, a, t]
            want = [(core < 36.5).mean(), ((core >= 36.5) & (core < 37.5)).mean(), (core >= 37.5).mean()]
            assert numpy.allclose(temperature["shares"][a], want, atol=1e-12), (t, a)
            assert numpy.allclose(sodium["shares"][a], [(salt < 135).mean(), (salt >= 135).mean()], atol=1e-12)
    # Who is in it, and the bare numbers.
    for panel in sections["who"]["data"]["panels"]:
        assert sum(panel["series"][0]["counts"]) + panel["series"][0]["below"] + panel["series"][0]["above"] == len(runs.weight)
    assert close_figure(re.search(r"birth weight ([\d.]+) kg", sections["who"]["title"])[1], numpy.median(runs.weight))
    rows = [[cell.text for cell in row.find_elements(By.CSS_SELECTOR, "th, td")]
            for row in driver.find_elements(By.CSS_SELECTOR, "#numbers tbody tr")]
    assert len(rows) == len(names) * 2
    for row, (name, t) in zip(rows, [(name, t) for name in names for t in range(2)], strict=True):
        for a in range(3):
            middle, low, high = re.fullmatch(r"(.+) \((.+) to (.+)\)", row[2 + a]).groups()
            for got, q in ((middle, 50), (low, 5), (high, 95)):
                assert close_figure(got, numpy.percentile(runs.values[name][:, a, t], q)), (row, q)
    # Inputs: a published law with source and grade; a law without a source says so.
    words = {row["cells"][0]: row["cells"] for row in sections["inputs"]["data"]["rows"]}
    assert "How far the loops lie apart" in words and "Air speed" in words, list(words)
    assert words["Air speed"][4] == "none given: assumed"
    assert "Jansen" in words["Birth weight"][4] or "jansen" not in words["Birth weight"][4], words["Birth weight"]


def failures():
    """A study whose runs fail in one arm: counted, said, and no figure of the rest unless asked."""
    fresh()
    text = """
title: Some bleed more than the model describes
arms: {wrapped: {case: wrapped}, bleeding: {case: bleeding-untreated}}
cohort: gastroschisis
vary: {timeline.tear.share: {law: uniform, from: 30 %, to: 80 %, note: assumed}}
design: {kind: random, runs: 20, seed: 1}
outputs: [external_deficit, arterial_pressure]
times: [6 h]
failed_runs: exclude
"""
    (work / "some.yaml").write_text(text)
    (work / "none.yaml").write_text(text.replace("failed_runs: exclude", "failed_runs: report"))
    driver = browser()
    try:
        for name in ("some", "none"):
            done = subprocess.run([program, "sweep", f"{name}.yaml", "--quiet", "--out", name, "--threads", "1"],
                                  cwd=work, text=True, capture_output=True)
            assert (work / name / "report.html").exists(), (done.returncode, done.stderr)
            page = opened(driver, work / name)
            with netCDF4.Dataset(work / name / "runs.nc") as file:
                status = file["run_status"][:]
            bad = int((status != 0).sum())
            sections = {section["id"]: section for section in page["sections"]}
            assert bad > 0 and sections["failed"]["title"].startswith(f"{bad} of {status.size} runs failed"), sections["failed"]["title"]
            assert sum(int(row["cells"][2]) for row in sections["failed"]["data"]["rows"]) == bad
            assert ("distributions" in sections) == (name == "some")
            no_complaints(driver)
    finally:
        driver.quit()


def grid():
    """A full grid is no sample: no intervals, and the page says so; one arm; hostile titles."""
    fresh()
    (work / "grid.yaml").write_text("""
title: "</script><img src=x onerror='window.broken = 1'>"
note: "=HYPERLINK(1) <b>"
case: wrapped
vary:
  timeline.wrap.at: {law: grid, from: 1 min, to: 30 min, points: 5}
  timeline.warmer.to: [full, low]
design: {kind: full-grid}
outputs: [bowel_evaporation]
times: [1 h]
""")
    serosa("sweep", "grid.yaml", "--quiet", "--out", "grid")
    driver = browser()
    try:
        page = opened(driver, work / "grid")
        assert driver.execute_script("return window.broken") is None
        assert "onerror" in driver.find_element(By.TAG_NAME, "h1").text
        assert not driver.find_elements(By.CSS_SELECTOR, "#page img")
        ids = [section["id"] for section in page["sections"]]
        assert "differences" not in ids and "who" not in ids and "inputs" in ids, ids
        text = text_of(driver)
        assert "A full grid is no sample" in text and "babies" not in page["sections"][0]["title"]
        assert "Wrap: time" in text and "Warmer: setting" in text
        no_complaints(driver)
    finally:
        driver.quit()


def large():
    """A folder of 100 000 runs: a page below 3 MB, made in bounded memory. The folder is filled from
    a small one: its values repeated with a little spread, which costs no simulation."""
    fresh()
    small = swept(runs=40, name="small")
    folder = work / "large"
    shutil.copytree(small, folder)
    (folder / "report.html").unlink()
    runs = 100_000
    random = numpy.random.default_rng(1)
    with netCDF4.Dataset(small / "runs.nc") as old, netCDF4.Dataset(folder / "new.nc", "w") as new:
        for name, dimension in old.dimensions.items():
            new.createDimension(name, runs if name == "run" else len(dimension))
        new.setncatts({name: old.getncattr(name) for name in old.ncattrs()})
        for name, variable in old.variables.items():
            fill = variable.getncattr("_FillValue") if "_FillValue" in variable.ncattrs() else None
            made = new.createVariable(name, variable.dtype, variable.dimensions, fill_value=fill,
                                      compression=None if variable.dtype is str else "zlib", complevel=1)
            made.setncatts({key: variable.getncattr(key) for key in variable.ncattrs() if key != "_FillValue"})
            values = variable[:]
            if variable.dimensions and variable.dimensions[0] == "run":
                values = numpy.repeat(numpy.ma.filled(values, numpy.nan if values.dtype.kind == "f" else -1), runs // 40, axis=0)
                if values.dtype.kind == "f":
                    values = values * random.normal(1, 0.01, values.shape)
            made[:] = values
    (folder / "new.nc").rename(folder / "runs.nc")
    start = time.monotonic()
    done = subprocess.run(["/usr/bin/env", "python3", "-c",
                           "import resource, subprocess, sys; code = subprocess.call(sys.argv[1:]);"
                           "print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss); sys.exit(code)",
                           program, "page", str(folder), "--quiet"], text=True, capture_output=True)
    assert done.returncode == 0, done.stderr
    memory = int(done.stdout.split()[-1]) / 1024
    bytes_ = (folder / "report.html").stat().st_size
    print(f"{runs} runs: page of {bytes_} bytes in {time.monotonic() - start:.1f} s, {memory:.0f} MB of memory")
    # Held whole, the columns alone of 100 000 runs would take 60 MB more than this.
    assert bytes_ < 3e6 and memory < 60, (bytes_, memory)
    driver = browser()
    try:
        opened(driver, folder)
        print(f"drawn {driver.execute_script('return document.getElementById(`page`).dataset.drawn')} ms after the page was opened")
        visible(driver)
        no_complaints(driver)
    finally:
        driver.quit()


def prints():
    """A4, and nothing that is only for the screen."""
    fresh()
    folder = swept(runs=40)
    driver = browser()
    try:
        opened(driver, folder)
        pdf = printed(driver)
        (work / "sweep.pdf").write_bytes(pdf)
        assert 5 <= len(re.findall(rb"/Type\s*/Page\b", pdf)) <= 25
        driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
        size(driver, 680)
        time.sleep(0.5)
        for figure in charts(driver):
            assert figure.value_of_css_property("break-inside") == "avoid"
            assert figure.size["height"] < (297 - 30) / 25.4 * 96, figure.get_attribute("id")
        for hidden in driver.find_elements(By.CSS_SELECTOR, ".save, nav, .time, .hint, details"):
            assert not hidden.is_displayed()
        no_complaints(driver)
    finally:
        driver.quit()


if __name__ == "__main__":
    {"opens": opens, "failures": failures, "grid": grid, "large": large, "prints": prints}[sys.argv[4]]()
