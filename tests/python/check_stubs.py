# SPDX-License-Identifier: Apache-2.0
"""The package's types: mypy finds no fault in its own code, in a user's example, or between the
stubs of the compiled part and what that part really has."""
import os
import pathlib
import subprocess
import sys
import tempfile

EXAMPLE = """
import serosa
import xarray
from typing_extensions import assert_type

wrapped = serosa.case("wrapped")
assert_type(wrapped.with_({"timeline.wrap.at": "20 min"}, until="2 h"), serosa.Case)
assert_type(serosa.run([wrapped], times=[0.5, "2 h"]), xarray.Dataset)
assert_type(wrapped.report_times, list[float])
"""
WRONG = """
import serosa
serosa.run(3)
"""
package = pathlib.Path(os.environ["SEROSA_SOURCE"]) / "lib" / "python" / "serosa"


def mypy(tool, *words, folder):
    environment = {**os.environ, "MYPYPATH": os.environ["PYTHONPATH"]}
    done = subprocess.run([sys.executable, "-m", f"mypy{tool}", *map(str, words)], cwd=folder,
                          env=environment, capture_output=True, text=True)
    return done.returncode, done.stdout + done.stderr


with tempfile.TemporaryDirectory() as folder:
    for name, text, right in (("example.py", EXAMPLE, True), ("wrong.py", WRONG, False)):
        (pathlib.Path(folder) / name).write_text(text)
        code, told = mypy("", "--strict", "--ignore-missing-imports", name, folder=folder)
        assert (code == 0) == right, told
    code, told = mypy("", "--strict", "--ignore-missing-imports", "-p", "serosa", folder=folder)
    assert code == 0, told
    # Classes of pybind11 have a metaclass of their own, and one that users can't make shows the
    # arguments of a plain object.
    allowed = pathlib.Path(folder) / "allowed"
    allowed.write_text("".join(f"serosa._serosa.{name}\n"
                               for name in ("Case", "Runs", "Runs.__init__", "Sweep")))
    code, told = mypy(".stubtest", "serosa._serosa", "--allowlist", allowed, folder=folder)
    assert code == 0, told
print("types are right")
