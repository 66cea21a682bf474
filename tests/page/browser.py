# SPDX-License-Identifier: Apache-2.0
"""Debian's Chromium without a window, and pages to look at with it."""
import base64
import json
import os
import pathlib
import shutil
import subprocess
import sys
import time

from selenium import webdriver
from selenium.webdriver.chrome.service import Service
from selenium.webdriver.common.by import By
from selenium.webdriver.support.ui import WebDriverWait

CAUTION = "For teaching and review. Not dosing advice. Follow local protocols and licensed clinicians."

program, root, work = sys.argv[1], pathlib.Path(sys.argv[2]), pathlib.Path(sys.argv[3])


def serosa(*words, folder=work):
    """Runs the program; its exit code must be 0."""
    done = subprocess.run([program, *map(str, words)], cwd=folder, text=True, capture_output=True)
    assert done.returncode == 0, f"serosa {words}: {done.returncode}\n{done.stderr}"
    return done.stdout


def shipped(name):
    return root / "models" / "cases" / f"{name}.yaml"


def browser(width=1280, height=1000, downloads=None):
    options = webdriver.ChromeOptions()
    options.binary_location = "/usr/bin/chromium"
    for flag in ("--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage",
                 "--disable-background-networking", f"--window-size={width},{height}"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    if downloads:
        options.add_experimental_option(
            "prefs", {"download.default_directory": str(downloads), "download.prompt_for_download": False})
    driver = webdriver.Chrome(options=options, service=Service("/usr/bin/chromedriver"))
    size(driver, width, height)
    driver.set_script_timeout(20)
    return driver


def size(driver, width, height=1000):
    driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride",
                           {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": False})


def screenshot(driver, path, height=None):
    """The whole page as PNG, or its first `height` pixels."""
    width, whole = driver.execute_script(
        "return [window.innerWidth, document.documentElement.scrollHeight]")
    clip = {"x": 0, "y": 0, "width": width, "height": height or whole, "scale": 1}
    shot = driver.execute_cdp_cmd("Page.captureScreenshot", {"captureBeyondViewport": True, "clip": clip})
    pathlib.Path(path).write_bytes(base64.b64decode(shot["data"]))


def fresh():
    shutil.rmtree(work, ignore_errors=True)
    work.mkdir(parents=True)


def opened(driver, folder):
    driver.get((folder / "report.html").as_uri())
    # What is in view is drawn at once, the rest in its turn.
    drawn = lambda _: driver.execute_script("return document.getElementById('page').dataset.all")
    WebDriverWait(driver, 30, 0.05).until(drawn)
    return json.loads(driver.execute_script("return document.getElementById('data').textContent"))


def no_complaints(driver):
    said = [entry for entry in driver.get_log("browser") if entry["level"] != "DEBUG"]
    assert not said, f"the console says {said}"


def requests(driver):
    found = []
    for entry in driver.get_log("performance"):
        message = json.loads(entry["message"])["message"]
        if message["method"] == "Network.requestWillBeSent":
            found.append(message["params"]["request"]["url"])
    return found


def charts(driver):
    return driver.find_elements(By.CSS_SELECTOR, "figure.chart-frame")


def text_of(driver):
    return driver.execute_script("return document.body.innerText")


def close_figure(text, exact):
    """Whether a figure as printed is the exact value, rounded where the print ends."""
    plain = text.replace("−", "-")
    digits = len(plain.split(".")[1]) if "." in plain else 0
    return abs(float(plain) - exact) <= 0.5000001 * 10.0**-digits


def waited(path):
    for _ in range(100):
        if path.exists() and path.stat().st_size > 0:
            return path
        time.sleep(0.1)
    raise AssertionError(f"{path.name} was not saved; there are {os.listdir(path.parent)}")


def printed(driver):
    """The page as the bytes of a PDF, on the paper that it asks for."""
    return base64.b64decode(driver.execute_cdp_cmd(
        "Page.printToPDF", {"preferCSSPageSize": True, "printBackground": True})["data"])
