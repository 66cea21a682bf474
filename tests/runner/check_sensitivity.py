# SPDX-License-Identifier: Apache-2.0
"""`serosa sensitivity` and `--spread` as a user meets them: files, numbers, refusals."""
import csv
import hashlib
import json
import pathlib
import subprocess
import sys
import tempfile

import numpy as np
import xarray as xr

STUDY = """
title: Small
case: wrapped
vary:
  bowel.spread: {law: triangular, from: 0, mode: 0.2, to: 0.6}
  air.speed: {law: uniform, from: 0.05 m/s, to: 0.3 m/s}
  timeline.wrap.seal: {law: uniform, from: 70 %, to: 98 %}
  parameters.gastric_sodium: published
outputs: [bowel_evaporation, core_temperature, circulating_deficit]
times: [30 min, 2 h]
"""
CAUTION = "For teaching and review. Not dosing advice."


class Bench:
    def __init__(self, program, folder):
        self.program, self.folder, self.n = program, pathlib.Path(folder), 0

    def study(self, more, text=STUDY):
        self.n += 1
        path = self.folder / f"study{self.n}.yaml"
        path.write_text(text + more)
        return path

    def run(self, *arguments, code=0):
        done = subprocess.run([self.program, *map(str, arguments)], capture_output=True, text=True,
                              cwd=self.folder)
        assert done.returncode == code, (arguments, done.returncode, done.stdout, done.stderr)
        return done

    def results(self, study, *more):
        out = self.folder / f"out{self.n}-{len(list(self.folder.glob('out*')))}"
        text = self.run("sensitivity", study, "--out", out, *more).stdout
        return out, text


def rows_of(path):
    with open(path, newline="") as file:
        return list(csv.DictReader(file))


def same_numbers(data, rows, measure):
    """Every cell of the table is that of the NetCDF file."""
    assert rows
    for row in rows:
        place = dict(arm=row["arm"], input=row["input"])
        if row["time_h"]:
            found = data[measure].sel(output=row["answer"], time=float(row["time_h"]), **place)
        else:
            found = data[measure + "_of_figures"].sel(figure=row["answer"], **place)
        expected = float(row[measure]) if row[measure] else np.nan
        np.testing.assert_equal(float(found), expected)


def indices(bench):
    study = bench.study("""
design: {kind: random, seed: 3}
series: {every: 5 min, outputs: [bowel_evaporation]}
bands:
  warm: {output: core_temperature, above: 36.5 degC}
sensitivity:
  method: indices
  sample: 64
  keep_runs: true
  second_order: [{inputs: [bowel.spread, air.speed]}]
  figures:
    half a mL: {output: bowel_evaporation, rises_to: 0.5 g}
    time warm: {output: core_temperature, above: 36.5 degC}
    deficit of 1 %: {output: circulating_deficit, rises_to: 1 %}
""")
    out, text = bench.results(study, "--threads", "2")
    assert CAUTION in text and "bowel.spread" in text
    for name in ("sensitivity.nc", "sensitivity.csv", "second_order.csv", "convergence.csv",
                 "runs.nc", "report.html", "manifest.json", "study.yaml"):
        assert (out / name).is_file(), name
    assert CAUTION in (out / "report.html").read_text()
    data = xr.open_dataset(out / "sensitivity.nc")
    assert data.first_order.dims == ("arm", "output", "time", "input")
    assert data.first_order.shape == (1, 4, 2, 4)  # a band beside three outputs
    rows = rows_of(out / "sensitivity.csv")
    for measure in ("first_order", "total"):
        same_numbers(data, rows, measure)
    assert len(rows) == 4 * 2 * 4 + 3 * 4
    # What does nothing is told so; what does most is not.
    at_end = data.sel(arm="wrapped", output="bowel_evaporation", time=2)
    flag = at_end.total_not_distinguishable_from_zero
    assert float(at_end.total.sel(input="parameters.gastric_sodium")) < 1e-3
    assert int(flag.sel(input="timeline.wrap.seal")) == 0
    for measure in ("first_order", "total"):
        holds_zero = ~((data[measure + "_low"] > 0) | (data[measure + "_high"] < 0))
        np.testing.assert_array_equal(
            data[measure + "_not_distinguishable_from_zero"].values, holds_zero.values)
        assert holds_zero.any() and not holds_zero.all()
    # Once more by hand, from the runs that were kept: base points in radial order.
    runs = xr.open_dataset(out / "runs.nc")
    y = runs.bowel_evaporation.sel(arm=0, time=2).values.reshape(64, 2 + 4 + 1)
    a, b, c = y[:, 0], y[:, 1], y[:, 2:6]
    mean = (b[:, None] + c).mean(axis=0) / 2
    first = ((b[:, None] * c).mean(axis=0) - mean**2) / (
        ((b[:, None]**2 + c**2) / 2).mean(axis=0) - mean**2)
    total = ((a[:, None] - c) ** 2).mean(axis=0) / 2 / a.var()
    np.testing.assert_allclose(at_end.first_order.values, first, atol=1e-9)
    np.testing.assert_allclose(at_end.total.values, total, atol=1e-9)
    draws = np.stack([runs[v].values for v in ("bowel_spread", "air_speed", "timeline_wrap_seal")])
    draws = draws.reshape(3, 64, 7)
    for k in range(3):
        for j in range(3):
            np.testing.assert_array_equal(draws[j, :, 2 + k], draws[j, :, 1 if j == k else 0])
    closed = data.second_order.sel(arm="wrapped", output="bowel_evaporation", time=2).values[0]
    both = y[:, 6]
    mean = (b + both).mean() / 2
    pair = ((b * both).mean() - mean**2) / (((b**2 + both**2) / 2).mean() - mean**2)
    np.testing.assert_allclose(closed, pair - first[0] - first[1], atol=1e-9)
    # Figures: the mean share of time is a share, the hour an hour of the study.
    assert 0 <= float(data.figure_mean.sel(arm="wrapped", figure="time warm")) <= 1
    assert 0 < float(data.figure_mean.sel(arm="wrapped", figure="half a mL")) <= 2
    assert 0 <= float(data.figure_never.sel(arm="wrapped", figure="deficit of 1 %")) <= 1
    sizes = [float(r["base_points"]) for r in rows_of(out / "convergence.csv")]
    assert set(sizes) == {16, 32, 64}
    # The same study again, with another number of threads: the same bytes.
    again, _ = bench.results(study, "--threads", "1")
    digest = lambda path: hashlib.sha256(path.read_bytes()).hexdigest()
    for name in ("sensitivity.nc", "sensitivity.csv", "runs.nc", "report.html"):
        assert digest(out / name) == digest(again / name), name
    # The page is made again from what is there.
    before = digest(out / "report.html")
    (out / "report.html").unlink()
    bench.run("page", out)
    assert digest(out / "report.html") == before


def differences(bench):
    text = STUDY.replace("case: wrapped", "arms:\n  exposed: {case: exposed}\n  wrapped: {case: wrapped}")
    out, printed = bench.results(bench.study("""
sensitivity: {method: indices, sample: 64, scrambles: 16, convergence: false}
""", text))
    data = xr.open_dataset(out / "sensitivity.nc")
    assert list(data.arm.values) == ["exposed", "wrapped", "wrapped less exposed"]
    seal = data.total.sel(input="timeline.wrap.seal", output="bowel_evaporation", time=2)
    # The seal of a wrap that is not there does nothing.
    assert float(seal.sel(arm="exposed")) == 0
    assert float(seal.sel(arm="wrapped less exposed")) > 0
    assert not (out / "runs.nc").exists() and not (out / "convergence.csv").exists()
    assert "wrapped less exposed" in printed


def other_methods(bench):
    out, text = bench.results(bench.study("""
design: {seed: 2}
sensitivity: {method: elementary-effects, trajectories: 12}
"""))
    data = xr.open_dataset(out / "sensitivity.nc")
    end = data.sel(arm="wrapped", output="bowel_evaporation", time=2)
    assert float(end.mu.sel(input="timeline.wrap.seal")) < 0 < float(end.mu.sel(input="bowel.spread"))
    assert float(end.mu_star.sel(input="parameters.gastric_sodium")) < 0.01 * float(
        end.mu_star.sel(input="bowel.spread"))
    same_numbers(data, rows_of(out / "sensitivity.csv"), "mu_star")
    out, text = bench.results(bench.study("""
design: {kind: latin-hypercube, runs: 60}
sensitivity: {method: rank-correlations}
"""))
    data = xr.open_dataset(out / "sensitivity.nc")
    partial = data.partial_rank.sel(arm="wrapped", output="bowel_evaporation", time=2)
    assert float(partial.sel(input="timeline.wrap.seal")) < -0.9
    assert "partial rank" in text
    study = bench.study("sensitivity: {method: elasticities}\n", STUDY.replace(
        "parameters.gastric_sodium", "timeline.wrap.at: [2 min, 3 min, 4 min]\n  "
        "parameters.gastric_sodium"))
    out, text = bench.results(study)
    data = xr.open_dataset(out / "sensitivity.nc")
    end = data.sel(arm="wrapped", output="bowel_evaporation", time=2)
    by = dict(zip(data.input.values, data.found_by.values))
    assert by["bowel.spread"] == "dual numbers" and by["timeline.wrap.at"] == "dual numbers"
    assert by["timeline.wrap.seal"] == by["air.speed"] == "dual numbers"

    def lost(**changes):
        values = {"bowel.spread": float(middle("bowel.spread")), "air.speed": 0.175,
                  "timeline.wrap.seal": 0.84, "timeline.wrap.at": 3 / 60} | changes
        units = {"air.speed": " m/s", "timeline.wrap.at": " h"}
        sets = [x for k, v in values.items() for x in ("--set", f"{k}={v!r}{units.get(k, '')}")]
        done = bench.run("run", pathlib.Path(sys.argv[2]) / "models/cases/wrapped.yaml", "--json",
                         "--at", "2 h", "--until", "2 h", *sets)
        figures = json.loads(done.stdout)["cases"][0]["figures"]
        return next(f["values"][0] for f in figures if f["name"] == "bowel_evaporation")

    def middle(path):  # of the triangular law by hand: 0, 0.2, 0.6
        return 0.6 - np.sqrt(0.5 * 0.6 * 0.4)

    # Whole runs with their own steps differ by the solver's tolerance: a hundredth.
    for path, step in (("bowel.spread", 0.02), ("timeline.wrap.seal", 0.01),
                       ("timeline.wrap.at", 0.01)):
        base = {"bowel.spread": middle("x"), "timeline.wrap.seal": 0.84, "timeline.wrap.at": 0.05}
        slope = (lost(**{path: base[path] + step}) - lost(**{path: base[path] - step})) / (2 * step)
        np.testing.assert_allclose(float(end.slope.sel(input=path)), slope, rtol=0.02)
    np.testing.assert_allclose(float(end["mean"]), lost(), rtol=1e-3)


def refusals(bench):
    def refused(more, words, text=STUDY, command="sensitivity"):
        done = bench.run(command, bench.study(more, text), code=bench.refusal)
        for word in words:
            assert word in done.stderr, (word, done.stderr)

    refused("design: {runs: 300}\nsensitivity: {sample: 64}\n", ["64 × (4 + 2) = 384 runs, found 300"])
    refused("sensitivity: {sample: 1000}\n", ["1000 base points / 16 scrambles = 62.5", "16 × 64 = 1024"])
    refused("sensitivity: {method: elementary-effects, trajectories: 10}\ndesign: {runs: 49}\n",
            ["10 × (4 + 1) = 50 runs, found 49"])
    refused("sensitivity: {method: rank-correlations}\ndesign: {kind: random, runs: 7}\n",
            ["4 + 4 = 8 runs, found 7"])
    refused("design: {kind: latin-hypercube}\nsensitivity: {sample: 64}\n", ["drawn independently"])
    refused("sensitivity: {groups: {x: {inputs: [bowel.spred]}}}\n",
            ["does not vary in this study", "bowel.spread"])
    refused("design: {runs: 20}\n", ["asks for no sensitivities", "sensitivity: {method: indices"])
    together = ("correlations: [{inputs: [bowel.spread, air.speed], rank: 0.5}]\n")
    refused(together + "sensitivity: {sample: 64}\n", ["go together", "put them into one group"])
    out, _ = bench.results(bench.study(together + """
sensitivity: {sample: 64, groups: {open air: {inputs: [bowel.spread, air.speed]}}}
"""))
    assert "open air" in xr.open_dataset(out / "sensitivity.nc").input.values
    refused("sensitivity: {figures: {x: {output: plasma_sodium}}}\n", ["rises_to", "falls_to"])


def refusal_code(bench):
    path = bench.study("nonsense: 1\n")
    return subprocess.run([bench.program, "plan", path], capture_output=True).returncode


def spread(bench):
    models = pathlib.Path(sys.argv[2]) / "models/cases"
    out = bench.folder / "spread"
    done = bench.run("compare", models / "exposed.yaml", models / "wrapped.yaml", "--spread", "61",
                     "--at", "1 h", "--until", "1 h", "--json", "--out", out)
    told = json.loads(done.stdout)["range"]
    assert told["runs"] == 64 and told["assumptions_among_them"] > 10
    data = xr.open_dataset(out / "spread.nc")
    assert list(data.case.values) == ["exposed", "wrapped", "wrapped less exposed"]
    low, middle, high = (data.value.sel(quantile=q) for q in (0.05, 0.5, 0.95))
    assert bool((low <= middle).all()) and bool((middle <= high).all())
    lost = data.value.sel(output="bowel_evaporation", time=1)
    assert float(lost.sel(case="wrapped less exposed", quantile=0.95)) < 0
    rows = rows_of(out / "spread.csv")
    row = next(r for r in rows if r["case"] == "wrapped" and r["output"] == "bowel_evaporation"
               and float(r["time_h"]) == 1)
    assert float(row["quantile_0.5"]) == float(lost.sel(case="wrapped", quantile=0.5))
    share = data.share_owed_to_assumptions.sel(case="exposed", output="bowel_evaporation", time=1)
    assert float(share.sel(estimate="low")) <= float(share.sel(estimate="value"))
    text = bench.run("run", models / "exposed.yaml", "--spread", "16", "--at", "1 h", "--set",
                     "parameters.spread=0.3").stdout
    assert "HOW SURE" in text and "WHO OWES IT" in text and "a case sets them: spread" in text
    assert "Range not yet computed" not in text and CAUTION in text
    bench.run("run", models / "exposed.yaml", "--spread", "2", code=usage_code(bench))


def usage_code(bench):
    return subprocess.run([bench.program, "run"], capture_output=True).returncode


def main(program):
    with tempfile.TemporaryDirectory() as folder:
        bench = Bench(program, folder)
        bench.refusal = refusal_code(bench)
        assert bench.refusal not in (0, usage_code(bench))
        for part in (indices, differences, other_methods, refusals, spread):
            part(bench)
            print(part.__name__, "holds")


if __name__ == "__main__":
    main(sys.argv[1])
