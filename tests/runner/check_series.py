# SPDX-License-Identifier: Apache-2.0
"""Runs the program and reads its results as a researcher would: xarray opens series.nc, and finds
the numbers, units and names of series.csv. Usage: check_series.py PROGRAM MODELS"""
import csv
import math
import pathlib
import subprocess
import sys
import tempfile

import xarray

program, models = sys.argv[1:]
cases = [f"{models}/cases/{name}.yaml" for name in ("exposed", "wrapped")]
with tempfile.TemporaryDirectory() as folder:
    out = pathlib.Path(folder) / "out"
    subprocess.run([program, "compare", *cases, "--until", "1 h", "--out", str(out), "--quiet",
                    "--models", models], check=True, stdout=subprocess.DEVNULL)
    with open(out / "series.csv", newline="", encoding="utf-8") as file:
        head, *rows = csv.reader(file)
    series = xarray.open_dataset(out / "series.nc")
    series.load()

assert series["time"].dtype.kind == "f", "hours must stay numbers, not become dates"
assert series["time"].attrs["units"] == "h"
assert "Not dosing advice" in series.attrs["comment"]
assert list(series["case"].values) == ["exposed", "wrapped"]
assert list(series["run_status"].values) == [0, 0]
number_of_times = series.sizes["time"]
assert len(rows) == 2 * number_of_times and number_of_times > 10
compared = 0
for column, title in enumerate(head[2:], start=2):
    name, unit = title[:-1].split(" [")
    values = series[name]
    assert values.attrs["units"] == unit, name
    assert values.attrs["long_name"], name
    assert values.dims == ("run", "time"), name
    for number, row in enumerate(rows):
        run, time = divmod(number, number_of_times)
        assert float(row[1]) == float(series["time"][time])
        expected = float(row[column]) if row[column] else math.nan
        found = float(values.values[run, time])
        assert found == expected or (math.isnan(found) and math.isnan(expected)), (name, row[:2])
        compared += 1
print(f"{compared} numbers are the same")
