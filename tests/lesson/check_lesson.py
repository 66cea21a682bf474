# SPDX-License-Identifier: Apache-2.0
"""lesson.html in a browser. check_lesson.py SEROSA REPOSITORY FOLDER TEST"""
import json
import math
import pathlib
import shutil
import sys

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent.parent / "page"))
from browser import browser, root, serosa, shipped, work  # noqa: E402

NEAR = 1e-9


def fresh():
    shutil.rmtree(work, ignore_errors=True)
    work.mkdir(parents=True)


def opened(driver, path=None, fragment=""):
    path = path or work / "lesson.html"
    if not path.exists():
        serosa("lesson", "--out", path)
    driver.get(path.as_uri() + fragment)
    driver.execute_async_script(
        "const end = arguments[0]; const look = () => document.querySelector('#page[data-ready]')"
        " ? end() : setTimeout(look, 20); look();")


def differs(ours, theirs, scale):
    """By more than NEAR of the figure's own size, or of the largest in its course."""
    if theirs is None or ours is None:
        return not (theirs is None and ours is None)
    return abs(ours - theirs) > NEAR * max(abs(theirs), scale)


def equal():
    """Every shipped case: the page's numbers are the program's."""
    driver = browser()
    opened(driver)
    names = sorted(path.stem for path in (root / "models" / "cases").glob("*.yaml"))
    left_out = driver.execute_script("return serosa.data.left_out")
    assert sorted(driver.execute_script("return Object.keys(serosa.data.cases)") + left_out) == names
    assert len(names) - len(left_out) >= 40, f"too few cases are in the lesson; left out: {left_out}"
    compared, same_bits = 0, 0
    for name in names:
        if name in left_out:
            continue
        told = json.loads(serosa("run", shipped(name), "--json", "--out", f"of-{name}"))
        case, hours = told["cases"][0], told["times"]["values"]
        page = driver.execute_script(
            "const [name, hours] = arguments, ran = serosa.run(name, hours);"
            "const plain = (x) => (Number.isFinite(x) ? x : null);"
            "return [ran.status, Object.fromEntries(Object.entries(ran.values).map("
            "([key, list]) => [key, [...list].map(plain)])), ran.body.clamped_blood_volume]", name, hours)
        status, values, clamped = page
        assert (status == 0) == (case["status"] == "finished"), (name, status, case["status"])
        assert abs(clamped - case["blood_volume_at_clamping"]["value"]) <= NEAR * clamped, name
        told_of = {figure["name"]: figure["values"] for figure in case["figures"]}
        # Needs a second baby; the page shows it in its chart of deficits.
        told_of.pop("circulating_deficit_against_ordinary_care")
        assert told_of.keys() == values.keys(), name
        for figure, theirs in told_of.items():
            # What is a rounding error by its nature (an account that closes) has no size of its own:
            # it is held against the water, salt or heat of which it is the error.
            scale = 1e3 if figure.endswith("_unaccounted") else 0.0
            for hour, ours, theirs_then in zip(hours, values[figure], theirs):
                compared += 1
                same_bits += ours == theirs_then
                assert not differs(ours, theirs_then, scale), (name, figure, hour, ours, theirs_then)
        shutil.rmtree(work / f"of-{name}")
    assert compared > 40 * 90, compared
    assert not [line for line in driver.get_log("browser") if line["level"] != "DEBUG"]
    driver.quit()
    print(f"{len(names) - len(left_out)} cases, {compared} figures, {same_bits} of them the same bits")


fresh()
{"equal": equal}[sys.argv[4]]()
