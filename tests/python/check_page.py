# SPDX-License-Identifier: Apache-2.0
"""Runs the blocks of notebooks/program-and-python.md, in their order, in an empty folder."""
import os
import re
import subprocess
import tempfile

from program import MODELS, PROGRAM, SOURCE

page = (SOURCE / "notebooks" / "program-and-python.md").read_text(encoding="utf-8")
assert page.count("Not dosing advice") == 2
blocks = re.findall(r"^```(\w+)\n(.*?)^```$", page, re.MULTILINE | re.DOTALL)
assert {kind for kind, _ in blocks} == {"text", "sh", "python"}
environment = {**os.environ, "MODELS": str(MODELS),
               "PATH": os.path.dirname(PROGRAM) + os.pathsep + os.environ["PATH"]}
names = {}
with tempfile.TemporaryDirectory() as folder:
    os.chdir(folder)
    for number, (kind, text) in enumerate(blocks):
        if kind == "sh":
            subprocess.run(["sh", "-ec", text], env=environment, check=True)
        elif kind == "python":
            exec(compile(text, f"block {number}", "exec"), names)
    os.chdir("/")
print(f"{len(blocks)} blocks are right")
