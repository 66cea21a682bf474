# SPDX-License-Identifier: Apache-2.0
"""Where the data files are."""
from __future__ import annotations

import os
import pathlib

#: a path, as a text or a path object
Path = str | os.PathLike[str]


def models(named: Path | None) -> str:
    """The folder of data files: the one named, else the one of the environment's SEROSA_MODELS,
    else the one installed with this package. Empty: the compiled part looks for itself."""
    if named is not None:
        return os.fspath(named)
    if os.environ.get("SEROSA_MODELS"):
        return os.environ["SEROSA_MODELS"]
    package = pathlib.Path(__file__).resolve().parent
    if package.parent.name == "dist-packages":  # PREFIX/lib/python3/dist-packages/serosa
        installed = package.parents[3] / "share" / "serosa" / "models"
        if installed.is_dir():
            return str(installed)
    return ""
