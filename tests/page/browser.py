# SPDX-License-Identifier: Apache-2.0
"""Debian's Chromium without a window, and pages to look at with it."""
import pathlib
import subprocess
import sys

from selenium import webdriver
from selenium.webdriver.chrome.service import Service

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
    import base64
    width, whole = driver.execute_script(
        "return [window.innerWidth, document.documentElement.scrollHeight]")
    clip = {"x": 0, "y": 0, "width": width, "height": height or whole, "scale": 1}
    shot = driver.execute_cdp_cmd("Page.captureScreenshot", {"captureBeyondViewport": True, "clip": clip})
    pathlib.Path(path).write_bytes(base64.b64decode(shot["data"]))
