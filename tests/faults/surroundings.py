#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""What lies around a command: sizes, links, torn files, a killed process, clocks, terminals.

Whatever it is, there is a clear error or a correct result, and never half a results folder that
looks whole. Usage: surroundings.py PROGRAM TEST
"""
import os
import pathlib
import pty
import random
import resource
import select
import shutil
import signal
import subprocess
import tempfile
import time

import batch_tools
from batch_tools import (CAUTION, DONE, NOT_WRITTEN, REFUSED, check_same, contents, main, run, start,
                         study, sweep)

CASE = "title: A case\nuntil: 20 min\nreport_at: [20 min]\n"
STUDY = """
title: A batch
arms: {exposed: {case: exposed}, wrapped: {case: wrapped}}
%s
design: {kind: random, runs: %d, seed: 5}
outputs: [bowel_evaporation]
times: [20 min]
"""
VARIED = "vary: {baby.weight: {law: uniform, from: 2 kg, to: 3 kg}}"
CASES = pathlib.Path(__file__).resolve().parents[2] / "models" / "cases"
EXPOSED, WRAPPED = CASES / "exposed.yaml", CASES / "wrapped.yaml"
MEMORY = 1 << 30  # bytes of address space


def little_memory():
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))


def refused(place, *arguments, words=(), code=REFUSED, **options):
    """Refused in words; nothing written."""
    before = sorted(p.name for p in place.rglob("*"))
    out, told = run(*arguments, code=code, cwd=place, **options)
    assert not out, out
    for word in words:
        assert word in told, (word, told)
    assert len(told) < 20_000, len(told)
    assert sorted(p.name for p in place.rglob("*")) == before
    return told


def sizes(place):
    """A file of a gigabyte; a million acts."""
    huge = place / "huge.yaml"
    with open(huge, "wb") as file:
        file.write(CASE.encode())
        file.truncate(1 << 30)
    commands = (["run", "huge.yaml"], ["compare", "huge.yaml", "huge.yaml"],
                ["sweep", "huge.yaml"], ["plan", "huge.yaml"], ["validate", "huge.yaml"],
                ["review", "huge.yaml"], ["sensitivity", "huge.yaml"], ["target", "huge.yaml"],
                ["fit", "huge.yaml", "huge.yaml"], ["lesson", "--add", "huge.yaml"])
    for command in commands:
        begin = time.monotonic()
        refused(place, *command, words=["huge.yaml", "larger than"], preexec_fn=little_memory)
        assert time.monotonic() - begin < 20, command
    huge.unlink()
    acts = "".join(f"  a{i}: {{act: hat, at: {i % 19} min}}\n" for i in range(1_000_000))
    (place / "many.yaml").write_text(CASE + "timeline:\n" + acts)
    refused(place, "run", "many.yaml", words=["many.yaml", "larger than"], preexec_fn=little_memory)
    # As many as the size allows are refused for what they are, not for want of memory.
    (place / "many.yaml").write_text(CASE + "timeline:\n" + acts[:4_000_000].rsplit("\n", 1)[0])
    refused(place, "run", "many.yaml", words=["many.yaml", "more than"], preexec_fn=little_memory)


def links(place):
    """No name in a file leads out of its folder, neither by `..` nor by a link."""
    (place / "secret.yaml").write_text(CASE)
    (place / "secret.csv").write_text("weight [g]\n2500\n2600\n")
    (place / "inside").mkdir()
    inside = place / "inside"
    for kind in ("yaml", "csv"):
        (inside / f"link.{kind}").symlink_to(place / f"secret.{kind}")
    for name in ("../secret.yaml", "link.yaml", str(place / "secret.yaml")):
        (inside / "case.yaml").write_text(f"based_on: {name}\n")
        refused(inside, "run", "case.yaml", words=["case.yaml:1", "outside the folder"])
        (inside / "case.yaml").write_text(CASE + f"protocol: {name}\n")
        refused(inside, "run", "case.yaml", words=["case.yaml:4", "outside the folder"])
        text = STUDY.replace("case: exposed", f"case: {name}") % (VARIED, 8)
        (inside / "study.yaml").write_text(text)
        refused(inside, "sweep", "study.yaml", words=["study.yaml:3", "outside the folder"])
    for name in ("../secret.csv", "link.csv", str(place / "secret.csv")):
        law = f"vary: {{baby.weight: {{law: empirical, file: {name}, column: 'weight [g]'}}}}"
        (inside / "study.yaml").write_text(STUDY % (law, 8))
        refused(inside, "sweep", "study.yaml", words=["study.yaml:4", "outside the folder"])
    # What somebody types may lie anywhere.
    protocol = CASES.parent / "protocols" / "albumin-by-trigger.yaml"
    shutil.copy(protocol, place / "plan.yaml")
    run("run", CASES / "followed.yaml", "--set", "protocol=../plan.yaml", "--quiet", "--out", "typed",
        cwd=inside)
    shutil.rmtree(inside / "typed")
    (place / "plan.yaml").unlink()
    # Names of arms and cases become names of files.
    for name in ("../out", "a/b", "..", "."):
        text = STUDY.replace("exposed:", f"'{name}':") % (VARIED, 8)
        (inside / "study.yaml").write_text(text)
        process = start("sweep", "study.yaml", "--out", "batch", "--quiet", cwd=inside)
        _, told = process.communicate(timeout=60)
        assert process.returncode in (DONE, REFUSED), (name, process.returncode, told)
        assert sorted(p.name for p in place.iterdir()) == ["inside", "secret.csv", "secret.yaml"]
        shutil.rmtree(inside / "batch", ignore_errors=True)
    # A results folder from a stranger: a name in it leads nowhere else.
    import netCDF4

    inside.joinpath("case.yaml").write_text(CASE)
    run("compare", "case.yaml", "case.yaml", "--out", "pair", cwd=inside)
    with netCDF4.Dataset(inside / "pair" / "series.nc", "a") as file:
        name = file["case"]
        name[0] = "../../../secret" if name.dtype is str else list("../../../secret")
    refused(inside, "page", "pair", words=["no plain name"])


def torn(place):
    """NetCDF files cut at every 4 KiB: the page is refused, and what was there stays."""
    (place / "case.yaml").write_text(CASE)
    run("compare", "case.yaml", WRAPPED, "--until", "1 h", "--at", "1 h", "--out", "pair",
        cwd=place)
    sweep(study(place, STUDY % (VARIED, 600)), place / "batch")
    cuts = 0
    for folder, name in (("pair", "series.nc"), ("batch", "runs.nc")):
        path = place / folder / name
        whole, page = path.read_bytes(), (place / folder / "report.html").read_bytes()
        before = sorted(contents(place / folder))
        # The last piece may be nothing but padding; a byte less than the whole is cut, too.
        for size in [*range(0, len(whole), 4096), len(whole) - 1]:
            path.write_bytes(whole[:size])
            _, told = run("page", place / folder, code=REFUSED, preexec_fn=little_memory)
            assert name in told or folder in told, told
            assert (place / folder / "report.html").read_bytes() == page
            assert sorted(contents(place / folder)) == before
            cuts += 1
        # Every page of the file overwritten in turn: refused, or a page of what can still be read.
        chance = random.Random(1)
        for at in range(0, len(whole), 4096):
            bent = bytearray(whole)
            bent[at:at + 64] = chance.randbytes(64)
            path.write_bytes(bent)
            process = start("page", place / folder, preexec_fn=little_memory)
            _, told = process.communicate(timeout=60)
            assert process.returncode in (DONE, REFUSED), (at, process.returncode, told)
            assert sorted(contents(place / folder)) == before
        path.write_bytes(whole)
        run("page", place / folder)
        assert (place / folder / "report.html").read_bytes() == page
    assert cuts > 20, cuts
    print(f"{cuts} cuts refused")


def tables(place):
    """CSV files with missing columns, ragged rows, no rows."""
    (place / "fit.yaml").write_text("title: A fit\ncase: exposed\nvary: {parameters.spread: published}\n"
                                    "errors: {weight: {sd: 1 g}}\n")
    for text, word in (("", "data.csv"), ("time [h]\n1\n", "data.csv:1"),
                       ("weight [g]\n2500\n", "time"), ("time [h],weight [g]\n", "data.csv"),
                       ("time [h],weight [g]\n1,2500\n2\n", "data.csv:3"),
                       ("time [h],weight [g]\n1,2500,7\n", "data.csv:2"),
                       ("time [h],wieght [g]\n1,2500\n", "weight"),
                       ("time [h],weight\n1,2500\n", "data.csv:1"),
                       ("time [h],weight [degC]\n1,2500\n", "data.csv:1"),
                       ("time [h],weight [g]\n1,\"2500\n", "data.csv"),
                       ("time [h],weight [g]\n1,2,500\n", "data.csv:2"),
                       ("time [h],weight [g]\nsoon,2500\n", "data.csv:2")):
        (place / "data.csv").write_text(text)
        refused(place, "fit", "fit.yaml", "data.csv", words=[word])
    law = "vary: {baby.weight: {law: empirical, file: data.csv, column: 'weight [g]'}}"
    study(place, STUDY % (law, 8))
    for text in ("", "weight [g]\n", "height [cm]\n50\n", "weight [g]\nheavy\n",
                 "age [d],weight [g]\n1\n", "weight [degC]\n2500\n", "weight [g]\n1e300\n"):
        (place / "data.csv").write_text(text)
        refused(place, "sweep", "trial.yaml", words=["data.csv"])


def killed(place):
    """`compare` killed at random moments: the folder is whole or marked, and is not taken for whole.
    """
    command = ["compare", EXPOSED, WRAPPED, "--quiet", "--out"]
    begin = time.monotonic()
    run(*command, place / "whole")
    seconds = time.monotonic() - begin
    names, chance, marked = sorted(contents(place / "whole")), random.Random(20261125), 0
    for trial in range(40):
        folder = place / f"trial{trial}"
        process = start(*command, folder)
        time.sleep(chance.uniform(0, 1.1 * seconds))
        process.send_signal(signal.SIGKILL)
        process.communicate()
        if not folder.exists():
            continue
        if (folder / "UNFINISHED").exists():
            marked += 1
            _, told = run("page", folder, code=REFUSED)
            assert "unfinished" in told, told
        else:
            # The page is made last, from the data beside it.
            if not (folder / "report.html").exists():
                run("page", folder)
            check_same(folder, place / "whole")
            assert names == sorted(contents(folder))
        assert not list(folder.rglob("*.part")) or (folder / "UNFINISHED").exists()
    print(f"{marked} of 40 left unfinished and marked; undisturbed it takes {seconds:.2f} s")


def removed(place):
    """The folder goes while a batch is written into it; the place may not be written to."""
    path = study(place, STUDY % (VARIED, 20_000))
    process = start("sweep", path, "--out", place / "batch", "--quiet", "--threads", "1")
    while not (place / "batch" / "journal").exists():
        assert process.poll() is None
        time.sleep(0.002)
    time.sleep(0.1)
    shutil.rmtree(place / "batch")
    process.send_signal(signal.SIGSTOP)
    process.send_signal(signal.SIGCONT)
    _, told = process.communicate(timeout=300)
    assert process.returncode == NOT_WRITTEN, (process.returncode, told)
    assert "batch" in told and not (place / "batch" / "manifest.json").exists(), told
    if os.geteuid() != 0:
        return None
    # Read-only, as a mount: the superuser may write everywhere else.
    disk = place / "disk"
    disk.mkdir()
    if subprocess.run(["mount", "-t", "tmpfs", "-o", "ro", "tmpfs", disk],
                      stderr=subprocess.DEVNULL).returncode != 0:
        print("the read-only place was left out: this machine lets nobody mount")
        return None
    try:
        (place / "case.yaml").write_text(CASE)
        for command in (["run", place / "case.yaml"], ["sweep", study(place, STUDY % (VARIED, 8))]):
            _, told = run(*command, "--out", disk / "results", code=NOT_WRITTEN)
            assert "disk" in told, told
        _, told = run("run", place / "case.yaml", code=NOT_WRITTEN, cwd=disk)
        assert "results" in told, told
    finally:
        subprocess.run(["umount", disk], check=True)
    return None


def clock(place):
    """The clock goes backwards, before and while a batch runs: the same bytes."""
    if not shutil.which("faketime"):
        return "there is no faketime to turn the clock"
    path = study(place, STUDY % (VARIED, 20_000))
    sweep(path, place / "reference", "--threads", 1)
    folder = place / "batch"
    process = start("sweep", path, "--out", folder, "--quiet", "--threads", "1")
    while not (folder / "journal").exists() or (folder / "journal").stat().st_size < 20_000:
        assert process.poll() is None
        time.sleep(0.002)
    process.send_signal(signal.SIGKILL)
    process.communicate()
    # Ten years back from when it began, and then, by steps, further back. (A steady clock does not.)
    stamp = place / "stamp"
    stamp.write_text("-3650d")
    environment = dict(os.environ, FAKETIME_TIMESTAMP_FILE=str(stamp), FAKETIME_NO_CACHE="1",
                       LD_PRELOAD="/usr/lib/x86_64-linux-gnu/faketime/libfaketimeMT.so.1",
                       FAKETIME_DONT_FAKE_MONOTONIC="1")
    process = subprocess.Popen([batch_tools.PROGRAM, "sweep", path, "--out", folder, "--threads", "1"],
                               env=environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
                               text=True)
    days = 3650
    while process.poll() is None:
        days += 1
        (place / "next").write_text(f"-{days}d")
        os.replace(place / "next", stamp)
        try:
            process.wait(0.01)
        except subprocess.TimeoutExpired:
            pass
        assert days < 20_000, "it does not end"
    told = process.communicate()[1]
    assert process.returncode == DONE, (process.returncode, told)
    assert days > 3655, days
    check_same(folder, place / "reference")
    return None


def on_terminal(arguments, columns, rows, place):
    """What a command prints on a terminal of that size."""
    import fcntl
    import struct
    import termios

    leader, follower = pty.openpty()
    fcntl.ioctl(follower, termios.TIOCSWINSZ, struct.pack("HHHH", rows, columns, 0, 0))
    process = subprocess.Popen([batch_tools.PROGRAM, *map(str, arguments)], cwd=place,
                               stdin=follower, stdout=follower, stderr=follower)
    os.close(follower)
    printed = b""
    while True:
        ready, _, _ = select.select([leader], [], [], 60)
        try:
            piece = os.read(leader, 65536) if ready else b""
        except OSError:
            piece = b""
        if not piece:
            break
        printed += piece
    os.close(leader)
    assert process.wait(60) == 0, printed
    return printed.decode().replace("\r\n", "\n")


def surroundings(place):
    """No home, no environment at all, LC_ALL=C, 80 columns, no terminal: the same numbers."""
    (place / "case.yaml").write_text(CASE + "note: Ærø, 新生児\n")
    bare = {"PATH": "/usr/bin:/bin"}
    plain = dict(bare, LC_ALL="C", HOME="/nowhere")
    for number, environment in enumerate((None, bare, plain, {})):
        done = subprocess.run([batch_tools.PROGRAM, "run", "case.yaml", "--out", f"out{number}"],
                              cwd=place, env=environment, capture_output=True, check=True,
                              stdin=subprocess.DEVNULL)
        assert CAUTION.encode() in done.stdout, done.stdout
        assert b"\x1b" not in done.stdout and b"\r" not in done.stdout + done.stderr
        if number:
            check_same(place / f"out{number}", place / "out0")
    # Closed standard streams: nothing of theirs may land in a file of the results.
    closed = subprocess.run(f"'{batch_tools.PROGRAM}' run case.yaml --out closed <&- >&- 2>&-",
                            shell=True, cwd=place, check=False)
    assert closed.returncode == DONE, closed.returncode
    check_same(place / "closed", place / "out0")
    try:
        os.close(pty.openpty()[0])
    except OSError:
        print("left out: this place has no terminals")
        return
    for arguments in (["run", "case.yaml"], ["compare", EXPOSED, WRAPPED, "--at", "1 h, 6 h"],
                      ["--help"], ["run", "--help"], ["review", "--help"], ["explain", "spread"],
                      ["plan", study(place, STUDY % (VARIED, 8))]):
        for line in on_terminal(arguments, 80, 24, place).split("\n"):
            shown = line.split("\r")[-1]
            assert "\x1b" not in shown.replace("\x1b[K", ""), (arguments, shown)
            # What a command answers is as wide as a page; help is left to the terminal.
            assert len(shown) <= 100 or str(place) in shown or "--help" in arguments, shown


def names(place):
    """Names with blanks, quotes, line ends and other scripts, for studies, arms and results."""
    for number, name in enumerate(("with blank", "quote'and\"", "new\nline", "Ærø-新生児", "-dash",
                                   "$(touch hacked)", "=sum(A1)", "x" * 200)):
        folder = place / str(number)
        folder.mkdir()
        text = STUDY % (VARIED, 16)
        (folder / f"{name}.yaml").write_text(text)
        run("sweep", f"./{name}.yaml", "--out", f"./{name} out", "--quiet", cwd=folder)
        assert (folder / f"{name} out" / "report.html").exists()
        run("page", f"./{name} out", cwd=folder)
        assert not list(place.rglob("hacked"))
    for number, name in enumerate(("with blank", "quote'and", 'two"quotes', "Ærø 新生児", "-dash",
                                   "$(touch hacked)", "=sum(A1)", "<b>bold</b>", "x" * 300)):
        escaped = name.replace("'", "''")
        text = STUDY.replace("exposed:", f"'{escaped}':") % (VARIED, 16)
        path = study(place, text, f"arm{number}.yaml")
        process = start("sweep", path, "--out", place / f"arm{number}", "--quiet")
        _, told = process.communicate(timeout=60)
        assert process.returncode in (DONE, REFUSED), (name, process.returncode, told)
        if process.returncode == DONE:
            assert (place / f"arm{number}" / "manifest.json").exists()
        else:
            assert f"arm{number}.yaml" in told and not (place / f"arm{number}").exists(), told
        assert not list(place.rglob("hacked"))


if __name__ == "__main__":
    with tempfile.TemporaryDirectory(prefix="serosa-surroundings-") as scratch:
        main({"sizes": sizes, "links": links, "torn": torn, "tables": tables, "killed": killed,
              "removed": removed, "clock": clock, "surroundings": surroundings, "names": names},
             scratch)
