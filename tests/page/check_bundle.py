# SPDX-License-Identifier: Apache-2.0
"""Makes the bundles of runner/page and runner/lesson again from their sources and one lock file,
elsewhere, and compares bytes.

Skipped (77) where Node, its package manager or the packages themselves cannot be had.
"""
import json
import pathlib
import re
import shutil
import subprocess
import sys
import tempfile

page = pathlib.Path(sys.argv[1])


def skip(why):
    print(f"Skipped: {why}")
    sys.exit(77)


lock = (page / "package-lock.json").read_text()
assert "://" not in lock, "package-lock.json names hosts"
for name, entry in json.loads(lock)["packages"].items():
    assert not name or re.match(r"sha512-", entry.get("integrity", "")), f"{name} has no checksum"

if not shutil.which("node") or not shutil.which("npm"):
    skip("node and npm are not installed; the committed bundle is used as it is")
version = int(subprocess.run(["node", "--version"], capture_output=True, text=True).stdout[1:].split(".")[0])
if version < 18:
    skip(f"node {version} is too old for the bundler, 18 is needed")

with tempfile.TemporaryDirectory() as folder:
    copy = pathlib.Path(folder) / "page"
    for beside in ("page", "lesson"):
        shutil.copytree(page.parent / beside, pathlib.Path(folder) / beside,
                        ignore=shutil.ignore_patterns("node_modules", "bundle.js"))
    got = subprocess.run(["npm", "ci", "--ignore-scripts", "--no-audit", "--no-fund"], cwd=copy,
                         text=True, capture_output=True)
    if got.returncode != 0:
        reason = got.stderr.strip()
        # A lock file that does not fit package.json is a fault, a missing network is none.
        assert "EUSAGE" not in reason and "EINTEGRITY" not in reason, reason
        skip(f"the packages cannot be fetched: {reason[-300:]}")
    subprocess.run(["npm", "run", "bundle"], cwd=copy, check=True, capture_output=True)
    sizes = []
    for beside in ("page", "lesson"):
        made = (pathlib.Path(folder) / beside / "bundle.js").read_bytes()
        kept = (page.parent / beside / "bundle.js").read_bytes()
        assert made == kept, (f"{beside}/bundle.js is {len(kept)} bytes, its sources give {len(made)}: run "
                              "`npm ci --ignore-scripts && npm run bundle` in runner/page")
        sizes.append(len(kept))
print(f"The same bytes: {sizes}")
