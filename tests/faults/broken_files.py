#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Broken, hostile and odd case files, each given to the real program.

Whatever the file, the program must end by itself within its time and memory, with the documented
exit code, must say what is wrong in words that name the file, the line and a remedy, and must leave
nothing half-written. Usage: broken_files.py PROGRAM [--show]
"""
import os
import pathlib
import resource
import shutil
import subprocess
import sys
import tempfile

PROGRAM = os.path.abspath(sys.argv[1])
SHOW = "--show" in sys.argv
DONE, USAGE, REFUSED = 0, 2, 3
SECONDS = 20
MEMORY = 1 << 30  # bytes of address space

GOOD = "title: A case\nuntil: 20 min\nreport_at: [20 min]\n"


def timeline(*acts):
    return GOOD + "timeline:\n" + "".join(f"  {act}\n" for act in acts)


def deep(opening, closing, levels):
    return GOOD + "parameters: " + opening * levels + "1" + closing * levels + "\n"


def block_deep(levels):
    return GOOD + "".join("  " * i + f"k{i}:\n" for i in range(levels)) + "  " * levels + "end: 1\n"


# name: (bytes or text of the file, words that the message must hold[, line that it must name])
BROKEN = {
    # -- bytes --
    "empty": ("", ["nothing in this file"]),
    "only blanks": ("   \n\n", ["nothing in this file"]),
    "only comments": ("# nothing\n", ["nothing in this file"]),
    "ten megabytes of junk": (os.urandom(1 << 20) * 10, ["larger than 4"]),
    "ten megabytes of one letter": ("a" * (10 << 20), ["larger than 4"]),
    "three megabytes in one line": (GOOD + "note: [" + "a," * (1 << 20) + "a", ["note", "line|:4"]),
    "three megabytes of keys": ("".join(f"k{i}: 1\n" for i in range(200000)), ["more than 10000 keys"]),
    "random bytes": (bytes((i * 89 + 41) % 256 for i in range(5000)), ["UTF-8|control character"]),
    "nul byte": (b"title: A\x00B\n", ["control character"], 1),
    "escape character": (b"title: \x1b[31mred\n", ["control character"], 1),
    "latin-1": ("title: Gänse\n".encode("latin-1"), ["UTF-8"], 1),
    "utf-16": (GOOD.encode("utf-16"), ["UTF-8|control character"], 1),
    "overlong UTF-8": (b"title: \xc0\xaf\n", ["UTF-8"], 1),
    "surrogate in UTF-8": (b"title: \xed\xa0\x80\n", ["UTF-8"], 1),
    "cut in a character": (b"title: A\xe2\x82", ["UTF-8"], 1),
    "a compressed file": (b"\x1f\x8b\x08\x00abc", ["UTF-8|control character"], 1),
    # -- YAML --
    "broken bracket": (GOOD + "baby: {weight: 2 kg\n", ["baby|end of|}"]),
    "broken quote": (GOOD + 'note: "never closed\n', [""]),
    "tab for indentation": (GOOD + "baby:\n\tweight: 2 kg\n", ["tab|indent"]),
    "bad indentation": (GOOD + "baby:\n    weight: 2 kg\n  gestation: 36 wk\n", [""]),
    "duplicate key": (GOOD + "until: 2 h\n", ["until", "twice|already|second|again"], 4),
    "duplicate act": (timeline("hat: {at: 1 min}", "hat: {at: 2 min}"), ["hat"], 6),
    "alias": (GOOD + "baby: &b {weight: 2 kg}\nbowel: *b\n", ["anchor|alias"], 4),
    "anchor that refers to itself": (GOOD + "baby: &b {weight: *b}\n", ["anchor|alias"], 4),
    "anchors that blow up": (
        "a: &a [x,x,x,x,x,x,x,x,x]\n"
        + "".join(f"{c}: &{c} [{','.join(['*' + p] * 9)}]\n" for p, c in zip("abcdefgh", "bcdefghi")),
        ["anchor|alias"], 1),
    "merge key": (GOOD + "baby: {<<: {weight: 2 kg}}\n", ["<<|merge"], 4),
    "tag": (GOOD + "baby: !!python/object:os.system {weight: 2 kg}\n", ["tag"], 4),
    "second document": (GOOD + "---\ntitle: B\n", ["document"]),
    "key that is a list": (GOOD + "[1, 2]: 3\n", ["key"], 4),
    "flow maps 200 deep": (deep("{a: ", "}", 200), ["deep|nest"], 4),
    "flow lists 100000 deep": (deep("[", "]", 100000), ["deep|nest"], 4),
    "blocks 300 deep": (block_deep(300), ["deep|nest"]),
    "a list for the whole": ("- title: A\n", ["map"], 1),
    "a text for the whole": ("just words\n", ["map"], 1),
    # -- keys and kinds --
    "unknown key": (GOOD + "babby: {weight: 2 kg}\n", ["babby", "did you mean baby"], 4),
    "unknown inner key": (GOOD + "baby: {wieght: 2 kg}\n", ["wieght", "weight"], 4),
    "no title": ("until: 1 h\n", ["title"]),
    "map for a text": (GOOD + "note: {a: b}\n", ["note"], 4),
    "list for a quantity": (GOOD + "baby: {weight: [2 kg]}\n", ["weight"], 4),
    "text for a map": (GOOD + "baby: small\n", ["baby", "map"], 4),
    "nothing for a quantity": (GOOD + "baby: {weight: }\n", ["weight"], 4),
    "yes for a flag": (GOOD + "wet: yes\n", ["true or false"], 4),
    "sexagesimal time": (GOOD + "every: 1:30\n", ["every"], 4),
    # -- numbers --
    "number without unit": (GOOD + "baby: {weight: 2.5}\n", ["weight", "unit|kg"], 4),
    "wrong unit": (GOOD + "baby: {weight: 2 mL}\n", ["mass"], 4),
    "unknown unit": (GOOD + "baby: {weight: 2 stone}\n", ["stone"], 4),
    "decimal comma": (GOOD + 'baby: {weight: "2,5 kg"}\n', ["2,5|comma"], 4),
    "nan": (GOOD + "baby: {weight: nan kg}\n", ["nan"], 4),
    "yaml nan": (GOOD + "air: {humidity: .nan}\n", ["nan"], 4),
    "inf": (GOOD + "until: inf h\n", ["inf"], 4),
    "yaml minus inf": (GOOD + "air: {humidity: -.inf}\n", ["inf"], 4),
    "huge exponent": (GOOD + "baby: {weight: 1e999 kg}\n", ["weight"], 4),
    "huge number": (GOOD + "baby: {weight: 1e300 kg}\n", ["weight", "between|most"], 4),
    "a thousand digits": (GOOD + "baby: {weight: " + "9" * 1000 + " kg}\n", ["weight"], 4),
    "tiny weight": (GOOD + "baby: {weight: 1e-300 kg}\n", ["weight"], 4),
    "hexadecimal": (GOOD + "baby: {weight: 0x10 kg}\n", ["weight"], 4),
    "humidity 45": (GOOD + "air: {humidity: 45}\n", ["45"], 4),
    "too many steps": ("title: A\nuntil: 900 h\nevery: 1 s\n", ["every|steps"]),
    "list of no times": (GOOD.replace("[20 min]", "[]"), ["report_at"], 3),
    "layers by halves": (timeline("wrap: {act: cover, at: 3 min, with: polyethylene-film, layers: 1.5}"),
                         ["layers", "whole"], 5),
    "parameter of no model": (GOOD + "parameters: {spraed: 0.3}\n", ["spraed", "spread"], 4),
    "parameter that is a map": (GOOD + "parameters: {spread: {value: 1}}\n", ["spread"], 4),
    # -- acts --
    "unknown act": (timeline("sing: {at: 1 min}"), ["sing"], 5),
    "act without a time": (timeline("hat: {}"), ["at"], 5),
    "act that is a text": (timeline("hat: soon"), ["hat"], 5),
    "unknown cover": (timeline("cover: {at: 3 min, with: poliethylene-film}"),
                      ["polyethylene-film"], 5),
    "cover by a path": (timeline("cover: {at: 3 min, with: ../rooms/cold-room}"),
                        ["rooms|name|covers"], 5),
    "negative time for drying": (timeline("dry: {at: -5 min}"), ["before the birth"], 5),
    "negative end": (GOOD.replace("20 min", "-20 min"), ["until"], 2),
    "negative duration": (timeline("bolus: {at: 1 min, fluid: saline-0.9, volume: 10 mL/kg, over: -5 min}"),
                          ["over"], 5),
    "negative volume": (timeline("bolus: {at: 1 min, fluid: saline-0.9, volume: -10 mL/kg}"),
                        ["volume"], 5),
    "act after the end": (timeline("hat: {at: 2 h}"), ["after the end"], 5),
    "covered twice": (timeline("one: {act: cover, at: 1 min, with: none}",
                               "two: {act: cover, at: 3 min, with: none}"),
                      ["covered already", "one"], 6),
    "drainage without a tube": (timeline("drain: {at: 1 min}"), ["tube"], 5),
    "film laid out after birth": (timeline("lay-out-film: {at: 1 min}"), ["before the birth"], 5),
    "kinked and supported": (GOOD + "bowel: {kinked: true, supported: true}\n", ["kink"], 4),
    "hold of nothing": (timeline("hold: {at: 1 min, control: gravity, value: '1'}"), ["gravity"], 5),
    # -- based_on --
    "based on nothing": (GOOD + "based_on: nowhere.yaml\n", ["no file \"nowhere.yaml\"", "same folder"], 4),
    "based on itself": (GOOD + "based_on: case.yaml\n", ["circle|itself|loop"], 4),
    "based on an absolute path": (GOOD + "based_on: /etc/passwd\n", ["folder|leave|outside"], 4),
    "based on a path that climbs": (GOOD + "based_on: ../../etc/passwd\n",
                                    ["folder|leave|outside|no such file"], 4),
    "based on a folder": (GOOD + "based_on: .\n", ["folder|file"], 4),
    "based on a list": (GOOD + "based_on: [a.yaml]\n", ["based_on"], 4),
}

failures = []


def limits():
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def as_nobody():
    limits()
    os.setgroups([])
    os.setgid(65534)
    os.setuid(65534)


def run(folder, arguments, environment=None, before=limits):
    return subprocess.run(
        [PROGRAM, *map(os.fspath, arguments)], cwd=folder, timeout=SECONDS, preexec_fn=before,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, stdin=subprocess.DEVNULL,
        env={**os.environ, **(environment or {})})


def check(name, folder, arguments, code, words=(), line=None, environment=None, before=limits,
          file_name="case.yaml"):
    present = sorted(p.relative_to(folder) for p in folder.rglob("*"))
    try:
        done = run(folder, arguments, environment, before)
    except subprocess.TimeoutExpired:
        failures.append(f"{name}: not finished after {SECONDS} s")
        return
    said = done.stderr.decode("utf-8", "strict")
    if SHOW:
        print(f"== {name} ({done.returncode})\n{said[:700]}")
    if done.returncode != code:
        failures.append(f"{name}: exit code {done.returncode}, not {code}: {said[:300]!r}")
    if code == DONE:
        return
    left = sorted(p.relative_to(folder) for p in folder.rglob("*"))
    if left != present:
        failures.append(f"{name}: left behind {set(left) - set(present)}")
    if len(said) > 20000:
        failures.append(f"{name}: {len(said)} characters of message")
    if done.stdout:
        failures.append(f"{name}: printed {done.stdout[:80]!r} though it refused")
    if file_name and file_name not in said:
        failures.append(f"{name}: the message does not name the file: {said[:300]!r}")
    if line and f"{file_name}:{line}:" not in said:
        failures.append(f"{name}: the message does not name line {line}: {said[:300]!r}")
    for word in words:
        if not any(option in said for option in word.split("|")):
            failures.append(f"{name}: the message lacks {word!r}: {said[:300]!r}")
    if any(ord(c) < 32 and c != "\n" for c in said):
        failures.append(f"{name}: control characters reach the terminal")


def fresh(base, number):
    folder = base / f"w{number}"
    folder.mkdir()
    return folder


def broken_contents(base):
    for number, (name, (content, words, *line)) in enumerate(BROKEN.items()):
        folder = fresh(base, number)
        data = content if isinstance(content, bytes) else content.encode()
        (folder / "case.yaml").write_bytes(data)
        check(name, folder, ["run", "case.yaml"], REFUSED, words, *line)
        shutil.rmtree(folder)
    return len(BROKEN)


def broken_places(base):
    """What is wrong lies with the file system or the file's neighbours."""
    count = 0

    def place(name):
        nonlocal count
        count += 1
        return fresh(base, f"place{count}")

    folder = place("missing")
    check("missing file", folder, ["run", "case.yaml"], REFUSED, ["no such file"])

    folder = place("folder")
    (folder / "case.yaml").mkdir()
    check("a folder for a file", folder, ["run", "case.yaml"], REFUSED, ["folder"])

    folder = place("pipe")
    os.mkfifo(folder / "case.yaml")
    check("a pipe that nobody writes to", folder, ["run", "case.yaml"], REFUSED, ["no ordinary file"])

    folder = place("device")
    check("an endless device", folder, ["run", "/dev/zero"], REFUSED, ["no ordinary file"],
          file_name="/dev/zero")

    folder = place("dangling")
    (folder / "case.yaml").symlink_to("gone.yaml")
    check("a link to nothing", folder, ["run", "case.yaml"], REFUSED, ["no such file"])

    folder = place("link loop")
    (folder / "case.yaml").symlink_to("case.yaml")
    check("a link to itself", folder, ["run", "case.yaml"], REFUSED, ["cannot be opened"])

    folder = place("unreadable")
    (folder / "case.yaml").write_text(GOOD)
    (folder / "case.yaml").chmod(0)
    if os.geteuid() != 0:
        check("unreadable file", folder, ["run", "case.yaml"], REFUSED, ["permission"])
    else:
        folder.chmod(0o777)
        base.chmod(0o755)
        try:
            check("unreadable file", folder, ["run", "case.yaml"], REFUSED, ["permission"],
                  before=as_nobody)
        except (PermissionError, subprocess.SubprocessError):
            print("skipped: unreadable file (another user may not start the program here)")

    folder = place("circle of two")
    (folder / "case.yaml").write_text(GOOD + "based_on: other.yaml\n")
    (folder / "other.yaml").write_text("based_on: case.yaml\n")
    check("two files based on each other", folder, ["run", "case.yaml"], REFUSED, ["circle|itself"],
          file_name="other.yaml")

    folder = place("long chain")
    for i in range(20):
        (folder / f"c{i}.yaml").write_text(f"based_on: c{i + 1}.yaml\ntitle: A\n")
    (folder / "c20.yaml").write_text(GOOD)
    check("a chain of twenty files", folder, ["run", "c0.yaml"], REFUSED, ["based_on|chain"],
          file_name="c8.yaml")

    folder = place("link that leaves")
    (base / "secret.yaml").write_text(GOOD)
    (folder / "inner.yaml").symlink_to(base / "secret.yaml")
    (folder / "case.yaml").write_text("based_on: inner.yaml\n")
    check("based on a link that leaves the folder", folder, ["run", "case.yaml"], REFUSED,
          ["folder|leave|outside"], 1)

    folder = place("broken base")
    (folder / "base.yaml").write_text(GOOD + "baby: {weight: 2 stone}\n")
    (folder / "case.yaml").write_text("based_on: base.yaml\n")
    check("a fault in the base file", folder, ["run", "case.yaml"], REFUSED, ["stone"], 4,
          file_name="base.yaml")

    folder = place("second of two")
    (folder / "good.yaml").write_text(GOOD)
    (folder / "case.yaml").write_text(GOOD + "wet: perhaps\n")
    check("the second of two cases is broken", folder, ["compare", "good.yaml", "case.yaml"],
          REFUSED, ["perhaps"], 4)

    folder = place("set")
    (folder / "case.yaml").write_text(GOOD)
    for change in ("baby.weight", "baby.weight=", "=2 kg", "baby.wieght=2 kg", "baby.weight=2 stone",
                   "baby.weight=nan kg", "timeline.hat.at=[", "..=1", "baby.weight.x=1"):
        count += 1
        check(f"--set {change}", folder, ["run", "case.yaml", "--set", change], REFUSED,
              file_name=None)
    for more in (["--at", "soon"], ["--at", "-5 min"], ["--at", "nan h"], ["--until", "inf h"],
                 ["--models", "nowhere"]):
        count += 1
        check(" ".join(more), folder, ["run", "case.yaml", *more], REFUSED, file_name=None)
    for more in (["run"], ["run", "case.yaml", "--unknown"], ["compare", "case.yaml"], ["dance"], []):
        count += 1
        check(f"command line {more}", folder, more, USAGE, file_name=None)
    return count


def odd_but_right(base):
    """Odd names and places that must work."""
    names = ["with blank.yaml", "quote'and\".yaml", "new\nline.yaml", "Ærø-新生児-новорождённый.yaml",
             "-dash.yaml", "dot.in.name.yaml", "$(touch hacked).yaml", "=sum(A1).yaml", "x" * 200 + ".yaml",
             "no-ending"]
    for number, name in enumerate(names):
        folder = fresh(base, f"odd{number}")
        (folder / name).write_text(GOOD)
        check(f"file name {name!r}", folder, ["run", "./" + name], DONE)
        if not list(folder.glob("results/*/summary.csv")):
            failures.append(f"file name {name!r}: no results")
        if (folder / "hacked").exists():
            failures.append(f"file name {name!r}: was run as a command")
    folder = fresh(base, "bytes")
    with open(os.fsencode(folder) + b"/not-utf8-\xff.yaml", "w") as file:
        file.write(GOOD)
    check("file name that is not UTF-8", folder, ["run", b"not-utf8-\xff.yaml"], DONE)
    folder = fresh(base, "endings")
    (folder / "case.yaml").write_bytes(b"\xef\xbb\xbf" + GOOD.replace("\n", "\r\n").encode())
    check("byte order mark and line ends of another system", folder, ["run", "case.yaml"], DONE)
    return len(names) + 2


def decimal_comma(base):
    """The same numbers under a locale that writes 0,5."""
    if not shutil.which("localedef") or not os.path.isdir("/usr/share/i18n/locales"):
        print("skipped: decimal-comma locale (localedef or its sources are not installed)")
        return 0
    place = base / "locale"
    place.mkdir()
    made = subprocess.run(["localedef", "-i", "de_DE", "-f", "UTF-8", place / "de_DE.UTF-8"],
                          stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    if not (place / "de_DE.UTF-8").is_dir():
        print(f"skipped: decimal-comma locale (localedef ended with {made.returncode})")
        return 0
    texts = []
    for number, environment in enumerate(({"LC_ALL": "C"},
                                          {"LC_ALL": "de_DE.UTF-8", "LOCPATH": str(place)})):
        folder = fresh(base, f"comma{number}")
        (folder / "case.yaml").write_text(GOOD + "air: {humidity: 0.5}\nbaby: {weight: 2.5 kg}\n")
        check("decimal-comma locale", folder, ["run", "case.yaml", "--json"], DONE,
              environment=environment)
        texts.append([(p.name, p.read_bytes()) for p in sorted(folder.rglob("*"))
                      if p.is_file() and p.name != "log.txt"])
    if texts[0] != texts[1]:
        failures.append("decimal-comma locale: other bytes than in the plain locale")
    return 1


with tempfile.TemporaryDirectory() as name:
    base = pathlib.Path(name)
    broken = broken_contents(base) + broken_places(base)
    odd = odd_but_right(base) + decimal_comma(base)
print(f"{broken} broken inputs, {odd} odd ones, {len(failures)} failures")
for failure in failures:
    print("FAILED", failure)
sys.exit(1 if failures or broken < 60 else 0)
