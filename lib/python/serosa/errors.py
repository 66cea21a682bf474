# SPDX-License-Identifier: Apache-2.0
"""What can go wrong. The texts are those of the program."""
from __future__ import annotations

import typing

if typing.TYPE_CHECKING:
    import xarray


class Problem(typing.NamedTuple):
    """One thing that is wrong with an input, or worth a warning."""

    source: str  #: name of the file, `--set` for a change, or empty
    line: int  #: from 1; 0 when the source as a whole is meant
    column: int  #: from 1, in bytes; 0 as above
    path: str  #: key path such as `timeline.wrap.at`; may be empty
    message: str  #: what is wrong and what to do
    remark: str  #: what was expected; may be empty
    warning: bool  #: only a warning


class Error(Exception):
    """Every exception of serosa is one of these."""


class InputError(Error, ValueError):
    """An input was refused: a case, a change, a study, a data file or an argument."""

    def __init__(self, text: str, problems: tuple[Problem, ...] = ()) -> None:
        super().__init__(text)
        #: everything that is wrong, in the order found
        self.problems = problems


class WriteError(Error, OSError):
    """A result could not be written. What was there before is unharmed."""


class RunFailed(Error, RuntimeError):
    """A run did not reach its end."""

    def __init__(self, text: str, dataset: xarray.Dataset) -> None:
        super().__init__(text)
        #: the results as far as they go, NaN behind
        self.dataset = dataset


class InputWarning(UserWarning):
    """An input is allowed but lies outside what was published."""


class RunWarning(UserWarning):
    """Something about the runs deserves attention: failed runs of a batch, ends that differ."""
