# SPDX-License-Identifier: Apache-2.0
"""SciPy's `solve_ivp` (LSODA) with a right-hand side in Python: what a script without compiled code
does. The rates are written out by the library `bench_script` from the model itself, as straight
lines on NumPy's numbers, or on Python's own floats, which take less time. Acts and outputs, which
are no part of a step, come from the library.
"""
import ctypes
import time

import numpy
from scipy.integrate import solve_ivp

vector = numpy.ctypeslib.ndpointer(dtype=float, flags="C_CONTIGUOUS")


class Library:
    def __init__(self, path):
        self.c = ctypes.CDLL(str(path))
        pointer, text, number = ctypes.c_void_p, ctypes.c_char_p, ctypes.c_double
        for name, result, arguments in (
            ("absolute_tolerance", number, [ctypes.c_int]),
            ("open_case", pointer, [text, text]),
            ("close_case", None, [pointer]),
            ("begin", number, [pointer, vector]),
            ("next_act", number, [pointer]),
            ("act", ctypes.c_int, [pointer, number, vector]),
            ("between_acts", None, [pointer, vector, vector]),
            ("compiled_rates", None, [pointer, number, vector, vector]),
            ("observe", None, [pointer, number, vector, vector]),
            ("write_rates", ctypes.c_int, [pointer, text]),
        ):
            getattr(self.c, name).restype = result
            getattr(self.c, name).argtypes = arguments
        self.states, self.outputs = self.c.state_count(), self.c.output_count()
        self.scales = numpy.array([self.c.absolute_tolerance(i) for i in range(self.states)])


class Case:
    """One case file, its rates written to `folder`."""

    def __init__(self, library, models, path, folder):
        self.library, self.c = library, library.c
        self.model = self.c.open_case(str(models).encode(), str(path).encode())
        if not self.model:
            raise ValueError(f"{path} was refused")
        script = folder / f"rates_{path.stem.replace('-', '_')}.py"
        if self.c.write_rates(self.model, str(script).encode()) != 0:
            raise OSError(f"{script} could not be written")
        code = compile(script.read_text(), script.name, "exec")
        names = {}
        exec(code, names)
        self.float_rates = names["rates"]
        numpy_names = {}
        exec(code, numpy_names)
        for name in ("exp", "expm1", "log", "log1p", "sqrt", "tanh"):
            numpy_names[name] = getattr(numpy, name)
        self.numpy_rates = numpy_names["rates"]

    def settle(self):
        self.controls = numpy.empty(self.c.control_count())
        self.settled = numpy.empty(self.c.settled_count())
        self.c.between_acts(self.model, self.controls, self.settled)
        self.float_controls, self.float_settled = self.controls.tolist(), self.settled.tolist()

    def by_numpy(self, hour, state):
        with numpy.errstate(all="ignore"):
            return numpy.array(self.numpy_rates(hour, state, self.controls, self.settled))

    def by_floats(self, hour, state):
        return numpy.array(self.float_rates(hour, state.tolist(), self.float_controls,
                                            self.float_settled))

    def difference(self):
        """Of the written from the compiled rates at the start and after each act of the first
        hours, largest, relative."""
        x, compiled = numpy.empty(self.library.states), numpy.empty(self.library.states)
        hour, largest = self.c.begin(self.model, x), 0.0
        while hour < 6:
            self.settle()
            self.c.compiled_rates(self.model, hour, x, compiled)
            for written in (self.by_numpy(hour, x), self.by_floats(hour, x)):
                gap = numpy.abs(written - compiled) / (numpy.abs(compiled) + 1e-9)
                largest = max(largest, float(gap.max()))
            hour = self.c.next_act(self.model)
            if hour < 6:
                self.c.act(self.model, hour, x)
        return largest

    def run(self, times, tolerance, numpy_numbers):
        """All outputs at `times`, started anew at acts only, outputs by its dense output; the
        processor time, s; the evaluations of the rates."""
        slope = self.by_numpy if numpy_numbers else self.by_floats
        started = time.process_time()
        x = numpy.empty(self.library.states)
        hour = self.c.begin(self.model, x)
        self.settle()
        values = numpy.empty((len(times), self.library.outputs))
        row, evaluations = 0, 0
        while row < len(times):
            change = self.c.next_act(self.model)
            stop = min(change, times[-1])
            within = [t for t in times[row:] if t < stop or (t == stop and stop < change)]
            if stop > hour:
                leg = solve_ivp(slope, (hour, stop), x, method="LSODA", rtol=tolerance,
                                atol=self.library.scales * tolerance / 1e-4,
                                t_eval=sorted({*within, stop}))
                if not leg.success:
                    raise ArithmeticError(leg.message)
                evaluations += leg.nfev
                for n in range(len(within)):
                    self.c.observe(self.model, within[n], numpy.ascontiguousarray(leg.y[:, n]),
                                   values[row])
                    row += 1
                hour, x = stop, numpy.ascontiguousarray(leg.y[:, -1])
            if change <= hour and self.c.act(self.model, hour, x):
                self.settle()
        return values, time.process_time() - started, evaluations
