# SPDX-License-Identifier: Apache-2.0
"""Datasets: units, memory, threads, times, failures."""
import argparse
import concurrent.futures
import gc
import sys
import threading
import time
import unittest
import warnings

import numpy
import serosa
from program import MODELS, same_bits


def case(name):
    return serosa.case(name, models=MODELS)


def resident():
    """Memory of this process that is in use, MB."""
    with open("/proc/self/statm", encoding="ascii") as file:
        return int(file.read().split()[1]) * 4096 / 1e6


def growth(calls, warm_up=200):
    """MB that the process grows by in so many calls of run, and the seconds of one."""
    wrapped = case("wrapped")
    for _ in range(warm_up):
        serosa.run(wrapped)
    gc.collect()
    before, start = resident(), time.perf_counter()
    for _ in range(calls):
        serosa.run(wrapped)
    seconds = time.perf_counter() - start
    gc.collect()
    return resident() - before, seconds / calls


class Runs(unittest.TestCase):
    def test_everything_says_its_unit(self):
        both = serosa.compare(case("exposed"), case("wrapped"))
        self.assertEqual(both.bowel_evaporation.dims, ("run", "time"))
        self.assertEqual(dict(both.sizes), {"run": 2, "time": 181, "part": 16})
        for name, variable in both.variables.items():
            if variable.dtype.kind == "f":
                self.assertTrue(variable.attrs["units"], name)
                self.assertTrue(variable.attrs["long_name"], name)
        self.assertEqual(both.core_temperature.attrs["units"], "degC")
        self.assertEqual(both.attrs["comment"], serosa.caution)
        self.assertIn(f"serosa {serosa.__version__}, commit {serosa.commit}", both.attrs["source"])
        self.assertEqual(list(both.case.values), ["exposed", "wrapped"])
        self.assertGreater(float(both.bowel_evaporation.sel(time=6)[0]),
                           float(both.bowel_evaporation.sel(time=6)[1]))

    def test_arrays_are_views_that_keep_their_memory(self):
        runs = serosa._serosa.run([case("wrapped")._compiled], ["wrapped"], None)
        one, again = (runs.variables()["plasma_volume"][1] for _ in range(2))
        self.assertEqual(one.__array_interface__["data"][0], again.__array_interface__["data"][0])
        self.assertIs(one.base, runs)
        with self.assertRaises(ValueError):
            one[0, 0] = 1
        with self.assertRaises(ValueError):
            one.setflags(write=True)
        of_dataset = serosa.run(case("wrapped")).plasma_volume.values
        self.assertFalse(of_dataset.flags.owndata or of_dataset.flags.writeable)
        expected = one.copy()
        del runs, again
        gc.collect()
        serosa.run(case("exposed"))  # would take freed memory
        numpy.testing.assert_array_equal(one, expected)
        numpy.testing.assert_array_equal(of_dataset, expected)

    def test_times(self):
        grid = serosa.run(case("wrapped"))
        some = serosa.run(case("wrapped"), times=["30 min", 2, 6.0])
        self.assertEqual(list(some.time.values), [0.5, 2.0, 6.0])
        at = grid.sel(time=[0.5, 2.0, 6.0], method="nearest")
        for name in some.data_vars:
            if some[name].dims == ("run", "time"):
                # Other times of looking may change steps: within the solver's tolerance.
                numpy.testing.assert_allclose(some[name], at[name], rtol=2e-3, atol=2e-3,
                                              err_msg=name)
        for wrong in ([], [-1], [2, 1], [7], ["soon"], [float("nan")]):
            with self.subTest(wrong), self.assertRaises(serosa.InputError):
                serosa.run(case("wrapped"), times=wrong)

    def test_names(self):
        wrapped = case("wrapped")
        self.assertEqual(list(serosa.run([wrapped, wrapped]).case.values),
                         ["wrapped", "wrapped-2"])
        named = serosa.run({"early": wrapped, "open to the air": case("exposed")})
        self.assertEqual(list(named.case.values), ["early", "open to the air"])
        for wrong in (3, [3], {"a": "wrapped"}, [None]):
            with self.subTest(wrong), self.assertRaises(TypeError):
                serosa.run(wrong)
        with self.assertRaises(serosa.InputError):
            serosa.run([])
        with self.assertRaises(serosa.InputError):
            serosa.compare(wrapped)

    def test_a_run_does_not_depend_on_its_neighbours(self):
        alone = serosa.run(case("exposed"))
        with warnings.catch_warnings(record=True) as caught:
            warnings.simplefilter("always")
            many = serosa.run([case(name) for name in ("term", "exposed", "gauze-dried-out")])
        self.assertEqual([w.category for w in caught], [serosa.RunWarning])  # the ends differ
        for name in alone.data_vars:
            if alone[name].dtype.kind == "f":
                self.assertEqual(alone[name].values[0].tobytes(), many[name].values[1].tobytes())

    def test_a_failed_run_is_told(self):
        # Nobody survives the loss of nearly all blood; the model says where it ends.
        with self.assertWarns(serosa.InputWarning):
            bled = case("exposed").with_(timeline={
                "bleed": {"at": "1 h", "volume": "75 mL/kg", "over": "30 min"}})
        with self.assertRaises(serosa.RunFailed) as caught:
            serosa.run(bled)
        self.assertIn("exposed: ", str(caught.exception))
        kept = serosa.run(bled, failed_runs="keep")
        self.assertEqual(same_bits(kept, caught.exception.dataset), "")
        self.assertNotEqual(int(kept.run_status[0]), 0)
        self.assertTrue(numpy.isnan(kept.blood_volume.values[0, -1]))
        self.assertFalse(numpy.isnan(kept.blood_volume.values[0, 0]))
        with self.assertRaises(ValueError):
            serosa.run(bled, failed_runs="ignore")

    def test_threads_may_call_at_once(self):
        names = ["exposed", "wrapped", "soaked-gauze", "day-one", "term", "preterm"]
        alone = {name: serosa.run(case(name)) for name in names}

        def work(number):
            name = names[number % len(names)]
            # Reading goes through the units library, whose own state is not safe for threads.
            one = case(name)
            one.with_({"baby.weight": "2.2 kg", "baby.gestation": "34 wk"})
            return same_bits(serosa.run({name: one}), alone[name])

        with concurrent.futures.ThreadPoolExecutor(6) as pool:
            self.assertEqual(set(pool.map(work, range(48))), {""})

    def test_other_threads_go_on(self):
        cases = [case("three-days")._compiled] * 40
        inside = threading.Event()
        done = threading.Event()

        def work():
            inside.set()
            serosa._serosa.run(cases, [str(i) for i in range(len(cases))], None)
            done.set()

        thread = threading.Thread(target=work)
        thread.start()
        inside.wait()
        steps = 0
        while not done.is_set():
            time.sleep(0.001)
            steps += 1
        thread.join()
        # With the interpreter's lock held, not one step would be made until the end.
        self.assertGreater(steps, 10)

    def test_nothing_leaks(self):
        grown, _ = growth(400)
        # A run's results are 170 kB, so one that stayed would make 68 MB of these.
        self.assertLess(grown, 3)


if __name__ == "__main__":
    if sys.argv[1:2] == ["--calls"]:
        parser = argparse.ArgumentParser()
        parser.add_argument("--calls", type=int)
        grown, seconds = growth(parser.parse_args().calls)
        print(f"{grown:+.2f} MB resident, {1e3 * seconds:.2f} ms a call")
    else:
        unittest.main()
