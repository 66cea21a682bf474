# SPDX-License-Identifier: Apache-2.0
"""How fast, how exact, how large: serosa beside the solvers of other libraries, in one run.

    bench.py BUILD [--full] [--smoke] [--out DIR]

--full adds a sweep of 1 000 000 runs; --smoke is the short form that the tests use: it
measures little but checks that everything agrees. Writes *.csv, page.json and report.html.
"""
import argparse
import csv
import datetime
import json
import math
import os
import pathlib
import platform
import shutil
import statistics
import subprocess
import sys
import threading
import time

import numpy

import by_scipy

CAUTION = ("For teaching and review. Not dosing advice. Follow local protocols and licensed "
           "clinicians.")
ROOT = pathlib.Path(__file__).resolve().parents[2]
MODELS = ROOT / "models"
HOURS = [1, 2, 6, 12, 18, 24]
BABIES = [("exposed", 2.2), ("wrapped", 2.5), ("wrapped-late", 2.9), ("soaked-gauze", 2.0),
          ("cold-room", 3.1), ("day-one", 2.4), ("draught-servo", 2.7), ("wrapped-tight", 1.8)]
# Of every output's largest size in the run, as in tests/simulate.
BAR = 1e-3

parser = argparse.ArgumentParser(description=__doc__ + "\n" + CAUTION,
                                 formatter_class=argparse.RawDescriptionHelpFormatter)
parser.add_argument("build", type=pathlib.Path)
parser.add_argument("--full", action="store_true", help="also a sweep of 10^6 runs")
parser.add_argument("--smoke", action="store_true", help="short, and fails when something is off")
parser.add_argument("--out", type=pathlib.Path, help="folder for the results, new or empty")
parser.add_argument("--over", action="store_true", help="over results that are there")
options = parser.parse_args()
build = options.build.resolve()
program, solvers = build / "bin" / "serosa", build / "bin" / "bench_solvers"
environment = dict(os.environ, OMPI_ALLOW_RUN_AS_ROOT="1", OMPI_ALLOW_RUN_AS_ROOT_CONFIRM="1")


def say(text):
    print(text, file=sys.stderr, flush=True)


def new_folder():
    if options.out:
        if options.over:
            shutil.rmtree(options.out, ignore_errors=True)
        options.out.mkdir(parents=True, exist_ok=True)
        if any(options.out.iterdir()):
            sys.exit(f"{options.out} is not empty")
        return options.out.resolve()
    n = 1
    while True:
        try:
            folder = pathlib.Path("results") / f"bench-{n}"
            folder.mkdir(parents=True)
            return folder.resolve()
        except FileExistsError:
            n += 1


def child(*command, codes=(0,)):
    """Runs it; time on the clock, s, and its largest memory, MB."""
    started = time.perf_counter()
    process = subprocess.Popen([str(c) for c in command], stdout=subprocess.DEVNULL,
                               stderr=subprocess.PIPE, text=True, env=environment)
    peak = [0.0]

    def watch():
        # The system's own figure for an ended child counts this process, from which it began.
        while process.poll() is None:
            try:
                text = pathlib.Path(f"/proc/{process.pid}/status").read_text()
                peak[0] = max(peak[0], *(int(line.split()[1]) / 1024 for line in text.splitlines()
                                         if line.startswith("VmHWM")), 0.0)
            except OSError:
                return
            time.sleep(0.005)

    watcher = threading.Thread(target=watch)
    watcher.start()
    complaint = process.stderr.read()
    process.wait()
    seconds = time.perf_counter() - started
    watcher.join()
    if process.returncode not in codes:
        sys.exit(f"{' '.join(map(str, command))} ended with {process.returncode}:\n{complaint}")
    return seconds, peak[0]


def table(name, head, rows):
    with open(out / f"{name}.csv", "w", newline="") as file:
        print("# " + CAUTION, file=file)
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(head)
        writer.writerows(rows)


def figure(x, digits=3):
    if x is None or not math.isfinite(x):
        return "–"
    return f"{float(f'{x:.{digits}g}'):,.10g}".replace(",", " ") if abs(x) >= 1e-3 else f"{x:.1e}"


out = new_folder()
work = out / "work"
work.mkdir()
started = time.perf_counter()


def machine():
    model = "unknown"
    for line in pathlib.Path("/proc/cpuinfo").read_text().splitlines():
        if line.startswith("model name"):
            model = line.split(":", 1)[1].strip()
            break
    commit = subprocess.run(["git", "-C", ROOT, "describe", "--always", "--dirty"], text=True,
                            capture_output=True).stdout.strip() or "unknown"
    return {"processor": model, "processors": len(os.sched_getaffinity(0)),
            "load_before": os.getloadavg()[0], "system": platform.system(),
            "commit": commit, "date": datetime.datetime.now().isoformat(timespec="minutes")}


about = machine()


# ---- The cases: 24 h, six output times, eight babies ---------------------------------------

babies = BABIES[:3] + [BABIES[5]] if options.smoke else BABIES
cases = []
for name, weight in babies:
    path = work / f"{name}-24h.yaml"
    path.write_text(f"based_on: {os.path.relpath(MODELS / 'cases' / (name + '.yaml'), work)}\n"
                    f"until: 24 h\nbaby: {{weight: {weight} kg}}\n")
    cases.append(path)

# ---- In one process: serosa and the compiled solvers ---------------------------------------

command = [solvers, "--models", MODELS, "--out", work / "solvers.json"]
for path in cases:
    command += ["--case", path]
for hour in HOURS:
    command += ["--hour", hour]
if options.smoke:
    command += ["--smoke", "--seconds", 0.01]
else:
    command += ["--seconds", 0.5, "--long-case", MODELS / "cases" / "three-days.yaml"]
say("Solvers")
child(*command)
measured = json.loads((work / "solvers.json").read_text())
reference = numpy.array(measured["reference"])  # run × (time × output)
sizes = numpy.array(measured["sizes"])
outputs = measured["outputs"]

# ---- SciPy, on some of the runs ------------------------------------------------------------

say("SciPy")
library = by_scipy.Library(build / "lib" / "libbench_script.so"
                           if (build / "lib" / "libbench_script.so").exists()
                           else next(build.rglob("libbench_script.so")))
rows = measured["work_precision"]
scipy_cases = [0, len(cases) - 3] if not options.smoke else [0]
written = [by_scipy.Case(library, MODELS, cases[n], work) for n in scipy_cases]
written_difference = max(case.difference() for case in written)


def worst_of(found):
    """Of (error per output) of some runs: the largest and its output."""
    error = numpy.max(found, axis=0)
    return float(error.max()), outputs[int(error.argmax())]


def by_script(name, meaning, numpy_numbers, tolerance):
    total, evaluations, against_size, strict = 0.0, 0, [], []
    for n, case in zip(scipy_cases, written):
        values, seconds, count = case.run([float(h) for h in HOURS], tolerance, numpy_numbers)
        total += seconds
        evaluations += count
        truth = reference[n].reshape(values.shape)
        gap = numpy.where(sizes[n] > 0, numpy.abs(values - truth), 0)
        size = numpy.where(sizes[n] > 0, sizes[n], 1)
        against_size.append((gap / size).max(axis=0))
        strict.append((gap / numpy.maximum(numpy.abs(truth),
                                           measured["floor_share"] * size)).max(axis=0))
    (error, output), (strict_error, strict_output) = worst_of(against_size), worst_of(strict)
    rows.append({"method": name, "library": "SciPy", "tolerance": tolerance, "meaning": meaning,
                 "error": error, "worst_output": output, "strict_error": strict_error,
                 "worst_strict_output": strict_output, "runs": len(written),
                 "rate_evaluations": evaluations / len(written),
                 "seconds_per_run": total / len(written)})
    say(f"{name} {tolerance}: error {error:.2g} ({output}), {total / len(written):.2f} s/run")


for tolerance in [1e-5] if options.smoke else [1e-2, 2e-3, 1e-3, 5e-4, 2e-4, 1e-4, 1e-5, 1e-6]:
    by_script("scipy lsoda", "solve_ivp, right-hand side on NumPy's numbers", True, tolerance)
    by_script("scipy lsoda floats", "the same on Python's own floats", False, tolerance)

# ---- At equal measured error ---------------------------------------------------------------



def cheapest(measure):
    best = {}
    for row in rows:
        if "failed" not in row and row[measure] <= BAR and (
                row["method"] not in best or
                row["seconds_per_run"] < best[row["method"]]["seconds_per_run"]):
            best[row["method"]] = row
    return best


passing, strictly = cheapest("error"), cheapest("strict_error")
lane_sets = [r["instruction_set"] for r in measured["rates"]]
fastest_set = lane_sets[-1]


def speed(method, of=passing):
    return 1 / of[method]["seconds_per_run"] if method in of else math.nan


def ratios(lanes_on, of):
    """What is said of the lanes on an instruction set: text, figure, bar, unit."""
    lanes = speed(f"serosa lanes {lanes_on}", of)
    better = max((m for m in ("cvode bdf", "cvode adams") if m in of), key=lambda m: speed(m, of),
                 default="none within 0.1 %")
    times = "times as many runs per second"
    return [(f"{lanes_on} lanes against CVODE's better method ({better})",
             lanes / speed(better, of), 10, times),
            (f"{lanes_on} lanes against serosa's own scalar form",
             lanes / speed("serosa scalar", of), 3.5, times),
            (f"{lanes_on} lanes against the SciPy script", lanes / speed("scipy lsoda", of), 1000,
             times),
            (f"{lanes_on} lanes, runs of 24 h", lanes, 10000, "per second and core")]


# The bars are for the fastest instruction set; what others do stands beside.
verdicts = ratios(fastest_set, passing)
beside = [("", row) for chosen in lane_sets[-2::-1] for row in ratios(chosen, passing)]
beside += [(" (strict measure)", row) for row in ratios(fastest_set, strictly)]

head = ["method", "library", "what it is", "relative tolerance", "largest error of any output",
        "output with that error", "error by the strict measure", "output with that error by it",
        "ms per run", "runs per second and core",
        "evaluations of the rates per run", "why it failed"]
table("work_precision", head,
      [[r["method"], r.get("library", ""), r.get("meaning", ""), r["tolerance"], r.get("error", ""),
        r.get("worst_output", ""), r.get("strict_error", ""), r.get("worst_strict_output", ""), 1e3 * r["seconds_per_run"] if "error" in r else "",
        1 / r["seconds_per_run"] if "error" in r else "", r.get("rate_evaluations", ""),
        r.get("failed", "")] for r in rows])

# ---- Memory, the rates, the parts, horizon and acts ----------------------------------------

memory = []
for method in ["serosa lanes", *sorted({r["method"] for r in rows} -
                                                        {"scipy lsoda", "scipy lsoda floats"})]:
    if method.startswith("serosa ") and method not in ("serosa lanes", "serosa scalar"):
        continue
    memory.append((method, child(*command, "--only", method)[1]))
own_peak = [int(line.split()[1]) / 1024 for line in
            pathlib.Path("/proc/self/status").read_text().splitlines() if line.startswith("VmHWM")]
memory.append(("scipy lsoda, with Python, NumPy and this script", own_peak[0]))
operations = measured["operations"]
table("memory", ["method", "largest memory of the process, MB"], memory)
table("rates", ["instruction set", "ns per evaluation and lane", "measured peak, Gflop/s",
                "rates, Gflop/s", "share of the peak"],
      [list(r.values()) for r in measured["rates"]])
table("operations", ["kind", "in one evaluation of the rates"], operations.items())
parts = dict(measured["parts"])
whole = parts.pop("whole")
evaluations_per_run, outputs_per_run = parts.pop("rate_evaluations"), parts.pop("outputs_per_run")


def line_through(pairs):
    """Constant, slope and the largest distance from the line, in shares of the largest value."""
    x, y = numpy.array(pairs, float).T
    slope, constant = numpy.polyfit(x, y, 1)
    return constant, slope, float(numpy.abs(y - constant - slope * x).max() / y.max())


lengths = measured.get("horizon_and_acts", [])
table("horizon_and_acts", ["what varies", "hours", "acts added", "restarts of the solver",
                           "evaluations of the rates", "ms per run"],
      [[r["kind"], r["hours"], r["extra_acts"], r["restarts"], r["rate_evaluations"],
        1e3 * r["seconds_per_run"]] for r in lengths])
lines = {}
for kind, key in (("horizon", "hours"), ("acts", "extra_acts")):
    pairs = [(r[key], 1e6 * r["seconds_per_run"]) for r in lengths if r["kind"] == kind]
    if pairs:
        lines[kind] = line_through(pairs)

# ---- Sweeps: the whole program, from file to file ------------------------------------------

THREADS = sorted({1, 2, 4, about["processors"]} & set(range(1, about["processors"] + 1)))
SEVERAL = "[bowel_evaporation, external_deficit, third_space, core_temperature]"
ALL_HOURS = "[1 h, 2 h, 6 h, 12 h, 18 h, 24 h]"


def sweep(runs, threads=None, ranks=None, outputs=SEVERAL, times=ALL_HOURS):
    study = work / "sweep.yaml"
    # The arm's own end stands in its case file.
    study.write_text("title: A day, wrapped or not\n"
                     f"case: {cases[1].name}\n"
                     "vary:\n"
                     "  baby.weight: {law: normal, mean: 2562 g, sd: 300 g, from: 1800 g, to: 3300 g}\n"
                     "  air.temperature: {law: uniform, from: 22 degC, to: 28 degC}\n"
                     "  parameters.body_filtration_coefficient: published\n"
                     f"design: {{kind: random, seed: 1, runs: {runs}}}\n"
                     f"outputs: {outputs}\ntimes: {times}\nfailed_runs: exclude\n")
    folder = work / "sweep"
    shutil.rmtree(folder, ignore_errors=True)
    before = [] if ranks is None else ["mpirun", "--oversubscribe", "-n", str(ranks)]
    more = [] if threads is None else ["--threads", str(threads)]
    seconds, peak = child(*before, program, "sweep", study, "--out", folder, "--quiet", *more,
                          codes=(0, 4))
    size = sum(f.stat().st_size for f in folder.rglob("*") if f.is_file()) / 1e6
    shutil.rmtree(folder)
    return seconds, peak, size


scaling = []


def scale(varied, value, *arguments, **more):
    seconds, peak, size = sweep(*arguments, **more)
    scaling.append([varied, value, arguments[0], seconds, arguments[0] / seconds, peak, size])
    say(f"sweep, {varied} {value}: {seconds:.2f} s, {peak:.0f} MB")
    return seconds


counts = [64] if options.smoke else [100, 1000, 10000, 100000]
if options.full:
    counts += [1000000]
for count in counts:
    scale("runs", count, count)
if not options.smoke:
    some = 10000
    single = scale("threads", 1, some, threads=1)
    for n in THREADS[1:]:
        scale("threads", n, some, threads=n)
    if shutil.which("mpirun") and (build / "bin" / "serosa_mpi.so").exists():
        # One rank hands out and writes, so two compute with one.
        for n in (2, 3):
            scale("ranks", n, some, ranks=n)
    scale("numbers kept per run", 1, some, outputs="[external_deficit]", times="[24 h]")
    scale("numbers kept per run", 24, some)
    names = [n for n, s in zip(outputs, sizes.max(axis=0)) if s > 0][:40]
    scale("numbers kept per run", 6 * len(names), some, outputs="[" + ", ".join(names) + "]")
    # What a sweep takes on one thread beyond the runs themselves.
    parts["study and files (of a sweep)"] = max(0.0, single / some - whole)
table("scaling", ["what varies", "value", "runs", "s from start to end", "runs per second",
                  "largest memory, MB", "written, MB"], scaling)
table("parts", ["part", "us per run", "of the runs' own time"],
      [[name, 1e6 * s, s / whole] for name, s in parts.items()] + [["runs, whole", 1e6 * whole, 1]])

# ---- compare -------------------------------------------------------------------------------

compared = []
for n in range(1 if options.smoke else 3):
    folder = work / f"compare-{n}"
    compared.append(child(program, "compare", cases[0], cases[1], "--out", folder, "--quiet")[0])
    missing = {"series.csv", "series.nc", "report.html"} - {f.name for f in folder.iterdir()}
    if missing:
        sys.exit(f"compare left out {', '.join(sorted(missing))}")
compare_seconds = statistics.median(compared)
table("compare", ["two cases of 24 h, with CSV, NetCDF and page", "s from start to end"],
      [[f"time {n + 1}", s] for n, s in enumerate(compared)] + [["median", compare_seconds]])

# ---- What it says --------------------------------------------------------------------------

about["load_after"] = os.getloadavg()[0]
table("verdicts", ["what", "measured", "bar", "unit", "verdict"],
      [[text, ratio, bar, unit, "pass" if ratio >= bar else "miss"]
       for text, ratio, bar, unit in verdicts] +
      [["compare, from start to end", compare_seconds, 0.5, "s (at most)",
        "pass" if compare_seconds < 0.5 else "miss"]] +
      [[text + which, ratio, bar, unit, "beside"] for which, (text, ratio, bar, unit) in beside])
table("machine", ["what", "value"],
      [*about.items(), ["instruction sets", " ".join(lane_sets)]])

said = [f"{'pass' if ratio >= bar else 'miss'}: {text}: {figure(ratio)} {unit} "
        f"(bar {figure(bar)})" for text, ratio, bar, unit in verdicts]
said.append(f"{'pass' if compare_seconds < 0.5 else 'miss'}: compare of two cases of 24 h with CSV, "
            f"NetCDF and page: {figure(compare_seconds)} s (bar 0.5 s)")

said += [f"beside: {text}{which}: {figure(ratio)} {unit}" for which, (text, ratio, _, unit) in beside]

methods = list(dict.fromkeys(r["method"] for r in rows))
at_bar = [m for m in methods if m in passing]
at_bar.sort(key=speed, reverse=True)


def section(name, kind, topic, title, text, data, below=None):
    made = {"id": name, "kind": kind, "topic": topic, "title": title, "text": text, "data": data}
    if below:
        made["below"] = below
    return made


def named(method):
    return next((f"{method} ({r['meaning']})" for r in rows
                 if r["method"] == method and r.get("meaning")), method)


def course(label, style, points):
    return {"label": label, "style": f"case:{style}", "joined": True,
            "points": [{"x": x, "y": y} for x, y in points]}


def plane(title, x, y, series):
    def axis(label, unit, log):
        return {"label": label, "unit": unit, **({"log": True} if log else {})}
    return {"title": title, "x": axis(*x), "y": axis(*y), "series": series, "at_x": [], "at_y": [],
            "lines": []}


shown = [f"serosa lanes {fastest_set}", "serosa scalar", "odeint dopri5", "odeint rosenbrock4",
         "cvode bdf", "cvode adams", "gsl msbdf", "scipy lsoda"]
curves = [course(m, n, sorted((1e3 * r["seconds_per_run"], r["error"]) for r in rows
                              if r["method"] == m and 0 < r.get("error", 0) < 10))
          for n, m in enumerate(shown)]
work_precision = plane("Error against time", ("Time per run of 24 h, one core", "ms", True),
                       ("Largest error of any output", "share", True), [c for c in curves if c["points"]])
work_precision["at_y"] = [{"value": BAR, "label": "0.1 %"}]
checks = "; ".join(f"{c['method']} at {c['tolerance']:g}: {c['gap']:.1e} ({c['worst_output']})"
                   for c in measured["reference_checks"])
quiet = (f"Load of the machine before and after: {about['load_before']:.1f} and "
         f"{about['load_after']:.1f}, of {about['processors']} processors.")
sections = [
    section("bars", "list", "What must hold", f"{sum(s.startswith('pass') for s in said)} of "
            f"{len(verdicts) + 1} bars are met", [quiet], {"items": said}),
    section("work", "points", "Work against precision",
            f"At an error of 0.1 %: {figure(speed(at_bar[0]))} runs of 24 h per second and core by "
            f"{at_bar[0]}" if at_bar else "No method came within 0.1 %",
            [f"{len(cases)} newborns for 24 h with six output times; the right-hand side is the same "
             "for all. Error: the largest of any output of any run at any of the times, as a share "
             "of that output's largest size in that run; accounts, which are zero but for rounding, "
             "left out. By the strict measure it is a share of what the output is at that time, or "
             "of 1 % of its largest size where it is smaller. Reference: serosa at a "
             f"tolerance of 1e-10; against it, {checks}. Solvers of other libraries start anew at "
             "acts only. Times are processor times of one thread. The SciPy script did "
             f"{len(written)} of the runs; its written rates differ from the compiled by "
             f"{written_difference:.0e}."],
            {"panels": [work_precision], "head": "Method"},
            {"head": ["Cheapest setting within 0.1 %", "Tolerance", "Error, %", "ms per run",
                      "Runs per second and core", "The same by the strict measure"],
             "rows": [[named(m), f"{passing[m]['tolerance']:g}", figure(100 * passing[m]["error"], 2),
                       figure(1e3 * passing[m]["seconds_per_run"]), figure(speed(m)),
                       figure(speed(m, strictly))]
                      for m in at_bar] +
                     [[named(m), "none", "–", "–", "–", "–"] for m in methods if m not in passing]}),
    section("rates", "table", "One evaluation of the rates",
            f"{figure(measured['rates'][-1]['ns_per_evaluation_and_lane'])} ns per lane on "
            f"{fastest_set}, {figure(100 * measured['rates'][-1]['share_of_peak'])} % of the measured peak",
            [f"{operations['arithmetic']} double-precision operations, counted: "
             f"{operations['sums']} sums, {operations['products']} products, "
             f"{operations['divisions']} divisions, {operations['square_roots']} square roots, "
             f"and those inside {operations['exp']} exp, {operations['log']} log, "
             f"{operations['pow']} powers, {operations['cbrt']} cube roots and "
             f"{operations['tanh']} tanh; beside them {operations['choices']} choices, which do not "
             "count. The peak is that of independent multiply-and-add chains in registers, fused "
             "where the instruction set can; the model never fuses, for equal bits, so half of the "
             "peak is the most it could reach on v3 and v4."],
            {"head": ["Instruction set", "ns per evaluation and lane", "Peak, Gflop/s",
                      "Rates, Gflop/s", "Share of the peak, %"],
             "rows": [[r["instruction_set"], figure(r["ns_per_evaluation_and_lane"]),
                       figure(r["peak_gflops"]), figure(r["rates_gflops"]),
                       figure(100 * r["share_of_peak"])] for r in measured["rates"]], "text": False}),
    section("parts", "table", "Where the time goes",
            f"{figure(100 * parts['rates'] / whole)} % of a run is the rates",
            [f"Per run of the lanes on {fastest_set} at a tolerance of 1e-4, "
             f"{figure(evaluations_per_run)} evaluations of the rates and "
             f"{figure(outputs_per_run)} output times. The rates as if all lanes were busy; what "
             "the stepper, idle lanes and the rest take is what remains."],
            {"head": ["Part", "µs per run", "Of the runs' own time, %"],
             "rows": [[name, figure(1e6 * s), figure(100 * s / whole)] for name, s in parts.items()],
             "text": False}),
    section("scaling", "points", "Sweeps from start to end",
            f"{figure(max(r[4] for r in scaling))} runs per second at best",
            ["The whole program: study file read, runs drawn and done, results written, page made; "
             "so the smallest sweeps are all start. With ranks, one hands out and writes; memory is "
             "then that of the starter."],
            {"panels": [plane("Number of runs", ("Runs", "", True), ("Runs per second", "1/s", False),
                              [course("sweep", 0, [(r[1], r[4]) for r in scaling if r[0] == "runs"])]),
                        *([plane("Threads and ranks", ("Threads or ranks", "", False),
                                 ("Runs per second", "1/s", False),
                                 [c for c in (course(kind, n, [(r[1], r[4]) for r in scaling
                                                               if r[0] == kind])
                                              for n, kind in enumerate(("threads", "ranks")))
                                  if c["points"]])] if not options.smoke else [])],
             "head": "Sweep"},
            {"head": ["What varies", "Value", "Runs", "s", "Runs per second", "Memory, MB",
                      "Written, MB"],
             "rows": [[str(r[0]), *(figure(float(v)) for v in r[1:])] for r in scaling]}),
]
if lines:
    constant, slope, off = lines["horizon"]
    acts_constant, acts_slope, acts_off = lines["acts"]
    sections.append(section(
        "linear", "points", "Horizon and acts",
        f"{figure(slope)} µs per hour and {figure(acts_slope)} µs per act",
        [f"Three days under care, cut short: {figure(constant)} µs + {figure(slope)} µs per hour "
         f"of the run, off the line by at most {figure(100 * off)} % of the longest. The first day "
         f"with more acts that change nothing but stop the solver: {figure(acts_constant)} µs + "
         f"{figure(acts_slope)} µs per act, off by at most {figure(100 * acts_off)} %. Per run and "
         "core."],
        {"panels": [plane("Length of the run", ("Hours", "h", False), ("Time per run", "µs", False),
                          [course("measured", 0, [(r["hours"], 1e6 * r["seconds_per_run"])
                                                  for r in lengths if r["kind"] == "horizon"])]),
                    plane("Acts added", ("Acts", "", False), ("Time per run", "µs", False),
                          [course("measured", 0, [(r["extra_acts"], 1e6 * r["seconds_per_run"])
                                                  for r in lengths if r["kind"] == "acts"])])],
         "head": "Measurement"}))
sections += [
    section("memory", "table", "Memory", "Largest memory of a process that does these runs",
            ["Reading the data files takes most of it."],
            {"head": ["Method", "MB"], "rows": [[m, figure(v)] for m, v in memory], "text": False}),
    section("machine", "table", "Machine", f"{about['processor']}, up to {fastest_set}", [],
            {"head": ["What", "Value"],
             "rows": [["Processor", about["processor"]], ["Processors used", str(about["processors"])],
                      ["Instruction sets", ", ".join(lane_sets)], ["System", about["system"]],
                      ["Source", about["commit"]], ["Date", about["date"]], ["Load", quiet],
                      ["This took", f"{time.perf_counter() - started:.0f} s"]], "text": True}),
]
page = {"format": 1, "title": "How fast is serosa?",
        "question": "How fast and how exact is a run, beside the solvers of general-purpose libraries?",
        "caution": CAUTION, "made_by": f"tests/bench/run, source {about['commit']}", "cases": [],
        "sections": sections}
(out / "page.json").write_text(json.dumps(page, ensure_ascii=False) + "\n")
child(program, "page", out)
shutil.rmtree(work)

print(f"\nRuns of 24 h, six output times; the cheapest setting with an error of at most 0.1 %, "
      f"one core of {about['processor']}:")
print(f"{'method':<20} {'tolerance':>9} {'error':>8} {'ms/run':>10} {'runs/s':>9}")
for m in at_bar:
    r = passing[m]
    print(f"{m:<20} {r['tolerance']:>9g} {r['error']:>8.1e} {1e3 * r['seconds_per_run']:>10.3f} "
          f"{speed(m):>9.0f}")
for m in methods:
    if m not in passing:
        print(f"{m:<20} none came within 0.1 %")

if options.smoke:
    # Everybody integrates the same: who does not come near the reference at a tight tolerance, or
    # is missing, is a fault of the bench or of the integrator.
    faults = []
    for check in measured["reference_checks"]:
        if not check["gap"] < 1e-6:
            faults.append(f"the reference is off {check['method']} by {check['gap']:.1e}")
    if len(measured["reference_checks"]) != 2:
        faults.append("the reference was not held against two libraries")
    expected = {"serosa scalar", *(f"serosa lanes {s}" for s in lane_sets), "odeint dopri5",
                "odeint rosenbrock4", "cvode bdf", "cvode adams", "gsl msbdf", "gsl msadams",
                "gsl rkf45", "gsl rk8pd", "scipy lsoda", "scipy lsoda floats"}
    if expected != set(methods):
        faults.append(f"methods missing or too many: {sorted(expected ^ set(methods))}")
    for m in methods:
        tight = min((r for r in rows if r["method"] == m), key=lambda r: r["tolerance"])
        # A tolerance of 1e-5 is one per step; a run has hundreds of them.
        if not tight.get("error", math.inf) < 1e-2:
            faults.append(f"{m} at {tight['tolerance']:g}: {tight.get('error', tight.get('failed'))}")
    own = {(r["tolerance"], r["error"]) for r in rows if r["library"] == "serosa"}
    if len(own) != len({t for t, _ in own}):
        faults.append("serosa's own forms differ in their error")
    if not written_difference < 1e-9:
        faults.append(f"the written rates are off the compiled by {written_difference:.1e}")
    if not all(operations[k] > 0 for k in operations):
        faults.append(f"operations were not counted: {operations}")
    if not all(0 < r["share_of_peak"] < 1 for r in measured["rates"]):
        faults.append(f"a share of the peak is impossible: {measured['rates']}")
    for name in ("work_precision", "memory", "rates", "operations", "parts", "scaling", "compare",
                 "verdicts", "machine"):
        text = (out / f"{name}.csv").read_text()
        table_rows = list(csv.reader(text.splitlines()[1:]))
        if not text.startswith("# " + CAUTION) or len(table_rows) < 2 or \
                len({len(r) for r in table_rows}) != 1:
            faults.append(f"{name}.csv is not whole")
    if CAUTION not in (out / "report.html").read_text():
        faults.append("the page lacks the caution")
    if len(rows) != 2 * (len(methods) - 2) + 2:
        faults.append(f"{len(rows)} rows of work against precision")
    if faults:
        sys.exit("\n".join(faults))

print()
print("\n".join(said))
print(quiet)
print(out)
print(CAUTION)
