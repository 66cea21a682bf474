#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Compiles the model of the lesson's page to WebAssembly: `python3 runner/lesson/build.py`.

Writes runner/lesson/model.json: the module in base 64 with its checksum, and the checksum of the
sources it was made from. `--check` writes nothing: it says whether model.json is what the sources
give (77: Emscripten is not here or another version, only the sources' checksum was compared).
Needs Debian's emscripten and libboost-dev. The same sources and compiler give the same bytes.
"""
import argparse
import base64
import hashlib
import json
import os
import pathlib
import re
import shutil
import subprocess
import sys
import tempfile

here = pathlib.Path(__file__).resolve().parent
root = here.parent.parent
kept = here / "model.json"
command = "python3 runner/lesson/build.py"

# As the program's own kernels: no contraction, no reassociation. Exceptions are caught inside.
FLAGS = ["-std=c++20", "-O2", "-DNDEBUG", "-fwasm-exceptions", "-msimd128", "-ffp-contract=off",
         "-fno-math-errno", "-fno-slp-vectorize", "-fopenmp-simd", "-Wall", "-Wextra",
         "-Wno-pass-failed", "-Ilib", "-Irunner"]
LINK = ["--no-entry", "-s", "STANDALONE_WASM=1", "-s", "ALLOW_MEMORY_GROWTH=1", "-s",
        "DYNAMIC_EXECUTION=0", "-s", "EXPORTED_FUNCTIONS=_serosa_input,_serosa_run,_serosa_output,"
        "_serosa_output_count,_serosa_message"]
UNITS = ["runner/lesson/core.cpp",
         *sorted(str(path.relative_to(root)) for path in (root / "lib/care").glob("*.cpp"))]


def sources():
    """What goes into the module: its units and, from there on, every header of the project."""
    found, open_ones = set(), list(UNITS)
    while open_ones:
        name = open_ones.pop()
        if name in found:
            continue
        found.add(name)
        for asked in re.findall(r'^#include "([^"]+)"', (root / name).read_text(), re.M):
            for folder in ("lib", "runner"):
                if (root / folder / asked).exists():
                    open_ones.append(f"{folder}/{asked}")
    return sorted(found)


def checksum_of_sources():
    """Of the code alone: comments and blanks do not change the module."""
    total = hashlib.sha256(json.dumps([FLAGS, LINK, UNITS]).encode())
    for name in sources():
        text = re.sub(r"//[^\n]*", "", (root / name).read_text())
        total.update(name.encode() + b"\0" + " ".join(text.split()).encode() + b"\0")
    return total.hexdigest()


def compiler():
    """Name and version, or nothing."""
    if not shutil.which("em++"):
        return None
    said = subprocess.run(["em++", "--version"], text=True, capture_output=True, env=environment())
    found = re.search(r"\b(\d+\.\d+\.\d+)\b", said.stdout.splitlines()[0] if said.stdout else "")
    return f"emscripten {found.group(1)}" if said.returncode == 0 and found else None


def environment():
    # Debian's emscripten finds its JavaScript packages there; Boost is shown alone, for the rest of
    # /usr/include is not for this machine.
    return dict(os.environ, NODE_PATH="/usr/share/nodejs")


def made():
    with tempfile.TemporaryDirectory() as folder:
        include = pathlib.Path(folder) / "include"
        include.mkdir()
        (include / "boost").symlink_to("/usr/include/boost")
        objects = []
        for unit in UNITS:
            target = f"{folder}/{pathlib.Path(unit).stem}.o"
            run(["em++", *FLAGS, "-isystem", str(include), "-c", unit, "-o", target])
            objects.append(target)
        module = f"{folder}/model.wasm"
        run(["em++", *[flag for flag in FLAGS if flag[:2] in ("-O", "-f", "-m")], *LINK, *objects, "-o", module])
        return pathlib.Path(module).read_bytes()


def run(words):
    done = subprocess.run(words, cwd=root, text=True, capture_output=True, env=environment())
    if done.returncode != 0:
        sys.exit(f"{' '.join(words)}\n{done.stdout}{done.stderr}")


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--check", action="store_true", help="compare only")
    check = parser.parse_args().check
    wanted, have = checksum_of_sources(), compiler()
    if check:
        old = json.loads(kept.read_text())
        module = base64.b64decode(old["module"])
        if hashlib.sha256(module).hexdigest() != old["sha256"]:
            sys.exit(f"model.json: the module is not the one of its checksum; run `{command}`")
        if old["sources"] != wanted:
            sys.exit(f"model.json was made from other sources (the model has changed); run `{command}`")
        if have != old["compiler"]:
            print(f"Skipped: the same sources; the bytes need {old['compiler']}, here is {have or 'none'}")
            sys.exit(77)
        if made() != module:
            sys.exit(f"model.json: the same sources give another module; run `{command}`")
        print(f"The same {len(module)} bytes from the same sources")
        return
    if not have:
        sys.exit("Debian's package emscripten is needed")
    module = made()
    kept.write_text(json.dumps({"compiler": have, "sources": wanted,
                                "sha256": hashlib.sha256(module).hexdigest(),
                                "module": base64.b64encode(module).decode()}, indent=1) + "\n")
    print(f"{kept.relative_to(root)}: {len(module)} bytes, {have}")


main()
