#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""`serosa review` and `serosa target` as a protocol group uses them. Usage: check_review.py PROGRAM
"""
import csv
import json
import pathlib
import random
import shutil
import subprocess
import sys
import tempfile
import time

sys.path.insert(0, str(pathlib.Path(__file__).parent.parent / "faults"))
import batch_tools

program = sys.argv[1]
CAUTION = "Not dosing advice"
EXPLORATION = "not recommendation"


def run(*words, code=0):
    done = subprocess.run([program, *map(str, words)], stdout=subprocess.PIPE,
                          stderr=subprocess.PIPE, text=True)
    assert done.returncode == code, (words, done.returncode, done.stderr)
    return done.stdout + done.stderr


def rows(path):
    with open(path, newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


REVIEW = """title: Two plans, two wraps
case: to-be-filled
protocols: [fixed-by-day, ours.yaml]
covers:
  early: {}
  late: {set: {timeline.wrap.at: 40 min, timeline.wrap.seal: 50 %}}
cohort: gastroschisis
design: {runs: 6, seed: 3}
until: 12 h
failed_runs: exclude
"""
OURS = """title: Ours
readings:
  urine: {every: 1 h, over: 2 h, error: 0.2 mL/kg/h}
orders:
  line: {act: maintenance, at: 30 min, fluid: glucose-10, rate: 60 mL/kg/d}
rules:
  fill:
    when: {urine: {below: 0.8 mL/kg/h}}
    do: {act: bolus, fluid: saline-0.9, volume: 10 mL/kg, over: 30 min}
    at_most: 2
    gap: 2 h
    reason: little urine
"""
CORRIDOR = """title: A small map
case: with-fluid
corridor:
  x: {label: Maintenance, set: [timeline.line.rate], values: [40 mL/kg/d, 200 mL/kg/d]}
  y: {label: First bolus, set: [timeline.first bolus.volume], values: [0 mL/kg, 30 mL/kg]}
  level: 50 %
cohort: gastroschisis
design: {runs: 4, seed: 3}
until: 12 h
failed_runs: exclude
"""


def check_review(place):
    (place / "plans.yaml").write_text(REVIEW)
    (place / "ours.yaml").write_text(OURS)
    text = run("review", place / "plans.yaml", "--out", place / "one", "--threads", 2)
    assert CAUTION in text and EXPLORATION in text and "TOO MUCH" in text and "TOO LITTLE" in text
    assert max(map(len, text.splitlines())) <= 100, max(text.splitlines(), key=len)
    found = rows(place / "one" / "review.csv")
    assert {(r["protocol"], r["cover"]) for r in found} == {
        (p, c) for p in ("fixed-by-day", "ours") for c in ("early", "late")}
    value = {(r["protocol"], r["cover"], r["verdict"]): float(r["value"]) for r in found}
    for r in found:
        assert EXPLORATION in r["note"] and r["method"]
        if r["low"]:
            assert float(r["low"]) <= float(r["value"]) <= float(r["high"]), r
    for p in ("fixed-by-day", "ours"):
        for c in ("early", "late"):
            at = lambda v: value[p, c, v]  # noqa: E731
            assert abs(at("chart_misses") - (at("external") - at("charted"))) < 1e-9
            assert at("hours_in_band") <= 1 - at("hours_over") + 1e-12
            assert at("hours_over") + 1e-12 >= max(at(v) for v in (
                "hours_over_volume", "hours_oedema", "hours_dilution", "hours_weight"))
            assert at("hours_urine_half") <= at("hours_urine_one")
    assert value["fixed-by-day", "early", "boluses"] == 0 < value["ours", "late", "boluses"]
    assert value["ours", "early", "uncharted_loss"] < value["ours", "late", "uncharted_loss"]
    ranks = rows(place / "one" / "ranking.csv")
    assert [float(r["utility"]) for r in ranks] == sorted(
        (float(r["utility"]) for r in ranks), reverse=True)
    assert {r["source"] for r in ranks if r["protocol"] == "fixed-by-day"} == {"brownhandbook"}
    page = (place / "one" / "report.html").read_text(encoding="utf-8")
    assert CAUTION in page and EXPLORATION in page
    # No path of the machine is left in what others get.
    for name in ("review.csv", "ranking.csv", "chart.csv", "review.txt", "page.json", "review.yaml"):
        assert str(place) not in (place / "one" / name).read_text(), name
    # The same input gives the same bytes, whatever the threads.
    run("review", place / "plans.yaml", "--out", place / "two", "--threads", 1, "--quiet")
    for path in (place / "one").rglob("*"):
        if path.is_file() and path.name not in ("log.txt",):
            assert path.read_bytes() == (place / "two" / path.relative_to(place / "one")).read_bytes(), path
    # Another utility, another order; runs and verdicts stay.
    (place / "plans.yaml").write_text(REVIEW + "utility: {in_band: 0, under: 0, over: 0, sodium: 0, "
                                      "little_urine: 0, cold: 0, warm: 0, bolus: -1}\n")
    run("review", place / "plans.yaml", "--out", place / "three", "--quiet")
    assert rows(place / "three" / "ranking.csv")[0]["protocol"] == "fixed-by-day"
    assert [r for r in rows(place / "three" / "review.csv") if r["verdict"] != "utility"] == [
        r for r in found if r["verdict"] != "utility"]


def check_one_run(place):
    """A baby of the review runs the same by itself, errors of its chart included."""
    study = (place / "one" / "study.yaml")
    case = place / "five.yaml"
    run("case", study, "--run", 5, "--arm", "ours + late", "--out", case)
    run("run", case, "--at", "12 h", "--out", place / "alone", "--quiet")
    acts = rows(place / "alone" / "acts.csv")
    alone = {r["output"]: r for r in rows(place / "alone" / "summary.csv")}
    head = next(k for k in next(iter(alone.values())) if k.endswith("12 h"))
    import xarray  # noqa: PLC0415
    with xarray.open_dataset(place / "one" / "runs.nc") as runs:
        names = [str(a) for a in runs["arm_name"].values]
        for output in ("boluses", "given_boluses", "circulating_deficit", "urine"):
            there = float(runs[output].isel(run=5, arm=names.index("ours + late"), time=-1))
            assert abs(there - float(alone[output][head])) <= 1e-9 * max(1, abs(there)), output
    assert len(acts) == round(float(alone["boluses"][head]))


def check_corridor(place):
    (place / "map.yaml").write_text(CORRIDOR)
    text = run("review", place / "map.yaml", "--out", place / "map")
    assert CAUTION in text and EXPLORATION in text
    cells = rows(place / "map" / "corridor.csv")
    at = {(r["Maintenance"], r["First bolus"], r["verdict"]): float(r["value"]) for r in cells}
    assert at["40 mL/kg/d", "0 mL/kg", "fluid"] < at["200 mL/kg/d", "0 mL/kg", "fluid"]
    assert at["40 mL/kg/d", "0 mL/kg", "hours_over"] <= at["200 mL/kg/d", "30 mL/kg", "hours_over"]
    assert at["40 mL/kg/d", "0 mL/kg", "bolus_fluid"] == 0
    assert abs(at["40 mL/kg/d", "30 mL/kg", "bolus_fluid"] - 30) < 1e-6


def check_protocol_corridor(place):
    """Numbers inside a protocol are inputs of a map; a cell is the review of such a protocol."""
    (place / "plan.yaml").write_text(OURS)
    by_path = """title: Numbers of a protocol
case: to-be-filled
protocols: [plan.yaml]
corridor:
  x: {label: Maintenance, set: [protocol.orders.line.rate], values: [40 mL/kg/d, 120 mL/kg/d]}
  y: {label: Bolus, set: [protocol.rules.fill.do.volume], values: [5 mL/kg, 20 mL/kg]}
"""
    rest = """cohort: gastroschisis
design: {runs: 5, seed: 3}
until: 12 h
failed_runs: exclude
"""
    (place / "numbers.yaml").write_text(by_path + rest)
    run("review", place / "numbers.yaml", "--out", place / "numbers", "--quiet")
    cells = {(r["Maintenance"], r["Bolus"], r["verdict"]): float(r["value"])
             for r in rows(place / "numbers" / "corridor.csv")}
    # Each corner by hand: the protocol written with these numbers.
    for rate in ("40 mL/kg/d", "120 mL/kg/d"):
        for volume in ("5 mL/kg", "20 mL/kg"):
            (place / "by-hand.yaml").write_text(
                OURS.replace("60 mL/kg/d", rate).replace("volume: 10 mL/kg", f"volume: {volume}"))
            (place / "hand.yaml").write_text(
                "title: By hand\ncase: to-be-filled\nprotocols: [by-hand.yaml]\n" + rest)
            shutil.rmtree(place / "hand", ignore_errors=True)
            run("review", place / "hand.yaml", "--out", place / "hand", "--quiet")
            for r in rows(place / "hand" / "review.csv"):
                assert cells[rate, volume, r["verdict"]] == float(r["value"]), (rate, volume, r)
    assert cells["40 mL/kg/d", "5 mL/kg", "fluid"] < cells["120 mL/kg/d", "5 mL/kg", "fluid"]
    assert cells["40 mL/kg/d", "5 mL/kg", "bolus_fluid"] != cells["40 mL/kg/d", "20 mL/kg", "bolus_fluid"]
    # One run of a cell, by itself.
    run("case", place / "numbers" / "study.yaml", "--run", 2, "--arm", "cell 2 2", "--out", place / "cell.yaml")
    assert "120 mL/kg/d" in (place / "cell.yaml").read_text()
    # What a path does not lead to is refused with its name.
    (place / "wrong.yaml").write_text(by_path.replace("orders.line.rate", "orders.lin.rate") + rest)
    assert "protocol.orders.lin" in run("review", place / "wrong.yaml", "--out", place / "wrong", code=3)
    (place / "wrong.yaml").write_text(by_path.replace("[plan.yaml]", "[plan.yaml, fixed-by-day]") + rest)
    assert "one protocol" in run("review", place / "wrong.yaml", "--out", place / "wrong", code=3)


def check_one_baby(place):
    """A corridor of one baby: no cohort, nothing varies."""
    text = CORRIDOR.replace("cohort: gastroschisis\n", "").replace("{runs: 4, seed: 3}", "{runs: 1}")
    (place / "single.yaml").write_text(text)
    run("review", place / "single.yaml", "--out", place / "single", "--quiet")
    at = {(r["Maintenance"], r["First bolus"], r["verdict"]): float(r["value"])
          for r in rows(place / "single" / "corridor.csv")}
    assert abs(at["40 mL/kg/d", "30 mL/kg", "bolus_fluid"] - 30) < 1e-6


def check_batch(place):
    """Parts in any order, ranks, and kills on the way: the bytes of the review done at once."""
    tools = batch_tools
    path = place / "large.yaml"
    path.write_text(REVIEW.replace("runs: 6", "runs: 400").replace("ours.yaml", "bolus-10-by-trigger"))
    begin = time.monotonic()
    run("review", path, "--out", place / "whole", "--threads", 1, "--quiet")
    seconds = time.monotonic() - begin
    for part in ("2/3", "3/3"):
        text = run("review", path, "--out", place / "parts", "--part", part)
        assert "serosa merge" in text, text
    told = run("merge", path, "--out", place / "parts", code=5)
    assert "part 1 of 3 lacks" in told and "part 2 of 3" not in told, told
    run("review", path, "--out", place / "parts", "--part", "1/3", "--quiet")
    text = run("merge", path, "--out", place / "parts")
    assert "TOO MUCH" in text and "TOO LITTLE" in text
    tools.check_same(place / "parts", place / "whole")
    run("review", path, "--part", "4/3", "--out", place / "x", code=2)
    run("review", path, "--part", "1/3", code=2)
    # Killed three times on its way, and once more while its results are being written.
    chance = random.Random(8)
    kills = 0
    folder = place / "killed"
    while kills < 3:
        process = tools.start("review", path, "--out", folder, "--threads", 1, "--quiet")
        while not (folder / "journal").exists() and process.poll() is None:
            time.sleep(0.002)
        try:
            process.wait(chance.uniform(0.05, 0.4) * seconds)
            assert process.returncode == 0, process.stderr.read()
            break
        except subprocess.TimeoutExpired:
            process.kill()
            process.communicate()
            kills += 1
    assert kills > 0
    if not (folder / "manifest.json").exists():
        for name in ("review.csv", "ranking.csv", "chart.csv", "review.nc", "page.json"):
            (folder / name).write_bytes(b"half a file")
        told = run("review", path, "--out", folder, "--threads", 2)
        assert "going on in" in told, told
    tools.check_same(folder, place / "whole")
    if not tools.mpirun():
        print("ranks not tried: there is no mpirun, or serosa was built without MPI")
        return
    for number in (2, 3):
        tools.run("review", path, "--out", place / f"ranks {number}", "--quiet", before=tools.ranks(number))
        tools.check_same(place / f"ranks {number}", place / "whole")
    (place / "bad.yaml").write_text(REVIEW.replace("runs: 6", "runs: x"))
    _, told = tools.run("review", place / "bad.yaml", "--out", place / "bad", before=tools.ranks(2), code=3)
    assert told.count("design.runs") == 1, told


def check_plan(place):
    """What a review will ask for, one of its babies as a case, and the command that carries it out."""
    text = run("plan", place / "plans.yaml")
    assert "ours + late" in text and "24 of 12 h" in text and CAUTION in text, text
    run("case", place / "plans.yaml", "--run", 5, "--arm", "ours + late", "--out", place / "planned.yaml")
    planned, five = ([line for line in (place / name).read_text().splitlines() if not line.startswith("title:")]
                     for name in ("planned.yaml", "five.yaml"))
    assert sorted(planned) == sorted(five), set(planned) ^ set(five)
    assert "serosa review" in run("sweep", place / "plans.yaml", "--out", place / "bad", code=2)
    assert not (place / "bad").exists()


def check_refusals(place):
    (place / "bad.yaml").write_text(REVIEW.replace("ours.yaml", "fixed-by-dya"))
    assert "fixed-by-day" in run("review", place / "bad.yaml", "--out", place / "bad", code=3)
    (place / "bad.yaml").write_text(REVIEW.replace("until: 12 h", "until: 12 h\nbands: {circulating_deficit: {from: 5 mL/kg, to: 1 mL/kg}}"))
    assert "empty" in run("review", place / "bad.yaml", "--out", place / "bad", code=3)
    (place / "ours.yaml").write_text(OURS.replace("gap: 2 h", "gap: 10 min"))
    text = run("review", place / "plans.yaml", "--out", place / "bad", code=3)
    assert "ours.yaml:" in text and "gap" in text, text
    assert not (place / "bad").exists()


def check_target(place):
    (place / "baby.yaml").write_text("based_on: cases/to-be-filled.yaml\ntitle: One baby\n")
    baby = [place / "baby.yaml", "--at", "4 h", "--low=-1 mL/kg", "--high", "1 mL/kg"]
    text = run("target", *baby)
    assert CAUTION in text and EXPLORATION in text and "Range not yet computed" in text
    assert max(map(len, text.splitlines())) <= 100
    one = json.loads(run("target", *baby, "--json", "--spread", 12))
    figures = one["figures"]
    assert 0 < figures["least"]["value"] < figures["middle"]["value"] < figures["most"]["value"]
    low, middle, high = figures["middle"]["spread"]
    assert low <= middle <= high
    sets = dict(one["sets"])
    assert sets.pop("drawn") == 12 == sum(sets.values())
    # Who owes the spread; a parameter that the case sets is not drawn.
    many = json.loads(run("target", *baby, "--json", "--spread", 126, "--set", "parameters.spread=0.3"))
    assert many["sets"]["drawn"] == 128 and many["owed"]["kept"] == ["spread"]
    assumed, published = many["owed"]["assumptions"], many["owed"]["published"]
    for low, value, high in ((assumed[1], assumed[0], assumed[2]), (published[1], published[0], published[2])):
        assert low <= value <= high
    assert 0.5 < assumed[0] + published[0] < 1.2, (assumed, published)
    assert 0 < many["owed"]["assumptions_among_them"] < many["owed"]["parameters"]
    text = run("target", *baby, "--spread", 64)
    assert "Who owes it" in text and max(map(len, text.splitlines())) <= 100
    assert one == json.loads(run("target", *baby, "--json", "--spread", 12))
    assert "no fluid does" in run("target", *baby, "--most", "0.5 mL/kg")
    assert "none is needed" in run("target", *baby[:3], "--high", "50 mL/kg")
    # A rate until the hour: more is needed than of an early bolus, or as much.
    rate = json.loads(run("target", *baby, "--json", "--by", "rate"))["figures"]
    assert rate["least"]["value"] > 0
    run("target", *baby[:3], "--low", "5 mL/kg", "--high", "1 mL/kg", code=2)
    run("target", *baby, "--fluid", "lemonade", code=3)


with tempfile.TemporaryDirectory() as folder:
    base = pathlib.Path(folder)
    check_review(base)
    check_one_run(base)
    check_plan(base)
    check_corridor(base)
    check_protocol_corridor(base)
    check_one_baby(base)
    check_batch(base)
    check_refusals(base)
    check_target(base)
print("review and target as they should be")
