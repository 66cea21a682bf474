# SPDX-License-Identifier: Apache-2.0
"""The program beside the module: what both are asked and must answer alike."""
import os
import pathlib
import subprocess

PROGRAM = os.environ["SEROSA_PROGRAM"]
SOURCE = pathlib.Path(os.environ["SEROSA_SOURCE"])
MODELS = SOURCE / "models"


def serosa(*words, folder=None, code=0):
    """Runs the program; returns what it printed, and to standard error."""
    done = subprocess.run([PROGRAM, *map(str, words), "--models", str(MODELS)], cwd=folder,
                          capture_output=True, text=True)
    assert done.returncode == code, f"serosa {words}: {done.returncode}\n{done.stderr}"
    return done.stdout, done.stderr


def same_bits(one, other):
    """Do two Datasets have the same variables, attributes and bits? Says where they differ."""
    if set(one.variables) != set(other.variables) or one.attrs != other.attrs:
        return f"{sorted(set(one.variables) ^ set(other.variables))}, {one.attrs}, {other.attrs}"
    for name, a in one.variables.items():
        b = other.variables[name]
        if a.dims != b.dims or a.dtype != b.dtype:
            return f"{name}: {a.dims} {a.dtype}, {b.dims} {b.dtype}"
        if {k: str(v) for k, v in a.attrs.items()} != {k: str(v) for k, v in b.attrs.items()}:
            return f"{name}: {a.attrs}, {b.attrs}"
        if a.dtype == object:
            if list(a.values) != list(b.values):
                return f"{name}: {a.values}, {b.values}"
        elif a.values.tobytes() != b.values.tobytes():
            return f"{name}: {abs(a.values - b.values).max()}"
    return ""
