# SPDX-License-Identifier: Apache-2.0
"""Studies and the folders of results."""
from __future__ import annotations

import collections.abc
import os
import pathlib
import sys
import time
import warnings

import xarray
from xarray.backends.netCDF4_ import NETCDF4_PYTHON_LOCK

from serosa import _cases, _place, _serosa, errors

#: called with the runs that are done and all runs
Progress = collections.abc.Callable[[int, int], object]


class _Bar:
    """A line on the terminal with the time left."""

    def __init__(self, name: str) -> None:
        self._name, self._start, self._before = name, time.monotonic(), -1

    def __call__(self, done: int, all: int) -> None:
        if self._before < 0:
            self._before = done
        seconds = time.monotonic() - self._start
        left = ""
        if done > self._before and done < all:
            left = f", {seconds / (done - self._before) * (all - done):.0f} s left"
        sys.stderr.write(f"\r\x1b[K{self._name}: {done} of {all} runs{left}")
        if done >= all:
            sys.stderr.write("\n")
        sys.stderr.flush()


def sweep(study: _place.Path, out: _place.Path | None = None, *, threads: int = 0,
          progress: Progress | None = None, models: _place.Path | None = None) -> xarray.Dataset:
    """Carries a study out: many babies, each under every arm. The engine and the files are those
    of `serosa sweep`, its page apart, which `serosa page FOLDER` makes.

    study: the path of a study file, or the name of a shipped one, such as "demo".
    out: the folder for the results: new, empty, or of the same study unfinished, which is then gone
        on with. By default the next `results/STUDY-n`, or an unfinished one.
    threads: 0 means one per processor.
    progress: called with the runs done and all runs, a few times a second; by default a line on
        the terminal, when there is one. What it raises, and Ctrl-C, ends the batch; what was
        finished is kept, and the same call goes on.

    Returns `open_results(out)`: the file `runs.nc`, opened lazily. Its path is in
    `.encoding["source"]`, the folder's with it. Failed runs are warned about (RunWarning) and have
    NaN and their `run_status`; `failed_runs.csv` lists them.

    Raises InputError and WriteError with the program's texts.
    """
    folder = _place.models(models)
    path = os.fspath(study)
    if isinstance(study, str) and not os.path.exists(path):
        path = _cases._shipped("studies", path, folder) or path
    batch = _serosa.Sweep(path, "" if out is None else os.fspath(out), folder)
    for text in batch.warnings:
        warnings.warn(text.rstrip(), errors.InputWarning, stacklevel=2)
    for text in batch.remarks:
        warnings.warn(text, errors.RunWarning, stacklevel=2)
    if progress is None and sys.stderr.isatty():
        progress = _Bar(batch.name)
    batch.compute(threads, progress)
    # The NetCDF library must not be called by two threads at once. Python's readers hold this lock
    # of xarray; the compiled part has one of its own beside it.
    with NETCDF4_PYTHON_LOCK:
        failures = batch.write()
    for text in failures:
        warnings.warn(text, errors.RunWarning, stacklevel=2)
    return open_results(batch.folder)


def open_results(folder: _place.Path, file: str | None = None) -> xarray.Dataset:
    """Opens the results of a run or a batch lazily: values are read when they are asked for.

    folder: what the program or `sweep` left, such as `results/demo-1`.
    file: `runs.nc` or `series.nc`; by default `runs.nc` when there is one.

    The arms of a batch are chosen by name: `.sel(arm="wrapped")`.

    Raises InputError when there is no such file.
    """
    place_of = pathlib.Path(folder)
    names = [file] if file else ["runs.nc", "series.nc"]
    for name in names:
        if (place_of / name).is_file():
            # Hours stay numbers; they are no dates.
            opened = xarray.open_dataset(place_of / name, decode_times=False)
            if "arm_name" not in opened:
                return opened
            named = opened.assign_coords(arm=("arm", opened["arm_name"].values))
            named.encoding = opened.encoding
            named.set_close(opened.close)
            return named
    raise errors.InputError(f"there is no {' or '.join(names)} in {os.fspath(folder)!r}")
