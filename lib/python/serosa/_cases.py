# SPDX-License-Identifier: Apache-2.0
"""Cases."""
from __future__ import annotations

import collections.abc
import os
import pathlib
import warnings

from serosa import _place, _serosa, _yaml_text, errors


class Case:
    """A case: a baby, a room and a timeline of what people do, read, checked and completed.

    It never changes; `with_` makes another. Made by `serosa.case`.
    """

    def __init__(self, compiled: _serosa.Case) -> None:
        self._compiled = compiled
        for text in compiled.warnings:
            warnings.warn(text.rstrip(), errors.InputWarning, stacklevel=3)

    @property
    def name(self) -> str:
        """Name of the file, without its ending; names the run in results."""
        return self._compiled.name

    @property
    def title(self) -> str:
        """The title, one line."""
        return self._compiled.title

    @property
    def note(self) -> str:
        """What is done and what it shows, a paragraph."""
        return self._compiled.note

    @property
    def until(self) -> float:
        """The end, h after birth."""
        return self._compiled.until

    @property
    def report_times(self) -> list[float]:
        """The times, h, at which the program's table shows this case."""
        return self._compiled.report_times

    def with_(self, changes: collections.abc.Mapping[str, object] | None = None, /,
              **more: object) -> Case:
        """The same case with changes.

        A change is a path and a value, as after `--set` on the command line; a dictionary is
        merged into what is there; the word `remove` takes an entry away. Paths with dots go into a
        dictionary, plain names may be keywords::

            case.with_({"timeline.wrap.at": "20 min", "baby.weight": "2.1 kg"})
            case.with_(until="12 h", timeline={"wrap": {"seal": "70 %"}, "hat": "remove"})

        Quantities carry their unit, as in a file. Raises InputError with the program's text.
        """
        return Case(self._compiled.changed(
            [_yaml_text.change(path, value) for path, value in {**(changes or {}), **more}.items()]))

    def yaml(self) -> str:
        """The case as understood, every default filled in: the text of a file that repeats it."""
        return f"# {_serosa.caution}\n{self._compiled.yaml()}"

    def save(self, path: _place.Path) -> None:
        """Writes `yaml()` to a new file: `serosa run` on it gives the same bits. Raises WriteError
        when the file is there already or can't be written."""
        try:
            with open(path, "x", encoding="utf-8") as file:
                file.write(self.yaml())
        except OSError as failure:
            raise errors.WriteError(f"cannot write {os.fspath(path)!r}: {failure.strerror}"
                                    ) from failure

    def __repr__(self) -> str:
        return f"<serosa.Case {self.name}: {self.title}>"


def case(source: _place.Path | collections.abc.Mapping[str, object], *, name: str = "case",
         models: _place.Path | None = None) -> Case:
    """Reads a case.

    source: the path of a case file; or the name of a shipped one, such as `"wrapped"` (see
        `serosa.cases`), when no file is called so; or a dictionary with the keys of a case file,
        which is read as if it stood in the file `NAME.yaml` of the current folder (`based_on`, too).
    name: names a dictionary; a file is named by itself.
    models: another folder of data files than the one that belongs to serosa.

    Raises InputError with the text that the program prints: everything that is wrong at once,
    each with its line. What lies outside the published range is warned about (InputWarning).
    """
    folder = _place.models(models)
    if isinstance(source, collections.abc.Mapping):
        return Case(_serosa.Case(f"{name}.yaml", _yaml_text.document(source), [], folder))
    path = os.fspath(source)
    if isinstance(source, str) and not os.path.exists(path):
        shipped = _shipped("cases", path, folder)
        if shipped:
            path = shipped
    return Case(_serosa.Case(path, None, [], folder))


def _shipped(kind: str, name: str, models: str) -> str:
    """The path of a shipped case or study; empty when it is no name of one."""
    file = pathlib.Path(_serosa.models_folder(models)) / kind / f"{name}.yaml"
    return str(file) if pathlib.PurePath(name).name == name and file.is_file() else ""


def cases(*, models: _place.Path | None = None) -> list[str]:
    """Names of the cases that come along."""
    folder = pathlib.Path(_serosa.models_folder(_place.models(models))) / "cases"
    return sorted(file.stem for file in folder.glob("*.yaml"))
