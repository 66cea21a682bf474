#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""`serosa fit` through the real program: the shipped fits, their files, refusals, and the same
least-squares problem solved by scipy.optimize.least_squares over `serosa run`.

Usage: check_fit.py PROGRAM MODELS
"""
import csv
import io
import json
import pathlib
import re
import subprocess
import sys
import tempfile

import numpy
import scipy.optimize
import xarray

PROGRAM, MODELS = sys.argv[1], pathlib.Path(sys.argv[2])
FITS = MODELS / "fits"
CAUTION = ("For teaching and review. Not dosing advice. Follow local protocols and licensed "
           "clinicians.")


def run(*arguments, code=0, cwd=None):
    done = subprocess.run([PROGRAM, *map(str, arguments)], cwd=cwd, stdout=subprocess.PIPE,
                          stderr=subprocess.PIPE, timeout=300)
    assert done.returncode == code, (arguments, done.returncode, done.stderr.decode())
    return done.stdout.decode(), done.stderr.decode()


def table(path):
    with open(path, newline="") as file:
        return list(csv.DictReader(file))


def check_shipped_data_are_simulated(place):
    """Every shipped data file says that it is simulated and with what; making it again from what it
    says gives the same numbers."""
    names = sorted(path.stem for path in FITS.glob("*.csv"))
    assert names == sorted(path.stem for path in FITS.glob("*.yaml")), names
    for name in names:
        text = (FITS / f"{name}.csv").read_text()
        head = "".join(line for line in text.splitlines(True) if line.startswith("#"))
        assert head.startswith("# Simulated, not measured"), name
        assert CAUTION in head, name
        made_with = re.search(r"Made with (.*)\.\n", head).group(1)
        seed = re.search(r"seed (\d+)", head).group(1)
        truth = [word for pair in made_with.split(", ")
                 for word in ("--truth", pair.replace(" = ", "="))]
        again = place / f"{name}.csv"
        run("fit", FITS / f"{name}.yaml", FITS / f"{name}.csv", "--simulate", again, "--seed", seed,
            "--quiet", *truth)
        rows = [[line for line in one.splitlines() if not line.startswith("#")]
                for one in (text, again.read_text())]
        assert rows[0] == rows[1], name
        run("fit", FITS / f"{name}.yaml", FITS / f"{name}.csv", "--simulate", again, code=5)


def check_folder(place):
    """What a fit leaves: complete, the same bytes again, readable by others, and it re-runs."""
    first, second = place / "first", place / "second"
    told, _ = run("fit", FITS / "first-hours.yaml", FITS / "first-hours.csv", "--out", first)
    assert CAUTION in told and str(first) in told
    quiet, _ = run("fit", FITS / "first-hours.yaml", FITS / "first-hours.csv", "--out", second,
                   "--threads", 1, "--quiet")
    assert quiet == f"{second}\n"
    names = {path.relative_to(first).as_posix() for path in first.rglob("*") if path.is_file()}
    assert {"fit.csv", "profiles.csv", "residuals.csv", "starts.csv", "correlations.csv",
            "combinations.csv", "residual_summary.csv", "courses.csv", "fit.nc", "fitted.yaml",
            "fit.yaml", "data.csv", "table.txt", "manifest.json", "log.txt",
            "page.json", "report.html"} <= names, names
    for name in names - {"log.txt"}:
        assert (first / name).read_bytes() == (second / name).read_bytes(), name
    manifest = json.loads((first / "manifest.json").read_text())
    assert manifest["caution"] == CAUTION and manifest["settings"]["seed"] == 1
    fitted = {row["input"]: row for row in table(first / "fit.csv")}
    with xarray.open_dataset(first / "fit.nc") as nc:
        assert list(nc.input_name.values) == list(fitted)
        for i, row in enumerate(fitted.values()):
            assert float(row["fitted"]) == float(nc.value[i])
        residuals = table(first / "residuals.csv")
        assert [float(row["residual / error"]) for row in residuals] == nc.scaled_residual.values.tolist()
        # The least chi-square is the sum of the squares of the residuals.
        total = float((nc.scaled_residual ** 2).sum())
        assert abs(total - manifest["chi_square"]) < 1e-9 * total
    # The fitted case runs and gives the fitted figures; its tolerance is that of `run`, 1e-4.
    run("run", first / "fitted.yaml", "--out", place / "again", "--quiet",
        "--at", ", ".join(sorted({row["time [h]"] + " h" for row in residuals})))
    with xarray.open_dataset(place / "again" / "series.nc", decode_times=False) as series:
        for row in residuals:
            if row["figure"] == "bowel_temperature":
                at = series.bowel_temperature.isel(run=0).interp(time=float(row["time [h]"]))
                assert abs(float(at) - float(row["fitted"])) < 0.01, row
    return first


def check_verdicts(place):
    """One gestation cannot tell the pair apart and says so; two can."""
    one, _ = run("fit", FITS / "one-gestation.yaml", FITS / "one-gestation.csv", "--out",
                 place / "one")
    rows = table(place / "one" / "fit.csv")
    assert {row["verdict"] for row in rows} == {"cannot tell apart"}, rows
    assert "cannot be told apart" in one
    two, _ = run("fit", FITS / "two-gestations.yaml", FITS / "two-gestations.csv", "--out",
                 place / "two")
    rows = table(place / "two" / "fit.csv")
    assert {row["verdict"] for row in rows} == {"told"}, rows
    assert len(list((place / "two" / "fitted").glob("*.yaml"))) == 2
    assert "cannot be told apart" not in two


def check_refusals(place):
    bad = place / "bad.csv"
    bad.write_text("time [h],urine_sodium [mmol]\n1,0.1\n2,many\n")
    _, error = run("fit", FITS / "one-gestation.yaml", bad, "--out", place / "x", code=3)
    assert "bad.csv:3:3" in error and "2,many" in error, error
    assert not (place / "x").exists()
    _, error = run("fit", FITS / "one-gestation.yaml", place / "nowhere.csv", code=3)
    assert "nowhere.csv" in error
    run("fit", FITS / "one-gestation.yaml", code=2)
    run("fit", FITS / "one-gestation.yaml", FITS / "one-gestation.csv", "--truth", "a=1", code=2)
    large = place / "large.csv"
    large.write_text("time [h],urine_sodium [mmol]\n" + "# " + "x" * (17 << 20))
    _, error = run("fit", FITS / "one-gestation.yaml", large, code=3)
    assert "large.csv" in error and len(error) < 1000, error[:500]
    full = place / "full"
    full.mkdir()
    (full / "mine").write_text("mine")
    run("fit", FITS / "one-gestation.yaml", FITS / "one-gestation.csv", "--out", full, code=5)
    assert [path.name for path in full.iterdir()] == ["mine"]


def check_repeats(place):
    told, _ = run("fit", FITS / "two-gestations.yaml", FITS / "two-gestations.csv", "--repeats", 10,
                  "--starts", 1, cwd=place)
    counts = [int(n) for n in re.findall(r"(\d+) of 10", told)]
    # Of ten intervals of 95 %, fewer than seven hold the true value once in ten thousand times.
    assert len(counts) == 4 and counts[0] >= 7 and counts[2] >= 7, told
    assert CAUTION in told


def check_against_scipy(place):
    """scipy.optimize.least_squares (trust region reflective, differences of its own) on the same
    data, computed by `serosa run`, comes to the same best fit, the same chi-square and the same
    standard errors."""
    folder = place / "two"
    fitted = table(folder / "fit.csv")
    residuals = table(folder / "residuals.csv")
    paths = [row["input"] for row in fitted]
    low = numpy.array([float(row["lower bound"]) for row in fitted])
    high = numpy.array([float(row["upper bound"]) for row in fitted])
    times = sorted({float(row["time [h]"]) for row in residuals})
    cases = sorted((folder / "fitted").glob("*.yaml"))
    count = 0

    def misfit(shares):
        nonlocal count
        count += 1
        figures = {}
        for case in cases:
            out = place / "scipy" / f"{case.stem}-{count}"
            run("run", case, "--out", out, "--quiet", "--until", f"{times[-1]} h", "--at",
                ", ".join(f"{t} h" for t in times),
                *[word for path, share, a, b in zip(paths, shares, low, high)
                  for word in ("--set", f"{path}={a + share * (b - a)!r}" + UNITS[path])])
            with xarray.open_dataset(out / "series.nc", decode_times=False) as series:
                course = series.urine_sodium.isel(run=0)
                for t in times:
                    figures[case.stem, t] = float(course.interp(time=t))
        return numpy.array([(figures[row["arm"], float(row["time [h]"])] - float(row["measured"]))
                            / float(row["error (sd)"]) for row in residuals])

    UNITS = {row["input"]: "" if row["unit"] == "1" else " " + row["unit"] for row in fitted}
    # From the middle of the bounds, not from where the program begins. `run` is accurate to 1e-4.
    found = scipy.optimize.least_squares(misfit, [0.5] * len(paths), bounds=(0, 1), diff_step=0.02,
                                         xtol=1e-4, ftol=1e-6)
    chi_square = 2 * found.cost
    ours = json.loads((folder / "manifest.json").read_text())["chi_square"]
    assert abs(chi_square - ours) < 0.05, (chi_square, ours)
    errors = numpy.sqrt(numpy.diag(numpy.linalg.inv(found.jac.T @ found.jac))) * (high - low)
    for row, share, a, b, error in zip(fitted, found.x, low, high, errors):
        name, value = row["input"], a + share * (b - a)
        standard = float(row["standard error, Fisher information"])
        # A tenth of a standard error in the value; differences of 2 % of the range in its size.
        assert abs(value - float(row["fitted"])) < 0.1 * standard, (name, value, row["fitted"])
        assert abs(error / standard - 1) < 0.05, (name, error, standard)
    print(f"scipy: chi-square {chi_square:.4f} against {ours:.4f} in {count} evaluations")


with tempfile.TemporaryDirectory() as made:
    folder = pathlib.Path(made)
    check_shipped_data_are_simulated(folder)
    check_folder(folder)
    check_verdicts(folder)
    check_refusals(folder)
    check_repeats(folder)
    check_against_scipy(folder)
    help_text, _ = run("fit", "--help")
    assert "Examples" in help_text and CAUTION in help_text
print("fit: all checks hold")
