# SPDX-License-Identifier: Apache-2.0
"""Runs of cases, as xarray Datasets."""
from __future__ import annotations

import collections.abc
import os
import typing
import warnings

import numpy
import numpy.typing
import xarray

from serosa import _cases, _place, _serosa, errors

#: one case, several, or several by name
Cases = (_cases.Case | _place.Path | collections.abc.Sequence[_cases.Case]
         | collections.abc.Mapping[str, _cases.Case])
#: times in h, or texts such as "20 min"
Times = collections.abc.Iterable[float | str]


def _named(given: Cases) -> dict[str, _cases.Case]:
    """Names and cases; of two cases of the same name the second is called NAME-2."""
    if isinstance(given, (str, os.PathLike)):
        given = _cases.case(given)
    if isinstance(given, _cases.Case):
        given = [given]
    pairs: collections.abc.Iterable[tuple[str, typing.Any]]
    if isinstance(given, collections.abc.Mapping):
        pairs = given.items()
    else:
        pairs = [(getattr(one, "name", ""), one) for one in given]
    named: dict[str, _cases.Case] = {}
    for wanted, one in pairs:
        if not isinstance(one, _cases.Case):
            raise TypeError("a case is expected, as serosa.case makes it, or a list of cases, or a "
                            f"dictionary of names and cases; not {type(one).__name__}")
        name, number = wanted, 2
        while name in named:
            name, number = f"{wanted}-{number}", number + 1
        named[name] = one
    return named


def _hours(times: Times | None) -> list[float] | None:
    if times is None:
        return None
    return [_serosa.hours(t) if isinstance(t, str) else float(t) for t in times]


def _compute(given: Cases, times: Times | None) -> tuple[_serosa.Runs, xarray.Dataset]:
    named = _named(given)
    runs = _serosa.run([one._compiled for one in named.values()], list(named), _hours(times))
    for note in runs.notes:
        warnings.warn(note, errors.RunWarning, stacklevel=4)
    variables: dict[str, typing.Any] = {}
    for name, (dimensions, values, attributes) in runs.variables().items():
        attributes.pop("coordinates", None)  # xarray knows them by being coordinates
        variables[name] = (dimensions, values, attributes)
    coordinates = {name: variables.pop(name) for name in ("time", "case")}
    return runs, xarray.Dataset(variables, coordinates, runs.attributes)


def _finished(runs: _serosa.Runs, dataset: xarray.Dataset, failed_runs: str) -> xarray.Dataset:
    if failed_runs not in ("raise", "keep"):
        raise ValueError("failed_runs is 'raise' or 'keep'")
    if runs.failures and failed_runs == "raise":
        raise errors.RunFailed("\n".join(runs.failures), dataset)
    return dataset


def run(cases: Cases, *, times: Times | None = None, failed_runs: str = "raise") -> xarray.Dataset:
    """Runs one case or several, each with its twin under ordinary care.

    cases: a case, or the path or name of one; a list of cases; or a dictionary of names and cases.
    times: when to observe, rising from birth on: numbers in h, or texts such as "20 min". By
        default as the program: from birth to the (earliest) end, in the (shortest) step of the
        cases.
    failed_runs: "raise" raises RunFailed when a run does not reach its end; "keep" leaves NaN.

    Returns what the program writes to `series.nc`, bit by bit: dimensions run and time; every
    variable has `long_name` and `units` in its attributes; `run_status` tells how each run ended;
    the Dataset's attributes have `source` (version and commit) and `comment` (the caution).
    The arrays are read-only and look into the memory of the runs; `.copy(deep=True)` makes some
    that can be written to. Other Python threads go on meanwhile; several may call run at once.
    """
    runs, dataset = _compute(cases, times)
    return _finished(runs, dataset, failed_runs)


def compare(cases: Cases, *more: _cases.Case, times: Times | None = None,
            failed_runs: str = "raise") -> xarray.Dataset:
    """Runs several cases and explains what makes their deficits differ from the first one's.

    cases, more: the first case is the measure: `compare(a, b)`, or as for `run`.

    Returns what `run` returns, and beside it, for every run and time:

    - `difference` (run, part, time), mL: by how much each part makes the circulating deficit larger
      than in the first run. The coordinates `part_group` (route, store or solid) and `part_meaning`
      tell the parts.
    - `external_difference` and `circulating_difference` (run, time), mL: the gaps in the two
      deficits. The routes add up to the first, all parts to the second.
    - `same_start` (run): false when a run began with another blood volume or other water, so that
      each deficit counts against its own start.
    """
    given: typing.Any = cases
    if more:
        given = [cases, *more]
    runs, dataset = _compute(given, times)
    if dataset.sizes["run"] < 2:
        raise errors.InputError("a comparison needs at least two cases")
    parts = _serosa.parts()
    courses = numpy.stack([dataset[f"part_{p['name']}"].values for p in parts], axis=1)
    with numpy.errstate(invalid="ignore"):
        gaps = courses - courses[:1]

    def less_first(name: str) -> numpy.typing.NDArray[numpy.float64]:
        values = dataset[name].values
        gap: numpy.typing.NDArray[numpy.float64] = values - values[:1]
        return gap

    dataset = dataset.assign_coords(
        part=("part", [p["name"] for p in parts]),
        part_group=("part", [p["group"] for p in parts]),
        part_meaning=("part", [p["meaning"] for p in parts]))
    dataset["difference"] = (("run", "part", "time"), gaps, {
        "long_name": "Makes the circulating deficit larger than in the first run by",
        "units": "mL"})
    dataset["external_difference"] = (("run", "time"), less_first("external_deficit"), {
        "long_name": "External deficit less that of the first run", "units": "mL"})
    dataset["circulating_difference"] = (("run", "time"), less_first("circulating_deficit"), {
        "long_name": "Circulating deficit less that of the first run", "units": "mL"})
    dataset["same_start"] = ("run", runs.same_start, {
        "long_name": "Began with the blood and water of the first run"})
    return _finished(runs, dataset, failed_runs)
