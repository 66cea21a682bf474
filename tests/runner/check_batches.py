#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Batches as a user meets them: the same bytes however they run, one run again, failed runs, files.

Usage: check_batches.py PROGRAM TEST SOURCE-TREE
"""
import csv
import ctypes
import ctypes.util
import json
import pathlib
import re
import subprocess
import sys
import tempfile

sys.path.insert(0, str(pathlib.Path(__file__).parent.parent / "faults"))
from batch_tools import (CAUTION, PROGRAM, REFUSED, RUN_FAILED, check_same, contents, main, mpirun,
                         ranks, remove, run, study, sweep)

TREE = pathlib.Path(sys.argv[3]) if len(sys.argv) > 3 else None

STUDY = """
title: Exposed, wrapped early and late
note: A trial.
arms:
  exposed: {case: exposed}
  wrapped: {case: wrapped}
  wrapped late: {case: wrapped, set: {timeline.wrap.at: 20 min}}
cohort: gastroschisis
vary:
  timeline.wrap.seal: {law: uniform, from: 70 %, to: 98 %}
  timeline.wrap.with: [polyethylene-film, pvc-cling-film]
  air.temperature: {law: normal, mean: 26 degC, sd: 1 K}
  baby.length: {law: empirical, file: group/lengths.csv, column: "length [cm]"}
correlations:
  - {inputs: [air.temperature, timeline.wrap.seal], rank: 0.3}
design: {kind: sobol, runs: 150, seed: 11}
outputs: [bowel_evaporation, external_deficit, core_temperature, haematocrit]
times: [30 min, 2 h]
series: {every: 20 min, all_runs: true}
bands:
  cold: {output: core_temperature, below: 36.5 degC}
  normal: {output: core_temperature, above: 36.5 degC, below: 37.5 degC}
"""


def trial(place):
    (place / "group").mkdir()
    (place / "group" / "lengths.csv").write_text("length [cm]\n44\n45.5\n46\n47.2\n")
    return study(place, STUDY)


def same_bytes(place):
    """1 or 2 threads, parts in any order, 2 or 3 ranks: the same bytes."""
    path = trial(place)
    sweep(path, place / "one", "--threads", 1)
    sweep(path, place / "two", "--threads", 2)
    check_same(place / "two", place / "one")
    for part in ("3/4", "1/4", "4/4", "2/4"):
        if part == "2/4":
            _, told = run("merge", path, "--out", place / "parts", code=5)
            assert "part 2 of 4 lacks" in told and "part 1 of 4" not in told, told
        sweep(path, place / "parts", "--part", part)
        assert not (place / "parts" / "manifest.json").exists()
    run("merge", path, "--out", place / "parts", "--quiet")
    check_same(place / "parts", place / "one")
    _, told = run("sweep", path, "--part", "5/4", "--out", place / "x", code=2)
    _, told = run("merge", path, "--out", place / "nowhere", code=5)
    assert not (place / "nowhere").exists()
    # MPI is a part that is loaded on demand.
    linked = subprocess.run(["ldd", str(PROGRAM)], capture_output=True, text=True).stdout
    assert "mpi" not in linked, linked
    if not mpirun():
        print("ranks not tried: there is no mpirun, or serosa was built without MPI")
        return
    for number in (2, 3):
        sweep(path, place / f"ranks {number}", before=ranks(number))
        check_same(place / f"ranks {number}", place / "one")
    # A study that is refused is refused once, and every rank ends.
    bad = study(place, STUDY.replace("runs: 150", "runs: x"), "bad.yaml")
    _, told = sweep(bad, place / "bad", before=ranks(2), code=REFUSED)
    assert told.count("design.runs") == 1, told


def one_run_again(place):
    """`serosa case` writes a run's case; `serosa run` repeats it to the bit."""
    import numpy
    import xarray
    path = trial(place)
    sweep(path, place / "batch")
    batch = xarray.open_dataset(place / "batch" / "runs.nc")
    outputs = [v for v in batch if batch[v].dims == ("run", "arm", "time")]
    assert len(outputs) == 4
    for run_number in (0, 1, 77, 149):
        for place_of_arm, arm in enumerate(batch.arm_name.values):
            case = place / f"{run_number} {arm}.yaml"
            run("case", path, "--run", run_number, "--arm", arm, "--out", case)
            assert CAUTION in case.read_text()
            run("run", case, "--out", place / case.stem, "--quiet")
            again = xarray.open_dataset(place / case.stem / "series.nc")
            for output in outputs:
                ours = batch[output].values[run_number, place_of_arm]
                theirs = again[output].sel(time=batch.time.values).values.ravel()
                assert not numpy.isnan(ours).any()
                assert ours.tobytes() == theirs.tobytes(), (run_number, arm, output, ours, theirs)
    _, told = run("case", path, "--run", 150, code=2)
    assert "runs are 0 to 149" in told, told
    _, told = run("case", path, "--run", 1, "--arm", "wraped", code=2)
    # The study as understood, in the folder of its batch, is the same batch.
    sweep(place / "batch" / "study.yaml", place / "understood")
    again = xarray.open_dataset(place / "understood" / "runs.nc")
    for variable in batch:
        if batch[variable].dtype != object:
            assert batch[variable].values.tobytes() == again[variable].values.tobytes(), variable


def table(path):
    with open(path, newline="") as lines:
        return list(csv.DictReader(lines))


FAILING = """
title: One in thirty is bled white
case: {case}
vary:
  timeline.bleed.share: {{law: list, values: [2 %, 90 %], weights: [97, 3]}}
  baby.weight: {{law: uniform, from: 2 kg, to: 3 kg}}
design: {{kind: random, runs: 600, seed: 2}}
outputs: [blood_volume, core_temperature]
times: [1 h, 2 h]
series: {{every: 1 h}}
failed_runs: {policy}
"""


def failed_runs(place):
    """3 % of the runs fail: the batch completes, says which and why, and ends non-zero."""
    import xarray
    (place / "bled.yaml").write_text(
        f"based_on: {TREE}/models/cases/exposed.yaml\ntitle: Bled\n"
        "timeline:\n  bleed: {at: 30 min, share: 2 %, over: 10 min}\n")
    report = study(place, FAILING.format(case="bled.yaml", policy="report"))
    exclude = study(place, FAILING.format(case="bled.yaml", policy="exclude"), "exclude.yaml")
    out, told = run("sweep", report, "--out", place / "report", code=RUN_FAILED)
    batch = xarray.open_dataset(place / "report" / "runs.nc")
    failed = (batch.run_status.values != 0).ravel()
    count = int(failed.sum())
    assert 6 <= count <= 40, count  # 18 expected; 6 and 40 are beyond four standard deviations
    assert f"{count} of 600 runs failed" in out, out
    assert f"bled: {count} of 600 runs ({100 * count / 600:.3g} %)" in told, told
    assert "No statistics were made" in told, told
    for name in ("summary.csv", "differences.csv", "bands.csv", "series.nc"):
        assert not (place / "report" / name).exists(), name
    # Those, and only those, that were bled of nearly all their blood.
    assert ((batch.timeline_bleed_share.values > 0.5) == failed).all()
    rows = table(place / "report" / "failed_runs.csv")
    assert [int(row["run"]) for row in rows] == [i for i, bad in enumerate(failed) if bad]
    meanings = batch.run_status.attrs["flag_meanings"].split()
    for row in rows:
        status = int(batch.run_status.values[int(row["run"]), 0])
        assert row["ended"] == meanings[status] and row["meaning"]
        assert 0.4 < float(row["time [h]"]) < 2
    shares = {row["ended"]: row for row in table(place / "report" / "failed.csv")}
    assert int(shares["failed"]["runs"]) == count
    assert abs(float(shares["failed"]["share"]) - count / 600) < 1e-12
    manifest = json.loads((place / "report" / "manifest.json").read_text())
    assert manifest["arms"][0]["runs"]["finished"] == 600 - count
    # The statistics of the others only when told to.
    out, told = run("sweep", exclude, "--out", place / "exclude", code=RUN_FAILED)
    assert "The statistics leave them out, as the study says" in told, told
    for row in table(place / "exclude" / "summary.csv"):
        assert int(row["runs"]) == 600 - count
        assert abs(float(row["share failed"]) - count / 600) < 1e-12
        values = batch[row["output"]].sel(time=float(row["time [h]"])).values[:, 0][~failed]
        assert abs(float(row["mean"]) - values.mean()) < 1e-9 * abs(values.mean())
        assert float(row["least"]) == values.min() and float(row["most"]) == values.max()


# What of the CF conventions 1.11 concerns these files: no checker is packaged.
NAME = re.compile(r"[A-Za-z][A-Za-z0-9_]*$")  # section 2.3
MEANING = re.compile(r"[A-Za-z0-9_\-.+@]+$")  # section 3.5
TURNED_INTO_DATES = {"days", "day", "hours", "hour", "hr", "minutes", "minute", "min", "seconds",
                     "second", "sec", "s", "milliseconds", "microseconds", "nanoseconds"}


def check_file(path):
    import numpy
    import xarray
    raw = xarray.open_dataset(path, decode_cf=False)
    assert raw.attrs["Conventions"] == "CF-1.11"
    assert raw.attrs["title"] and raw.attrs["source"].startswith("serosa ")
    assert raw.attrs["comment"] == CAUTION
    units = set()
    for name in raw.variables:
        variable = raw[name]
        assert NAME.match(name), name
        assert variable.attrs.get("long_name"), name
        if "flag_values" in variable.attrs:
            values = numpy.atleast_1d(variable.attrs["flag_values"])
            meanings = variable.attrs["flag_meanings"].split(" ")
            assert values.dtype == variable.dtype, name
            assert len(values) == len(meanings) == len(set(values.tolist())), name
            assert all(MEANING.match(word) for word in meanings), meanings
            assert set(numpy.unique(variable.values).tolist()) <= set(values.tolist()), name
            assert "units" not in variable.attrs
        elif variable.dtype.kind == "f" or (variable.dtype.kind == "i" and name != "run"):
            unit = variable.attrs["units"]
            units.add(unit)
            assert unit not in TURNED_INTO_DATES, (name, unit)
            if unit == "degC":  # section 3.1.2
                assert variable.attrs["units_metadata"] == "temperature: on_scale", name
        if "_FillValue" in variable.attrs:
            assert numpy.asarray(variable.attrs["_FillValue"]).dtype == variable.dtype, name
        for word in variable.attrs.get("coordinates", "").split():
            assert word in raw.variables and set(raw[word].dims) <= set(variable.dims), name
    for name in raw.dims:  # section 5: coordinate variables are monotonic and nothing is missing
        if name in raw.variables:
            steps = numpy.diff(raw[name].values)
            assert (steps > 0).all() and not numpy.isnan(raw[name].values).any(), name
    # Decoded by default rules: a time in h stays a number.
    with xarray.open_dataset(path) as decoded:
        assert decoded.time.dtype == numpy.float64 and decoded.time.attrs["units"] == "h"
        for name in decoded.variables:
            assert decoded[name].dtype.kind not in "mM", name
    return raw, units


def check_units(units):
    """UDUNITS-2 reads them, by its library."""
    library = ctypes.CDLL(ctypes.util.find_library("udunits2"))
    library.ut_read_xml.restype = library.ut_parse.restype = ctypes.c_void_p
    library.ut_parse.argtypes = [ctypes.c_void_p, ctypes.c_char_p, ctypes.c_int]
    library.ut_set_error_message_handler(library.ut_ignore)
    system = library.ut_read_xml(None)
    assert system and not library.ut_parse(system, b"wk", 0)  # it can say no
    for unit in sorted(units):
        assert library.ut_parse(system, unit.encode(), 0), unit


def netcdf(place):
    """xarray opens every file, UDUNITS reads every unit, and the CF rules that apply hold."""
    path = trial(place)
    sweep(path, place / "batch")
    units = set()
    files = sorted((place / "batch").rglob("*.nc"))
    assert [file.name for file in files] == ["runs.nc", "series.nc"]
    for file in files:
        raw, more = check_file(file)
        units |= more
    assert {"h", "degC", "g", "1"} <= units, units
    assert "week" in units, units
    check_units(units)
    batch, _ = check_file(place / "batch" / "runs.nc")
    assert dict(batch.dims) == {"run": 150, "arm": 3, "time": 2}
    assert batch.time.values.tolist() == [0.5, 2.0]
    assert batch.core_temperature.dims == ("run", "arm", "time")
    assert batch.run_status.dims == ("run", "arm") and (batch.rate_evaluations.values > 0).all()
    # The bands are quantiles of the courses.
    import numpy
    series, _ = check_file(place / "batch" / "series.nc")
    levels = series["quantile"].values
    for output in ("bowel_evaporation", "core_temperature"):
        expected = numpy.quantile(series[output + "_of_runs"].values, levels, axis=0)
        assert numpy.allclose(series[output].values, numpy.moveaxis(expected, 0, -1), rtol=1e-12)
    assert series.time.values[0] == 0 and not numpy.signbit(series.time.values[0])
    # Every parameter and every output there is has such a unit.
    outputs = json.loads(run("explain", "--outputs", "--json")[0])["outputs"]
    names = ", ".join(output["name"] for output in outputs)
    every = study(place, "title: All\ncase: wrapped\nvary: all\ndesign: {kind: sobol, runs: 16}\n"
                  f"outputs: [{names}]\ntimes: [1 h]\n", "all.yaml")
    sweep(every, place / "all")
    check_units(check_file(place / "all" / "runs.nc")[1])
    # Every table opens, and differences are taken baby by baby.
    for name in ("summary.csv", "differences.csv", "bands.csv", "failed.csv", "cohort.csv"):
        assert table(place / "batch" / name), name
    for row in table(place / "batch" / "differences.csv"):
        arms = [str(name) for name in batch.arm_name.values]
        values = batch[row["output"]].sel(time=float(row["time [h]"])).values
        pairs = values[:, arms.index(row["arm"])] - values[:, arms.index(row["less arm"])]
        assert abs(float(row["mean difference"]) - pairs.mean()) < 1e-9 * max(1, abs(pairs.mean()))
        assert abs(float(row["sd"]) - pairs.std(ddof=1)) < 1e-9
        assert int(row["babies"]) == 150
        if row["output"] == "core_temperature":
            assert row["unit"] == "K"
    for row in table(place / "batch" / "bands.csv"):
        values = batch[row["output"]].sel(time=float(row["time [h]"])).values[
            :, [str(name) for name in batch.arm_name.values].index(row["arm"])]
        low, high = float(row["above"] or "-inf"), float(row["below"] or "inf")
        assert abs(float(row["share"]) - ((values >= low) & (values < high)).mean()) < 1e-12
    cohort = table(place / "batch" / "cohort.csv")
    assert len(cohort) == 150 and [int(row["run"]) for row in cohort] == list(range(150))
    assert [float(row["baby.weight [g]"]) for row in cohort] == batch.baby_weight.values.tolist()


def planned(place):
    """`plan` tells what a study will ask for and leaves nothing behind."""
    path = trial(place)
    before = sorted(place.rglob("*"))
    out, _ = run("plan", path, cwd=place)
    assert sorted(place.rglob("*")) == before
    for words in ("150 babies, scrambled Sobol' sequence, seed 11", "Runs     450 of 2 h",
                  "runs/s in a trial", "Memory   about", "Disk     ", "wrapped late: Bowel wrapped",
                  "timeline.wrap.seal: uniform, from 70 %, to 98 %",
                  "parameters.wall_mass: triangular", "jansen2012", CAUTION):
        assert words in out, (words, out)
    for file in sorted((TREE / "models" / "studies").glob("*.yaml")):
        out, _ = run("plan", file, cwd=place)
        assert CAUTION in out
    # What it says of the disk is enough, and not far too much.
    for file in (path, TREE / "models" / "studies" / "first-day.yaml"):
        out, _ = run("plan", file, cwd=place)
        number, unit = re.search(r"then at most ([0-9.]+) (kB|MB)", out).groups()
        most = float(number) * {"kB": 1e3, "MB": 1e6}[unit]
        sweep(file, place / "measured")
        size = sum(len(content) for content in contents(place / "measured").values())
        assert 0.25 * most < size < most, (size, most)
        remove(place / "measured")
    # Default folders count on, and an unfinished one is gone on with.
    for number in (1, 2):
        out, _ = run("sweep", TREE / "models" / "studies" / "demo.yaml", "--quiet", cwd=place)
        assert out.strip() == f"results/demo-{number}", out
    for command in ("plan", "sweep", "merge", "case"):
        out, _ = run(command, "--help")
        assert "Examples:" in out and CAUTION in " ".join(out.split()), out


if __name__ == "__main__":
    with tempfile.TemporaryDirectory(prefix="serosa-batches-") as scratch:
        main({"same-bytes": same_bytes, "one-run-again": one_run_again, "failed-runs": failed_runs,
              "netcdf": netcdf, "planned": planned}, scratch)
