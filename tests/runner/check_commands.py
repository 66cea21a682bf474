#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""new, list, document, --json and --plain through the real program.

Usage: check_commands.py PROGRAM SOURCE-TREE
"""
import json
import pathlib
import re
import subprocess
import sys
import tempfile

PROGRAM, TREE = sys.argv[1], pathlib.Path(sys.argv[2])
CASES = TREE / "models" / "cases"
CAUTION = ("For teaching and review. Not dosing advice. Follow local protocols and licensed "
           "clinicians.")


def run(*arguments, code=0, cwd=None):
    done = subprocess.run([PROGRAM, *map(str, arguments)], cwd=cwd, stdout=subprocess.PIPE,
                          stderr=subprocess.PIPE, timeout=60)
    assert done.returncode == code, (arguments, done.returncode, done.stderr)
    return done.stdout.decode()


def check_new(place):
    file = place / "our baby.yaml"
    assert str(file) in run("new", file)
    text = file.read_text()
    assert text == run("new") and CAUTION in text.replace("\n# ", " ")
    # As written it reads back, without a warning, and runs.
    told = run("run", file, cwd=place)
    assert "WARNINGS" not in told or "published" not in told, told
    before = file.stat().st_mtime_ns
    run("new", file, code=5)
    assert file.stat().st_mtime_ns == before and file.read_text() == text
    run("new", place / "nowhere" / "x.yaml", code=5)
    # Every key and act of the schema stands in it.
    schema = json.loads(run("list", "--schema", "case"))

    def names(node):
        if isinstance(node, dict):
            for name, inner in node.get("properties", {}).items():
                yield name
                yield from names(inner)
            for name, inner in node.items():
                if name != "properties":
                    yield from names(inner)
        elif isinstance(node, list):
            for inner in node:
                yield from names(inner)

    def acts(node):
        if isinstance(node, dict):
            if isinstance(node.get("act"), dict) and "const" in node["act"]:
                yield node["act"]["const"]
            for inner in node.values():
                yield from acts(inner)
        elif isinstance(node, list):
            for inner in node:
                yield from acts(inner)

    missing = [n for n in set(names(schema)) if not re.search(rf"\b{re.escape(n)}\b", text)]
    assert set(acts(schema)) and not missing, missing
    assert all(f"act: {a}," in text for a in acts(schema))


def check_list():
    text = run("list")
    assert CAUTION in text
    for folder in ("cases", "covers", "fluids", "warmers", "rooms", "protocols"):
        names = {p.stem for p in (TREE / "models" / folder).glob("*.yaml")}
        lines = [line.split() for line in run("list", folder).splitlines() if line.startswith("  ")]
        assert {line[0] for line in lines} == names and len(lines) == len(names)
        assert all(len(line) > 1 for line in lines), "a name without a title"
        listed = json.loads(run("list", folder, "--json"))
        assert listed["format"] == 1 and {item["name"] for item in listed[folder]} == names
    assert max(map(len, text.splitlines())) <= 100
    run("list", "dogs", code=2)


def check_json(place):
    one = json.loads(run("run", CASES / "exposed.yaml", "--json", "--at", "1 h, 2 h", cwd=place))
    assert (one["format"], one["kind"], one["caution"]) == (1, "run", CAUTION)
    assert one["times"] == {"unit": "h", "values": [1.0, 2.0]} and one["differences"] == []
    case = one["cases"][0]
    assert case["status"] == "finished" and case["weight"]["unit"] == "kg"
    for figure in case["figures"]:
        assert figure["name"] and figure["unit"] and figure["meaning"]
        assert len(figure["values"]) == 2 and all(isinstance(v, float) for v in figure["values"])
    assert (place / one["results"] / "summary.csv").is_file()

    two = json.loads(run("compare", CASES / "exposed.yaml", CASES / "wrapped.yaml", "--json",
                         cwd=place))
    assert two["kind"] == "compare" and [c["name"] for c in two["cases"]] == ["exposed", "wrapped"]
    difference, = two["differences"]
    for t in range(len(two["times"]["values"])):
        parts = {p["name"]: p for p in difference["parts"]}
        routes = sum(p["values"][t] for p in parts.values() if p["group"] == "route")
        whole = sum(p["values"][t] for p in parts.values())
        # The parts are an identity; what is left is rounding of sums of about 1e3 g.
        assert abs(routes - difference["external_deficit"][t]) < 1e-9
        assert abs(whole - difference["circulating_deficit"][t]) < 1e-9
    run("run", CASES / "exposed.yaml", "--json", "--plain", code=2, cwd=place)
    run("run", CASES / "exposed.yaml", "--json", "--quiet", code=2, cwd=place)

    for what, count in ((["spread"], 1), (["--all"], 100), (["saline-0.9"], 5)):
        answer = json.loads(run("explain", *what, "--json"))
        assert answer["kind"] == "explain" and len(answer["parameters"]) >= count
        for p in answer["parameters"]:
            assert p["low"] <= p["value"] <= p["high"] and p["unit"] and p["grade"] and p["source"]
    answer = json.loads(run("explain", "--output", "urine", "--json"))
    assert [o["name"] for o in answer["outputs"]] == ["urine"] and not answer["parameters"]
    assert len(json.loads(run("explain", "--outputs", "--json"))["outputs"]) > 50
    run("explain", "uriine", "--json", code=2)
    run("explain", "--json", code=2)


def check_plain(place):
    text = run("compare", CASES / "exposed.yaml", CASES / "wrapped.yaml", "--plain", "--at",
               "1 h", cwd=place)
    for line in text.splitlines():
        assert "  " not in line and not re.search(r"[─-╿|=]{2}", line), line
        assert line == line.strip() and line, "a line that is no fact"
    assert CAUTION in text and re.search(r"^B, at 1 h: Urine: \d", text, re.M)
    # Not a figure less than in the table.
    table = run("compare", CASES / "exposed.yaml", CASES / "wrapped.yaml", "--at", "1 h", cwd=place)
    figures = re.findall(r"-?\d+\.?\d* \(-?\d+\.?\d*\)", table)
    assert len(figures) > 20 and all(f in text for f in figures)


def check_documents(place):
    folder = place / "documents"
    run("document", folder)
    pages = {p.name: p.read_text() for p in folder.iterdir()}
    assert set(pages) == {"inputs.md", "outputs.md", "states.md", "controls.md", "parameters.md",
                          "equations.md", "statuses.md"}
    for name, text in pages.items():
        assert CAUTION in text, name
        for page, anchor in re.findall(r"\]\(([a-z]*\.?m?d?)#([^)]*)\)", text):
            assert f'<a id="{anchor}"></a>' in pages[page or name], (name, page, anchor)
        for source in re.findall(r"`((?:lib|models)/[^`:]*)", text):
            assert (TREE / source).exists(), (name, source)
    # Every parameter stands in an equation.
    names = {p["name"] for p in json.loads(run("explain", "--all", "--json"))["parameters"]}
    linked = set(re.findall(r"\(parameters\.md#([^)]*)\)", pages["equations.md"]))
    assert names == linked, names ^ linked
    # A function named beside a source file is in it.
    for source, function in re.findall(r"`(lib/[^`]*)` ([a-z_]+)[,)]", pages["equations.md"]):
        assert re.search(rf"\b{function}\b", (TREE / source).read_text()), (source, function)
    outputs = json.loads(run("explain", "--outputs", "--json"))["outputs"]
    assert all(f'<a id="{o["name"]}"></a>' in pages["outputs.md"] for o in outputs)
    run("document", folder, code=5)


with tempfile.TemporaryDirectory() as name:
    place = pathlib.Path(name)
    check_new(place)
    check_list()
    check_json(place)
    check_plain(place)
    check_documents(place)
print("new, list, document, --json and --plain do what they say")
