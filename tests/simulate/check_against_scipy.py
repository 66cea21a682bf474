# SPDX-License-Identifier: Apache-2.0
"""The same rates by SciPy's LSODA, a solver that switches between Adams and BDF by itself, against
the lane integrator at a tolerance of 1e-9: every output to 1e-6 of its largest size in the case.

    check_against_scipy.py LIBRARY MODELS CASE...
"""
import ctypes
import pathlib
import sys

import numpy
from scipy.integrate import solve_ivp

library = ctypes.CDLL(sys.argv[1])
models, cases = sys.argv[2], sys.argv[3:]
vector = numpy.ctypeslib.ndpointer(dtype=float, flags="C_CONTIGUOUS")
one = ctypes.POINTER(ctypes.c_double)
for name, result, arguments in (
    ("output_name", ctypes.c_char_p, [ctypes.c_int]),
    ("absolute_tolerance", ctypes.c_double, [ctypes.c_int]),
    ("open_case", ctypes.c_void_p, [ctypes.c_char_p, ctypes.c_char_p, one, vector]),
    ("close_case", None, [ctypes.c_void_p]),
    ("until", ctypes.c_double, [ctypes.c_void_p]),
    ("next_act", ctypes.c_double, [ctypes.c_void_p]),
    ("act", None, [ctypes.c_void_p, ctypes.c_double, vector]),
    ("rates", None, [ctypes.c_void_p, ctypes.c_double, vector, vector]),
    ("observe", None, [ctypes.c_void_p, ctypes.c_double, vector, vector]),
    ("by_lanes", ctypes.c_int, [ctypes.c_void_p, vector, ctypes.c_int, vector]),
):
    getattr(library, name).restype, getattr(library, name).argtypes = result, arguments

states, outputs = library.state_count(), library.output_count()
names = [library.output_name(i).decode() for i in range(outputs)]
scales = numpy.array([library.absolute_tolerance(i) for i in range(states)])
# Accounts are zero but for rounding; they have no scale.
compared = numpy.array(["unaccounted" not in name for name in names])


def by_lsoda(model, t, x, times):
    """All outputs at `times`, started anew at every act."""

    def slope(hour, state):
        rates = numpy.empty(states)
        library.rates(model, hour, numpy.ascontiguousarray(state), rates)
        return rates

    values = numpy.empty((len(times), outputs))
    row = 0
    while row < len(times):
        stop = min(library.next_act(model), times[row])
        if stop > t:
            leg = solve_ivp(slope, (t, stop), x, method="LSODA", rtol=1e-11, atol=scales * 1e-8)
            assert leg.success, leg.message
            t, x = stop, numpy.ascontiguousarray(leg.y[:, -1])
        if library.next_act(model) <= t:
            library.act(model, t, x)
        else:
            library.observe(model, t, x, values[row])
            row += 1
    return values


worst = 0.0
for name in cases:
    hour, x = ctypes.c_double(), numpy.empty(states)
    path = pathlib.Path(models) / "cases" / f"{name}.yaml"
    model = library.open_case(models.encode(), str(path).encode(), ctypes.byref(hour), x)
    assert model, f"{path} was refused"
    # Six hours that fall together with no act.
    times = library.until(model) * (numpy.arange(1, 7) - 0.0123) / 6
    lanes = numpy.empty((len(times), outputs))
    assert library.by_lanes(model, times, len(times), lanes) == 0, f"{name} did not finish"
    birth = numpy.empty(outputs)
    library.observe(model, hour.value, x, birth)
    gaps = numpy.abs(by_lsoda(model, hour.value, x, times) - lanes).max(axis=0)
    # The wet skin at birth is dry hours later: its scale is that of the birth.
    size = numpy.abs(numpy.vstack([birth, lanes])).max(axis=0)
    relative = numpy.where(compared & (size > 0), gaps / numpy.where(size > 0, size, 1), 0)
    at = int(relative.argmax())
    print(f"{name}: {outputs} outputs, largest gap {relative[at]:.1e} of {names[at]}")
    worst = max(worst, float(relative[at]))
    library.close_case(model)
sys.exit(0 if worst < 1e-6 else f"a gap of {worst:.1e} is larger than 1e-6")
