# SPDX-License-Identifier: Apache-2.0
"""What the numbers of the model are and where they come from."""
from __future__ import annotations

import difflib
import textwrap
import typing

import pandas

from serosa import _place, _serosa, errors


def _table(rows: list[dict[str, typing.Any]]) -> pandas.DataFrame:
    table = pandas.DataFrame(rows).set_index("name")
    table.attrs = {"caution": _serosa.caution, "version": _serosa.version}
    return table


def parameters(*, models: _place.Path | None = None) -> pandas.DataFrame:
    """All parameters of the model: value, unit, range (low, high), how it is drawn from it
    (distribution), grade, source and where in it, full reference, note, and value and unit as the
    model takes them. One row per parameter, by name."""
    return _table(_serosa.parameters(_place.models(models)))


def outputs() -> pandas.DataFrame:
    """All outputs of a run: unit, meaning and formula, by name. In the formulas m is the moment, x
    the state, x0 the state at the start, b the body, p the parameters, g what was given."""
    return _table(_serosa.outputs())


class Explanation:
    """What a name means: `str()` is a text to read, `numbers` the numbers as a table."""

    def __init__(self, text: str, numbers: pandas.DataFrame | None) -> None:
        self._text = text
        self.numbers = numbers

    def __str__(self) -> str:
        return self._text

    def __repr__(self) -> str:
        return self._text


def _labelled(label: str, content: str) -> str:
    if not content:
        return ""
    return textwrap.fill(content, 88, initial_indent=f"  {label:<14}",
                         subsequent_indent=" " * 16) + "\n"


def _quantity(value: float, unit: str) -> str:
    return f"{value:.15g}" + ("" if unit == "1" else f" {unit}")


def _parameter(p: typing.Any) -> str:
    source = p["source"] + (f", {p['where']}" if p["where"] else "")
    in_model = _quantity(p["value_in_model"], p["unit_in_model"])
    return "".join([
        p["name"] + "\n", _labelled("value", _quantity(p["value"], p["unit"])),
        _labelled("range",
                  f"{_quantity(p['low'], p['unit'])} to {_quantity(p['high'], p['unit'])}"),
        _labelled("drawn", p["distribution"]), _labelled("grade", p["grade"]),
        _labelled("source", source), _labelled("", p["reference"]), _labelled("note", p["note"]),
        _labelled("in the model", in_model if p["unit"] != p["unit_in_model"] else "")])


def explain(name: str, *, models: _place.Path | None = None) -> Explanation:
    """Explains a parameter, output, cover, fluid, warmer or room: what it is, with unit, range,
    grade and source. Raises InputError for a name that is not known, with the nearest."""
    folder = _place.models(models)
    known: list[str] = []
    for p in _serosa.parameters(folder):
        if p["name"] == name:
            return Explanation(_parameter(p), _table([p]))
        known.append(p["name"])
    for kind, files in _serosa.data_files(folder).items():
        if name in files:
            file = _serosa.data_file(kind, name, folder)
            text = "\n".join([file["title"], *textwrap.wrap(file["note"], 88), "",
                              *(_parameter(n) for n in file["numbers"])])
            return Explanation(text, _table(file["numbers"]) if file["numbers"] else None)
        known += files
    for o in _serosa.outputs():
        if o["name"] == name:
            unit = "1 (a fraction or ratio)" if o["unit"] == "1" else o["unit"]
            return Explanation(o["name"] + "\n" + _labelled("unit", unit)
                               + _labelled("what it is", o["meaning"])
                               + _labelled("formula", o["formula"]), None)
        known.append(o["name"])
    near = difflib.get_close_matches(name, known, 1)
    raise errors.InputError(f"there is no parameter, cover, fluid, warmer, room or output {name!r}"
                            + (f"; did you mean {near[0]}?" if near else ""))
