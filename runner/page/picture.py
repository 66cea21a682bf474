#!/usr/bin/python3
# SPDX-License-Identifier: Apache-2.0
"""Makes picture.png, the picture of the README, again: where the water went, exposed and wrapped, as
the page of runner/quickstart shows it.  /usr/bin/python3 runner/page/picture.py [PROGRAM]"""
import base64
import pathlib
import subprocess
import sys
import tempfile

from selenium import webdriver
from selenium.webdriver.chrome.service import Service

here = pathlib.Path(__file__).resolve().parent
root = here.parent.parent
program = pathlib.Path(sys.argv[1] if len(sys.argv) > 1 else root / "build/bin/serosa").resolve()

options = webdriver.ChromeOptions()
options.binary_location = "/usr/bin/chromium"
for flag in ("--headless=new", "--no-sandbox", "--disable-gpu", "--hide-scrollbars",
             "--window-size=1060,1000"):
    options.add_argument(flag)

with tempfile.TemporaryDirectory() as folder:
    results = pathlib.Path(folder) / "results"
    subprocess.run([program, "compare", *[root / f"models/cases/{name}.yaml" for name in ("exposed", "wrapped")],
                    "--quiet", "--out", results], check=True, stdout=subprocess.DEVNULL)
    driver = webdriver.Chrome(options=options, service=Service("/usr/bin/chromedriver"))
    try:
        driver.get((results / "report.html").as_uri())
        # What only a living page can do is no part of a picture.
        driver.execute_script("document.querySelectorAll('#water :is(.save, .time, details)').forEach(e => e.remove())")
        box = driver.execute_script(
            "const b = document.getElementById('water').getBoundingClientRect();"
            "return {x: b.x - 16, y: b.y + scrollY + 8, width: b.width + 32, height: b.height + 4, scale: 1};")
        shot = driver.execute_cdp_cmd("Page.captureScreenshot", {"captureBeyondViewport": True, "clip": box})
    finally:
        driver.quit()
(here / "picture.png").write_bytes(base64.b64decode(shot["data"]))
