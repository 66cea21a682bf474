# SPDX-License-Identifier: Apache-2.0
"""Pictures of results for lessons and notes, with matplotlib: colours that colour-blind people
tell apart, a dash pattern beside each colour, and names at the lines instead of a legend."""
from __future__ import annotations

import typing

import matplotlib.pyplot
import xarray

#: Okabe & Ito 2008, "Color Universal Design", from memory; the order is the order of use
COLOURS = ["#D55E00", "#0072B2", "#009E73", "#CC79A7", "#56B4E9", "#E69F00", "#000000"]
#: beside the colours, for prints in grey
DASHES: list[typing.Any] = ["-", (0, (6, 2)), (0, (2, 1.5)), (0, (7, 2, 1.5, 2)), (0, (1, 1)),
                            (0, (4, 1, 1, 1, 1, 1)), "-"]
_UNITS = {"degC": "°C", "1": "", "W/m2": "W/m²", "g/m2/h": "g/m²/h"}


def style() -> None:
    """Sets matplotlib up: sober, readable from the back of a room, small as a file."""
    matplotlib.pyplot.rcParams.update({
        "figure.figsize": (7.5, 4), "figure.dpi": 80, "figure.autolayout": False,
        "figure.constrained_layout.use": True, "font.size": 11, "axes.spines.top": False,
        "axes.spines.right": False, "axes.titlelocation": "left", "axes.titlesize": 12,
        "axes.grid": True, "axes.axisbelow": True,
        "grid.color": "#dddddd", "lines.linewidth": 2.2,
        "axes.prop_cycle": matplotlib.pyplot.cycler(color=COLOURS)})


def unit(variable: xarray.DataArray) -> str:
    """The unit as people write it."""
    told = str(variable.attrs.get("units", ""))
    return _UNITS.get(told, told)


def label(variable: xarray.DataArray) -> str:
    """What a variable is, with its unit: "Body water evaporated from the bowel (g)"."""
    name, of = str(variable.attrs.get("long_name", variable.name)), unit(variable)
    return f"{name} ({of})" if of else name


def short(variable: xarray.DataArray) -> str:
    """The name as words, with its unit: "Third space (g)". For the heads of tables."""
    name, of = str(variable.name).replace("_", " ").capitalize(), unit(variable)
    return f"{name} ({of})" if of else name


def _apart(heights: list[float], least: float) -> list[float]:
    """The heights moved so that none is nearer to another than `least`; their order stays."""
    order = sorted(range(len(heights)), key=heights.__getitem__)
    placed = list(heights)
    for lower, upper in zip(order, order[1:]):
        placed[upper] = max(placed[upper], placed[lower] + least)
    shift = sum(placed) / len(placed) - sum(heights) / len(heights) if placed else 0
    return [height - shift for height in placed]


def courses(results: xarray.Dataset, name: str,
            axes: matplotlib.pyplot.Axes | None = None) -> matplotlib.pyplot.Axes:
    """One line per run over time, each with its name at its end.

    results: as `serosa.run` gives it; name: of an output. Returns the axes.
    """
    axes = axes or matplotlib.pyplot.subplots()[1]
    variable = results[name]
    hours = results["time"].values
    ends = []
    for index, case in enumerate(results["case"].values):
        values = variable.isel(run=index).values
        axes.plot(hours, values, color=COLOURS[index % 7], linestyle=DASHES[index % 7])
        ends.append(float(values[-1]))
    low, high = axes.get_ylim()
    for index, height in enumerate(_apart(ends, 0.07 * (high - low))):
        axes.annotate(str(results["case"].values[index]), (hours[-1], height), xytext=(6, 0),
                      textcoords="offset points", va="center", color=COLOURS[index % 7],
                      annotation_clip=False)
    axes.set_xlim(0, hours[-1])
    axes.set_xlabel("Hours after birth")
    axes.set_title(label(variable))
    return axes
