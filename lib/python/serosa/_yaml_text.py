# SPDX-License-Identifier: Apache-2.0
"""Dictionaries as the text of an input file, so that they go through the reader of files."""
from __future__ import annotations

import collections.abc
import numbers
import re
import typing

_plain = re.compile(r"[A-Za-z0-9][A-Za-z0-9 _./%^+()*=-]*(?<! )\Z")
_hidden = re.compile("[\x00-\x1f\x7f-\x9f\u2028\u2029\ufeff]")


def _text(value: str) -> str:
    if _plain.match(value) and value.lower() != "null":
        return value
    quoted = value.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + _hidden.sub(lambda c: f"\\u{ord(c[0]):04x}", quoted) + '"'


def _scalar(value: object, path: str) -> str:
    if isinstance(value, str):
        return _text(value)
    if value is None:
        return "~"
    if hasattr(value, "item") and getattr(value, "ndim", 0) == 0:
        value = value.item()  # a number of NumPy
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, numbers.Integral):
        return str(int(value))
    if isinstance(value, numbers.Real):
        return repr(float(value))
    raise TypeError(f"{path or 'a case'}: a text, number, list or dictionary is expected, "
                    f"not {type(value).__name__}")


def _is_list(value: object) -> typing.TypeGuard[collections.abc.Iterable[object]]:
    return isinstance(value, (list, tuple)) or getattr(value, "ndim", 0) == 1


def _items(value: collections.abc.Mapping[typing.Any, object],
           path: str) -> collections.abc.Iterator[tuple[str, str, object]]:
    """Key, path and value of each entry."""
    for key, inner in value.items():
        if not isinstance(key, str):
            raise TypeError(f"{path or 'a case'}: a key must be a text, not {key!r}")
        yield key, f"{path}.{key}" if path else key, inner


def flow(value: object, path: str = "") -> str:
    """A value on one line: `20 min`, `[1 h, 2 h]`, `{at: 20 min}`."""
    if isinstance(value, collections.abc.Mapping):
        return "{" + ", ".join(f"{_text(key)}: {flow(inner, place)}"
                               for key, place, inner in _items(value, path)) + "}"
    if _is_list(value):
        return "[" + ", ".join(flow(item, path) for item in value) + "]"
    return _scalar(value, path)


def document(value: collections.abc.Mapping[str, object], path: str = "", indent: int = 0) -> str:
    """A dictionary as the text of a file, one key a line."""
    lines = []
    for key, place, inner in _items(value, path):
        head = " " * indent + _text(key) + ":"
        if isinstance(inner, collections.abc.Mapping) and inner:
            lines += [head + "\n", document(inner, place, indent + 2)]
        else:
            lines.append(f"{head} {flow(inner, place)}\n")
    return "".join(lines) if lines else "{}\n"


def change(path: str, value: object) -> str:
    """One `path=value`, as after --set."""
    # A text goes as it is, as on the command line, where nothing is quoted.
    return f"{path}={value if isinstance(value, str) else flow(value, path)}"
