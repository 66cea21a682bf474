#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Installs to a folder of its own, runs the program from there, builds tests/install/example
against the installed library and runs it.

Usage: test_install.py BUILD CMAKE COMPILER
"""
import json
import os
import pathlib
import re
import shutil
import subprocess
import sys
import tempfile

build, cmake, compiler = sys.argv[1:4]
example = pathlib.Path(__file__).resolve().parent / "example"
environment = {k: v for k, v in os.environ.items() if k != "SEROSA_MODELS"}


def run(*command, cwd=None):
    done = subprocess.run([str(c) for c in command], cwd=cwd, env=environment, text=True,
                          stdout=subprocess.PIPE, stderr=subprocess.STDOUT)
    if done.returncode != 0:
        sys.exit(f"{' '.join(map(str, command))} ended with {done.returncode}:\n{done.stdout}")
    return done.stdout


def model_values(serosa):
    """Every parameter in the model's unit, from the program itself."""
    answer = json.loads(run(serosa, "explain", "--all", "--json"))
    return {p["name"]: p["value_in_model"] for p in answer["parameters"]}


with tempfile.TemporaryDirectory() as name:
    place = pathlib.Path(name)
    prefix = place / "prefix with blank"
    for component in ("runtime", "dev"):
        run(cmake, "--install", build, "--prefix", prefix, "--component", component)
    serosa = prefix / "bin" / "serosa"
    models = prefix / "share" / "serosa" / "models"
    assert (models / "cases" / "wrapped.yaml").is_file()

    # The program takes the data files that were installed with it.
    case = models / "cases" / "wrapped.yaml"
    answer = json.loads(run(serosa, "run", case, "--json", cwd=place))
    manifest = json.loads((place / answer["results"] / "manifest.json").read_text())
    assert "models/cases/wrapped.yaml" in json.dumps(manifest), "data files of another place"

    run(cmake, "-S", example, "-B", place / "build", f"-DCMAKE_PREFIX_PATH={prefix}",
        f"-DCMAKE_CXX_COMPILER={compiler}", "-DCMAKE_BUILD_TYPE=Release")
    run(cmake, "--build", place / "build")

    # The library tells what the program tells.
    told = run(place / "build" / "wrapped")
    by_library = [float(x) for x in re.findall(r"h: ([0-9.e+-]+) g", told)]
    by_program = next(f["values"] for f in answer["cases"][0]["figures"]
                      if f["name"] == "bowel_evaporation")
    assert len(by_library) == len(by_program) > 0, told
    # printf("%g") shows six digits.
    assert all(abs(a - b) <= 5e-6 * abs(b) for a, b in zip(by_library, by_program)), told

    # The right-hand side alone, with Euler's method: first order, so near but not equal.
    values = place / "parameters.txt"
    values.write_text("".join(f"{k} {v!r}\n" for k, v in model_values(serosa).items()))
    told = run(place / "build" / "rates", values)
    off, core = map(float, re.search(r"([0-9.]+) g off .*core ([0-9.]+)", told).groups())
    (place / "bare.yaml").write_text(
        "title: Bare\nuntil: 1 h\nreport_at: [1 h]\nbaby: {weight: 2560 g, gestation: 36 wk}\n"
        "bowel: {herniated: 80 %}\nair: {temperature: 25 degC, walls: 25 degC, humidity: 45 %, "
        "speed: 0.05 m/s}\ntimeline:\n  warmer: {at: 0 min, to: full, irradiance: 200 W/m2}\n"
        # The example leaves the lie and the swallowed gas at rest.
        "  a: {act: hold, at: 0 min, control: position_congestion, value: 0 mmHg}\n"
        "  b: {act: hold, at: 0 min, control: gas_entry, value: 0 1/h}\n")
    answer = json.loads(run(serosa, "run", place / "bare.yaml", "--json", cwd=place))
    figures = {f["name"]: f["values"][0] for f in answer["cases"][0]["figures"]}
    assert abs(off - figures["bowel_evaporation"]) < 0.02 * figures["bowel_evaporation"], (
        told, figures["bowel_evaporation"])
    assert abs(core - figures["core_temperature"]) < 0.05, (told, figures["core_temperature"])

    # Debian packages of both parts, with the libraries they need.
    if shutil.which("dpkg-deb") and shutil.which("dpkg-shlibdeps"):
        run(pathlib.Path(cmake).with_name("cpack"), "-D", "CPACK_COMPONENTS_ALL=runtime;dev", "-B",
            place / "deb", cwd=build)
        packages = {p.name.split("_")[0]: p for p in (place / "deb").glob("*.deb")}
        assert set(packages) == {"serosa", "libserosa-dev"}, packages
        assert "libnetcdf" in run("dpkg-deb", "-f", packages["serosa"], "Depends")
        assert "serosa (=" in run("dpkg-deb", "-f", packages["libserosa-dev"], "Depends")
        root = place / "root"
        for package in packages.values():
            run("dpkg-deb", "-x", package, root)
        run(root / "usr" / "bin" / "serosa", "run",
            root / "usr" / "share" / "serosa" / "models" / "cases" / "wrapped.yaml", cwd=place)
        run(cmake, "-S", example, "-B", place / "build-deb",
            f"-DCMAKE_PREFIX_PATH={root / 'usr'}", f"-DCMAKE_CXX_COMPILER={compiler}")
    else:
        print("not tried: Debian packages (dpkg-dev is not installed)")
print("installed, found, built and run")
