# SPDX-License-Identifier: Apache-2.0
"""Executes a notebook from top to bottom; any error in a cell fails. Leaves the executed one to look at."""
import os
import pathlib
import sys

import nbformat
from nbconvert.preprocessors import ExecutePreprocessor

CAUTION = "For teaching and review. Not dosing advice."


def main(program, notebook, out):
    os.environ["SEROSA_PROGRAM"] = program
    path = pathlib.Path(notebook)
    book = nbformat.read(path, as_version=4)
    ExecutePreprocessor(timeout=500).preprocess(book, {"metadata": {"path": str(path.parent)}})
    pathlib.Path(out).mkdir(parents=True, exist_ok=True)
    nbformat.write(book, pathlib.Path(out) / path.name)
    text = "\n".join(cell.source for cell in book.cells if cell.cell_type == "markdown")
    assert text.count(CAUTION) >= 1, "the caution is missing"
    outputs = [o for cell in book.cells if cell.cell_type == "code" for o in cell.outputs]
    pictures = [o for o in outputs if "image/png" in o.get("data", {})]
    assert len(pictures) >= 3, f"{len(pictures)} pictures"
    print(f"{len(outputs)} outputs, {len(pictures)} pictures")


if __name__ == "__main__":
    main(*sys.argv[1:])
