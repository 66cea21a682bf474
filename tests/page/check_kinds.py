# SPDX-License-Identifier: Apache-2.0
"""Every kind of chart in a browser. check_kinds.py PAGE_KINDS REPOSITORY FOLDER TEST SEROSA

PAGE_KINDS writes a page of invented numbers (tests/page/kinds.cpp); here the drawing is held
against them.
"""
import csv
import re
import shutil
import subprocess
import sys
import time

from selenium.webdriver import ActionChains
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

from browser import (browser, charts, no_complaints, opened, printed, program, requests, screenshot, size, waited,
                     work)

serosa = sys.argv[5]


def written(*words):
    shutil.rmtree(work, ignore_errors=True)
    work.mkdir(parents=True)
    subprocess.run([program, work / "kinds", *words], check=True)
    return work / "kinds"



def draws():
    """All kinds at two widths: marks, axes, read-outs, series on and off, the table behind."""
    folder = written()
    kept = (folder / "report.html").read_bytes()
    (folder / "report.html").unlink()
    subprocess.run([serosa, "page", folder, "--quiet"], check=True, capture_output=True)
    assert (folder / "report.html").read_bytes() == kept, "`serosa page` makes another page"
    driver = browser()
    try:
        page = opened(driver, folder)
        drawn = float(driver.execute_script("return document.getElementById('page').dataset.drawn"))
        print(f"{len(kept)} bytes, drawn {drawn:.0f} ms after the page was opened")
        assert drawn < 3000, drawn
        data = {section["id"]: section["data"] for section in page["sections"]}
        assert len(charts(driver)) == sum(len(one.get("panels", [])) for one in data.values()) == 12
        whole(driver)
        screenshot(driver, work / "kinds-1280.png")
        bands(driver, data["courses"])
        distribution(driver, data["spread"])
        intervals(driver, data["dots"])
        plane(driver, data["plane"])
        points(driver, data["plots"])
        shares(driver, data["bars"])
        size(driver, 390, 844)
        time.sleep(0.5)
        assert driver.execute_script("return document.documentElement.scrollWidth") <= 390
        whole(driver)
        screenshot(driver, work / "kinds-390.png")
        no_complaints(driver)
        gone = [url for url in requests(driver) if not url.startswith("file://")]
        assert not gone, f"requests: {gone}"
    finally:
        driver.quit()


def whole(driver):
    for figure in charts(driver):
        if "No run came so far." in figure.text:
            continue
        svg = figure.find_element(By.CSS_SELECTOR, ".drawing svg")
        labels = driver.execute_script(
            "return [...arguments[0].querySelectorAll('[data-part$=\"axis label\"]')].map(p => p.textContent)", svg)
        upright = not re.match("dots|bars", figure.get_attribute("id"))
        assert len(labels) == (2 if upright else 1) and all(labels), (figure.get_attribute("id"), labels)
        assert not re.search(r"NaN|Infinity|undefined|\bnull\b", svg.get_attribute("outerHTML")), figure.get_attribute("id")
        # No label reaches beyond the drawing.
        beyond = driver.execute_script("""
          const box = arguments[0].getBoundingClientRect();
          return [...arguments[0].querySelectorAll('text')].filter(text => {
            const at = text.getBoundingClientRect();
            return at.left < box.left - 2 || at.right > box.right + 3;
          }).map(text => text.textContent);""", svg)
        assert not beyond, (figure.get_attribute("id"), beyond)


def switched(driver, section, words, count):
    """A series goes and comes back by keyboard; count() is what is drawn."""
    button = driver.find_element(By.XPATH, f"//section[@id='{section}']//div[@class='legend']//button[contains(., '{words}')]")
    before = count()
    button.send_keys(Keys.SPACE)
    assert button.get_attribute("aria-pressed") == "false"
    assert count() < before, (section, words, before)
    button.send_keys(Keys.SPACE)
    assert count() == before


def marks(driver, chart, part):
    return len(driver.find_elements(By.CSS_SELECTOR, f"#{chart} svg [data-part='{part}'] :is(path, rect, circle, line)")) + len(
        driver.find_elements(By.CSS_SELECTOR, f"#{chart} svg path[data-part='{part}']"))


def table_behind(driver, chart):
    details = driver.find_element(By.CSS_SELECTOR, f"#{chart} details")
    driver.execute_script("arguments[0].open = true", details)
    time.sleep(0.2)
    return driver.execute_script(
        "return [...arguments[0].querySelectorAll('tr')].map(row => [...row.cells].map(cell => cell.textContent))", details)


def pointed(driver, chart, spot):
    """The read-out when the pointer stands on an element of the drawing."""
    driver.execute_script("arguments[0].scrollIntoView({block: 'center'})", spot)
    ActionChains(driver).move_to_element(spot).perform()
    return driver.find_element(By.CSS_SELECTOR, f"#{chart} .readout").text


def bands(driver, data):
    # Two bands for each of three arms, one for each of nine indices, one alone.
    assert [marks(driver, f"courses-{i}", "area") for i in (1, 2, 3)] == [6, 9, 1]
    assert [marks(driver, f"courses-{i}", "line") for i in (1, 2, 3)] == [3, 9, 1]
    switched(driver, "courses", "Left exposed", lambda: marks(driver, "courses-1", "area"))
    words = driver.find_element(By.CSS_SELECTOR, "#courses-1 .readout").text
    one = data["panels"][0]["series"][0]
    value, band = one["values"][-1], one["bands"][1]
    assert f"Left exposed: {value:.1f} ({band['low'][-1]:.1f} to {band['high'][-1]:.1f})" in words, words
    assert "Wrapped at 20 min: – (" in words, words
    rows = table_behind(driver, "courses-1")
    assert len(rows) == 1 + len(data["times"]) and len(rows[0]) == 1 + 3 * 5


def distribution(driver, data):
    panel = data["panels"][0]
    for series in panel["series"]:
        assert sum(series["counts"]) + series["below"] + series["above"] + series["missing"] == 4000
    assert panel["series"][0]["below"] >= 1 and panel["series"][1]["missing"] == 1
    assert len(panel["edges"]) == len(panel["series"][0]["counts"]) + 1
    # Height of the outline: its top is the fullest bin, read back through the ticks of the axis.
    top = max(panel["series"][1]["counts"]) / sum(panel["series"][1][k] if k != "counts" else sum(panel["series"][1]["counts"]) for k in ("counts", "below", "above"))
    read = driver.execute_script("""
      const svg = document.querySelector('#spread-1 svg');
      const ticks = [...svg.querySelectorAll("[data-part='y-axis tick label'] text")].map(t => [Number(t.textContent), t.getCTM().f]);
      const [a, b] = [ticks[0], ticks[ticks.length - 1]];
      const lines = [...svg.querySelectorAll("[data-part='line'] path")].map(p => { const box = p.getBBox(); return [box.y, box.height]; });
      return lines.map(([y]) => a[0] + (y - a[1]) / (b[1] - a[1]) * (b[0] - a[0]));""")
    assert abs(read[1] - 100 * top) < 0.5, (read, top)
    switched(driver, "spread", "Wrapped", lambda: marks(driver, "spread-1", "line"))
    rows = table_behind(driver, "spread-1")
    assert len(rows) == 1 + len(panel["edges"]) - 1 + 3
    assert "No run came so far." in driver.find_element(By.ID, "spread-2").text


def intervals(driver, data):
    hollow = [point for series in data["panels"][0]["series"] for point in series["points"] if point and point.get("hollow")]
    assert len(hollow) == 1
    fills = driver.execute_script("return [...document.querySelectorAll(\"#dots-1 svg [data-part='dot'] circle\")].map(c => c.getAttribute('fill'))")
    assert len(fills) == 5 and fills.count("#fff") == 1, fills
    assert "not distinguishable from “no difference”" in driver.find_element(By.ID, "dots").text
    spot = driver.find_elements(By.CSS_SELECTOR, "#dots-1 svg circle")[0]
    assert pointed(driver, "dots-1", spot) == "Wrapped at 3 min, Term: −3.10 (−4.20 to −2.00) mL/kg"
    switched(driver, "dots", "Preterm", lambda: marks(driver, "dots-1", "dot"))
    assert len(table_behind(driver, "dots-1")) == 1 + 6


def plane(driver, data):
    assert marks(driver, "plane-1", "rect") == 63 and marks(driver, "plane-2", "rect") == 320
    assert marks(driver, "plane-2", "dot") == len(data["panels"][1]["marked"]) > 20
    spot = driver.find_elements(By.CSS_SELECTOR, "#plane-1 svg [data-part='rect'] rect")[20]
    assert pointed(driver, "plane-1", spot).endswith("no run finished")
    # Colours rise evenly in grey: what is printed without colour can be read.
    greys = driver.execute_script("""
      return [...document.querySelectorAll("#plane-1 svg [data-part='colours'] rect")].map(r => {
        const hex = r.getAttribute('fill'); const part = i => parseInt(hex.slice(i, i + 2), 16);
        return 0.2126 * part(1) + 0.7152 * part(3) + 0.0722 * part(5); });""")
    assert len(greys) >= 5 and all(a > b + 5 for a, b in zip(greys, greys[1:])), greys
    # The contour passes where the value is the level: 5 + 0.35 x (1 + 3 y) = 15 (straight in x).
    level = driver.execute_script("""
      const svg = document.querySelector('#plane-1 svg');
      const ticks = [...svg.querySelectorAll("[data-part='x-axis tick label'] text")].map(t => [Number(t.textContent), t.getCTM().e]);
      const [a, b] = [ticks[0], ticks[ticks.length - 1]];
      const boxes = [...svg.querySelectorAll("[data-part='line'] path")].map(p => p.getBBox());
      const low = Math.max(...boxes.map(r => r.x + r.width));
      return a[0] + (low - a[1]) / (b[1] - a[1]) * (b[0] - a[0]);""")
    assert abs(level - 10 / 0.35 / 1.15) < 0.3, level
    assert len(table_behind(driver, "plane-1")) == 64


def points(driver, data):
    assert marks(driver, "plots-1", "dot") == 12 and marks(driver, "plots-2", "dot") == 12
    first = driver.find_elements(By.CSS_SELECTOR, "#plots-1 svg circle")[0]
    assert pointed(driver, "plots-1", first).startswith("Input number 1: Mean size of the effect 10 (9 to 11) mL/kg"), pointed(driver, "plots-1", first)
    # Logarithmic axes: equal factors are equal lengths.
    y = driver.execute_script("return [...document.querySelectorAll('#plots-2 svg circle')].slice(0, 6).map(c => Number(c.getAttribute('cy')))")
    gaps = [b - a for a, b in zip(y, y[1:])]
    assert max(gaps) - min(gaps) < 0.5 and min(gaps) > 5, gaps
    ticks = driver.execute_script("return [...document.querySelectorAll(\"#plots-2 svg [data-part='y-axis tick label'] text\")].map(t => t.textContent)")
    assert "10⁻⁴" in ticks, ticks
    switched(driver, "plots", "Implicit", lambda: marks(driver, "plots-2", "dot"))
    assert table_behind(driver, "plots-1")[0][0] == "Input"


def shares(driver, data):
    widths = driver.execute_script("return [...document.querySelectorAll(\"#bars-1 svg [data-part='rect'] rect\")].map(r => Number(r.getAttribute('width')))")
    shown = [share for row in data["panels"][0]["shares"] for share in row if share > 0]
    assert len(widths) == len(shown)
    for width, share in zip(widths, shown):
        assert abs(width / sum(widths[:3]) - share) < 0.002, (width, share)
    switched(driver, "bars", "Under-filled", lambda: marks(driver, "bars-1", "rect"))
    spot = driver.find_elements(By.CSS_SELECTOR, "#bars-1 svg [data-part='rect'] rect")[1]
    assert pointed(driver, "bars-1", spot) == "Protocol A: 10 mL/kg at once: In the band 60.0 % of babies"


def hostile():
    """Whatever words a command is given, they stay text."""
    driver = browser()
    try:
        for words in ('</script><script>window.broken = 1</script>', '<img src=x onerror="window.broken = 2">',
                      '=HYPERLINK("x") '):
            folder = written(words)
            opened(driver, folder)
            assert driver.execute_script("return window.broken") is None, words
            assert words.split()[0] in driver.find_element(By.TAG_NAME, "h1").text
            assert not driver.find_elements(By.CSS_SELECTOR, "#page img, #page script")
            for chart in charts(driver):
                table_behind(driver, chart.get_attribute("id"))
            assert not driver.find_elements(By.CSS_SELECTOR, "#page img, #page script")
            no_complaints(driver)
    finally:
        driver.quit()


def keeps():
    """Saving of every new kind, and print."""
    folder = written("=1+1 ")
    driver = browser(downloads=work)
    try:
        opened(driver, folder)
        for chart in ("courses-1", "spread-1", "dots-1", "plane-1", "plots-2", "bars-1"):
            for button in driver.find_elements(By.CSS_SELECTOR, f"#{chart} .save button"):
                driver.execute_script("arguments[0].scrollIntoView({block: 'center'})", button)
                button.click()
                waited(work / f"{chart}.{button.text.lower()}")
                time.sleep(0.2)  # Chromium drops the eleventh file that a page saves within a second
            with open(waited(work / f"{chart}.csv"), newline="") as file:
                rows = list(csv.reader(file))
            assert len(rows) > 3 and all(len(row) == len(rows[0]) for row in rows)
            assert not [cell for row in rows for cell in row if re.match(r"[=+@\t\r]|-(?![\d.])", cell)]
            assert waited(work / f"{chart}.png").read_bytes().startswith(b"\x89PNG\r\n\x1a\n")
        pdf = printed(driver)
        (work / "kinds.pdf").write_bytes(pdf)
        assert 3 <= len(re.findall(rb"/Type\s*/Page\b", pdf)) <= 10
        driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
        size(driver, 680)
        time.sleep(0.5)
        for figure in charts(driver):
            assert figure.value_of_css_property("break-inside") == "avoid"
            assert figure.size["height"] < (297 - 30) / 25.4 * 96, figure.get_attribute("id")
        no_complaints(driver)
    finally:
        driver.quit()


if __name__ == "__main__":
    {"draws": draws, "hostile": hostile, "keeps": keeps}[sys.argv[4]]()
