# SPDX-License-Identifier: Apache-2.0
"""Batches from Python: the engine and the folder of the program."""
import argparse
import pathlib
import subprocess
import sys
import tempfile
import threading
import time
import unittest
import warnings

import serosa
import xarray
from program import MODELS, PROGRAM, same_bits, serosa as program

STUDY = """title: Two arms, many babies
arms:
  exposed: {case: exposed}
  wrapped: {case: wrapped}
cohort: gastroschisis
design: {kind: latin-hypercube, runs: RUNS, seed: 3}
outputs: [bowel_evaporation, external_deficit, core_temperature]
times: [30 min, 2 h, 6 h]
failed_runs: exclude
"""


def speed(runs):
    """Runs a second from Python and from the program, the better of two each, in turn."""
    best = {}
    with tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(name)
        (folder / "study.yaml").write_text(STUDY.replace("RUNS", str(runs)))

        def of_python(out):
            serosa.sweep(folder / "study.yaml", out, models=MODELS).close()

        def of_program(out):
            subprocess.run([PROGRAM, "sweep", folder / "study.yaml", "--out", out, "--models",
                            MODELS, "--quiet"], check=True, stdout=subprocess.DEVNULL)

        for attempt in range(2):
            for sweep in (of_python, of_program):
                start = time.perf_counter()
                sweep(folder / f"{sweep.__name__}-{attempt}")
                rate = 2 * runs / (time.perf_counter() - start)
                best[sweep.__name__] = max(rate, best.get(sweep.__name__, 0))
    return best["of_python"], best["of_program"]


class Studies(unittest.TestCase):
    def setUp(self):
        self.folder = pathlib.Path(tempfile.mkdtemp(dir="."))
        self.study = self.folder / "study.yaml"
        self.study.write_text(STUDY.replace("RUNS", "100"))

    def test_the_programs_files_bit_by_bit(self):
        seen = []
        of_python = serosa.sweep("demo", self.folder / "a", models=MODELS, threads=2,
                                 progress=lambda done, all: seen.append((done, all)))
        program("sweep", MODELS / "studies" / "demo.yaml", "--out", self.folder / "b", "--quiet")
        self.assertEqual(seen[-1], (120, 120))
        here, there = (sorted(p.relative_to(self.folder / x) for p in
                              (self.folder / x).rglob("*") if p.is_file()) for x in "ab")
        # The page and what it tells of the inputs are the program's alone.
        self.assertEqual(set(there) - set(here), {pathlib.Path("inputs.json"), pathlib.Path("report.html")})
        self.assertLess(set(here), set(there))
        self.assertIn(pathlib.Path("runs.nc"), here)
        for path in here:
            if path.name != "log.txt":
                self.assertEqual((self.folder / "a" / path).read_bytes(),
                                 (self.folder / "b" / path).read_bytes(), path)
        self.assertEqual(dict(of_python.sizes)["run"], 40)
        self.assertIn("not dosing advice", of_python.attrs["comment"].lower())

    def test_values_are_read_when_asked_for(self):
        runs = serosa.sweep(self.study, self.folder / "out", models=MODELS)
        self.assertEqual(runs.encoding["source"], str((self.folder / "out" / "runs.nc").resolve()))
        for name, variable in runs.data_vars.items():
            if name not in runs.indexes:
                self.assertFalse(variable.variable._in_memory, name)
        some = runs.bowel_evaporation.isel(run=slice(90, None)).load()
        self.assertEqual(some.sizes["run"], 10)
        self.assertFalse(runs.bowel_evaporation.variable._in_memory)
        self.assertEqual(some.attrs["units"], "g")

    def test_stopped_and_gone_on_with(self):
        self.study.write_text(STUDY.replace("RUNS", "3000"))

        def stop(done, all):
            if done > 0:
                raise KeyboardInterrupt

        with self.assertRaises(KeyboardInterrupt):
            serosa.sweep(self.study, self.folder / "out", models=MODELS, progress=stop)
        self.assertFalse((self.folder / "out" / "runs.nc").exists())
        first = []
        serosa.sweep(self.study, self.folder / "out", models=MODELS,
                     progress=lambda done, all: first.append(done)).close()
        self.assertGreater(first[0], 0)
        serosa.sweep(self.study, self.folder / "whole", models=MODELS).close()
        for name in ("runs.nc", "summary.csv", "manifest.json"):
            self.assertEqual((self.folder / "out" / name).read_bytes(),
                             (self.folder / "whole" / name).read_bytes(), name)

    def test_errors_have_the_programs_text(self):
        self.study.write_text(STUDY.replace("RUNS", "many").replace("exposed}", "exposedd}"))
        _, of_program = program("sweep", self.study, "--out", self.folder / "x", code=3)
        with self.assertRaises(serosa.InputError) as caught:
            serosa.sweep(self.study, self.folder / "x", models=MODELS)
        self.assertEqual(str(caught.exception), of_program)
        with self.assertRaises(serosa.WriteError):
            serosa.sweep("demo", self.folder, models=MODELS)
        with self.assertRaises(serosa.InputError):
            serosa.open_results(self.folder)

    def test_reading_while_a_sweep_writes(self):
        serosa.sweep(self.study, self.folder / "out", models=MODELS).close()
        stop = threading.Event()
        fault = []

        def read():
            try:
                while not stop.is_set():
                    with serosa.open_results(self.folder / "out") as runs:
                        runs.load()
            except Exception as error:  # told in the other thread
                fault.append(error)

        thread = threading.Thread(target=read)
        thread.start()
        for number in range(3):
            serosa.sweep(self.study, self.folder / f"out-{number}", models=MODELS).close()
        stop.set()
        thread.join()
        self.assertEqual(fault, [])
        one, other = (xarray.load_dataset(self.folder / f"out-{n}" / "runs.nc") for n in (0, 2))
        self.assertEqual(same_bits(one, other), "")


if __name__ == "__main__":
    if sys.argv[1:2] == ["--speed"]:
        parser = argparse.ArgumentParser()
        parser.add_argument("--speed", type=int)
        of_python, of_program = speed(parser.parse_args().speed)
        print(f"{of_python:.0f} runs/s from Python, {of_program:.0f} from the program, "
              f"ratio {of_python / of_program:.3f}")
    else:
        unittest.main()
