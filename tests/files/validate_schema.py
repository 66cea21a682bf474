#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""The JSON Schemas that are shipped are those the program makes, accept every shipped file (read
as YAML 1.2) and reject broken ones. Usage: validate_schema.py PROGRAM MODELS
"""
import copy
import pathlib
import subprocess
import sys

try:
    import jsonschema
    from ruamel.yaml import YAML
except ImportError as missing:
    print(f"skipped: {missing}")
    sys.exit(77)

program, models = sys.argv[1], pathlib.Path(sys.argv[2])
FOLDERS = {"case": "cases", "cover": "covers", "fluid": "fluids", "warmer": "warmers",
           "room": "rooms", "experiment": "published", "study": "studies", "cohort": "cohorts",
           "fit": "fits", "protocol": "protocols", "review": "reviews", "lesson": "lessons"}
yaml = YAML(typ="safe", pure=True)
yaml.version = (1, 2)
failures = []


def made(kind):
    done = subprocess.run([program, "list", "--schema", kind], stdout=subprocess.PIPE, check=True)
    return done.stdout


validators = {}
for path in sorted((models / "schema").glob("*.schema.json")):
    kind = path.name.split(".")[0]
    if path.read_bytes() != made(kind):
        failures.append(f"{path.name} is not what `serosa list --schema {kind}` prints")
    schema = yaml.load(path.read_text())
    jsonschema.Draft202012Validator.check_schema(schema)
    validators[kind] = jsonschema.Draft202012Validator(schema)
assert {"case", "cover", "fluid", "warmer", "room"} <= set(validators)

files = 0
for kind, validator in validators.items():
    found = sorted((models / FOLDERS[kind]).glob("*.yaml"))
    assert found, kind
    for path in found:
        files += 1
        for error in validator.iter_errors(yaml.load(path.read_text())):
            failures.append(f"{path.relative_to(models)}: {list(error.path)}: {error.message[:200]}")

# What `serosa new` writes is no less valid.
new = subprocess.run([program, "new"], stdout=subprocess.PIPE, check=True).stdout.decode()
for error in validators["case"].iter_errors(yaml.load(new)):
    failures.append(f"serosa new: {list(error.path)}: {error.message[:200]}")


def put(tree, path, value):
    tree = copy.deepcopy(tree)
    place = tree
    for key in path[:-1]:
        place = place.setdefault(key, {})
    place[path[-1]] = value
    return tree


case = {"title": "A", "timeline": {"wrap": {"act": "cover", "at": "3 min", "with": "none"}}}
assert not list(validators["case"].iter_errors(case))
broken = [
    (["babby"], {}), (["baby", "wieght"], "2 kg"), (["baby", "weight"], 2.5),
    (["baby", "weight"], "heavy"), (["baby", "delivery"], "by air"), (["baby"], "small"),
    (["bowel", "herniated"], 80), (["bowel", "kinked"], "yes"), (["air", "humidity"], -0.1),
    (["wet"], "perhaps"), (["report_at"], "1 h"), (["report_at"], []), (["title"], ["A"]),
    (["timeline"], []), (["timeline", "wrap"], "soon"), (["timeline", "wrap", "layers"], 1.5),
    (["timeline", "wrap", "layers"], 0), (["timeline", "wrap", "act"], "sing"),
    (["timeline", "wrap", "volume"], "10 mL/kg"), (["timeline", "wrap", "tension"], "tight"),
    (["until"], {"h": 6}), (["based_on"], 7)]
for path, value in broken:
    if not list(validators["case"].iter_errors(put(case, path, value))):
        failures.append(f"accepted: {'.'.join(path)} = {value!r}")
fluid = yaml.load((models / "fluids" / "saline-0.9.yaml").read_text())
for path, value in ((["sodum"], {}), (["title"], {"a": 1})):
    if not list(validators["fluid"].iter_errors(put(fluid, path, value))):
        failures.append(f"accepted in a fluid: {path} = {value!r}")

print(f"{files} files, {len(broken) + 2} broken ones, {len(failures)} failures")
for failure in failures:
    print("FAILED", failure)
sys.exit(1 if failures else 0)
