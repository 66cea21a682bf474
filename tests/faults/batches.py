#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Nothing of a batch is lost: kill -9, a full disk, a dead rank, two at once, a damaged journal.

Usage: batches.py PROGRAM TEST
"""
import os
import random
import signal
import subprocess
import tempfile
import time

from batch_tools import (INTERRUPTED, NOT_WRITTEN, check_same, children, main, mpirun, ranks,
                         remove, run, start, study, sweep)

# Some seconds on one thread, with all that a batch can write.
STUDY = """
title: A batch that is disturbed
arms:
  exposed: {case: exposed}
  wrapped: {case: wrapped}
cohort: gastroschisis
design: {kind: latin-hypercube, runs: %d, seed: 5}
outputs: [bowel_evaporation, external_deficit, core_temperature]
times: [30 min, 2 h]
series: {every: 10 min, all_runs: true}
bands: {cold: {output: core_temperature, below: 36.5 degC}}
"""


def undisturbed(place, babies):
    path = study(place, STUDY % babies)
    begin = time.monotonic()
    sweep(path, place / "reference", "--threads", 1)
    return path, place / "reference", time.monotonic() - begin


def whole(folder):
    """A batch that was killed after its last file, before or while its journals went."""
    return all((folder / name).exists() for name in ("manifest.json", "report.html"))


def finish(folder, reference):
    """The journals of a batch killed at its very end may be left; the rest is as undisturbed."""
    for journal in folder.glob("journal*"):
        journal.unlink()
    check_same(folder, reference)


def killed(place):
    """Killed 50 times at random moments, begun again each time: the same bytes in the end."""
    path, reference, seconds = undisturbed(place, 2000)
    chance = random.Random(20261125)
    kills = finished = kills_of_this = most = 0
    folder = place / "killed"
    while kills < 50:
        was_whole = whole(folder)
        process = start("sweep", path, "--out", folder, "--quiet", "--threads", 1)
        try:
            process.communicate(timeout=chance.uniform(0, min(0.5 * seconds, 0.8)))
        except subprocess.TimeoutExpired:
            process.send_signal(signal.SIGKILL)
            process.communicate()
            kills, kills_of_this = kills + 1, kills_of_this + 1
            continue
        if not (process.returncode == NOT_WRITTEN and was_whole):
            assert process.returncode == 0, process.returncode
        finish(folder, reference)
        remove(folder)
        finished, most, kills_of_this = finished + 1, max(most, kills_of_this), 0
    if not whole(folder):
        sweep(path, folder, "--threads", 2)
    finish(folder, reference)
    print(f"{kills} kills over {finished + 1} batches, up to {max(most, kills_of_this)} in one; "
          f"undisturbed it takes {seconds:.1f} s")


def disk_full(place):
    """A disk too small for the journal, and one too small for the results."""
    if os.geteuid() != 0:
        return "a small disk can only be mounted by root"
    disk = place / "disk"
    disk.mkdir()
    if subprocess.run(["mount", "-t", "tmpfs", "-o", "size=64k", "tmpfs", str(disk)],
                      stderr=subprocess.DEVNULL).returncode != 0:
        return "this machine does not let root mount a small disk"
    try:
        path, reference, _ = undisturbed(place, 400)
        folder, refusals = disk / "batch", 0
        for kilobytes in (64, 300, 600, 900, 1200, 1500, 1800, 2100):
            subprocess.run(["mount", "-o", f"remount,size={kilobytes}k", str(disk)], check=True)
            process = start("sweep", path, "--out", folder, "--quiet")
            _, told = process.communicate(timeout=120)
            if process.returncode == 0:
                break
            assert process.returncode == NOT_WRITTEN, (process.returncode, told)
            if "the page was not written" in told:
                subprocess.run(["mount", "-o", "remount,size=64m", str(disk)], check=True)
                run("page", folder)
                break
            assert "journal" in told or "cannot write" in told, told
            assert not list(folder.rglob("*.part")), "something half-written was left"
            refusals += 1
        else:
            subprocess.run(["mount", "-o", "remount,size=64m", str(disk)], check=True)
            sweep(path, folder)
        assert refusals >= 3, refusals
        check_same(folder, reference)
        print(f"refused {refusals} times, then finished")
    finally:
        subprocess.run(["umount", str(disk)], check=True)


def second_refused(place):
    """Two processes on one folder: the second is refused, the first is not disturbed."""
    path, reference, _ = undisturbed(place, 1500)
    folder = place / "both"
    first = start("sweep", path, "--out", folder, "--quiet", "--threads", 1)
    while not (folder / "journal").exists():
        time.sleep(0.002)
        assert first.poll() is None
    # Stopped, so that it can't finish before the second has tried.
    time.sleep(0.05)
    first.send_signal(signal.SIGSTOP)
    _, told = sweep(path, folder, code=NOT_WRITTEN)
    assert "another serosa is at work in this folder" in told, told
    first.send_signal(signal.SIGCONT)
    out, told = first.communicate(timeout=120)
    assert first.returncode == 0, told
    check_same(folder, reference)
    # A finished batch is not overwritten.
    _, told = sweep(path, folder, code=NOT_WRITTEN)
    assert "finished batch" in told, told
    check_same(folder, reference)


def damaged(place):
    """A bit of the journal flipped: it is said, the block is computed again, the bytes are right.
    """
    path, reference, _ = undisturbed(place, 400)
    folder = place / "damaged"
    process = start("sweep", path, "--out", folder, "--quiet", "--threads", 1)
    journal = folder / "journal"
    while not journal.exists() or journal.stat().st_size < 200_000:
        assert process.poll() is None, "it was too fast to be stopped"
        time.sleep(0.001)
    process.send_signal(signal.SIGKILL)
    process.communicate()
    bytes_ = bytearray(journal.read_bytes())
    bytes_[60_000] ^= 4
    journal.write_bytes(bytes_)
    _, told = sweep(path, folder)
    assert "is damaged: 1 of its blocks" in told and "computed again" in told, told
    check_same(folder, reference)
    # Another study does not go on with it.
    remove(folder)
    process = start("sweep", path, "--out", folder, "--quiet", "--threads", 1)
    while not journal.exists() or journal.stat().st_size < 5000:
        assert process.poll() is None
        time.sleep(0.001)
    process.send_signal(signal.SIGKILL)
    process.communicate()
    other = study(place, (STUDY % 400).replace("seed: 5", "seed: 6"), "other.yaml")
    _, told = sweep(other, folder, code=NOT_WRITTEN)
    assert "belongs to another study" in told, told


def interrupted(place):
    """Ctrl-C: it stops cleanly, says how to go on, and going on ends with the same bytes."""
    path, reference, _ = undisturbed(place, 1500)
    folder = place / "a folder"
    process = start("sweep", path, "--out", folder, "--quiet", "--threads", 1)
    while not (folder / "journal").exists() or (folder / "journal").stat().st_size < 200_000:
        assert process.poll() is None
        time.sleep(0.002)
    process.send_signal(signal.SIGINT)
    _, told = process.communicate(timeout=60)
    assert process.returncode == INTERRUPTED, (process.returncode, told)
    again = f"serosa sweep {path} --out '{folder}'"
    assert "what was finished is kept" in told and again in told, told
    kept = (folder / "journal").stat().st_size
    out, told = run("sweep", path, "--out", folder)
    assert "going on in" in told and kept >= 200_000, told
    check_same(folder, reference)


def rank_dies(place):
    """A rank is killed: mpirun ends the job, and with other ranks it goes on to the same bytes."""
    if not mpirun():
        return "there is no mpirun, or serosa was built without MPI"
    path, reference, _ = undisturbed(place, 6000)
    folder = place / "ranks"
    for victim in (2, 0):
        process = start("sweep", path, "--out", folder, "--quiet", before=ranks(3))
        journal, size = folder / "journal", 0
        if journal.exists():
            size = journal.stat().st_size
        while not journal.exists() or journal.stat().st_size < size + 20_000:
            assert process.poll() is None, process.communicate()
            time.sleep(0.002)
        mine = sorted(children(process.pid))
        assert len(mine) == 3, mine
        os.kill(mine[victim], signal.SIGKILL)
        process.communicate(timeout=120)
        assert process.returncode != 0
        assert not (folder / "manifest.json").exists()
    sweep(path, folder, before=ranks(2))
    check_same(folder, reference)


if __name__ == "__main__":
    with tempfile.TemporaryDirectory(prefix="serosa-batches-") as scratch:
        main({"killed": killed, "disk-full": disk_full, "second-refused": second_refused,
              "damaged": damaged, "interrupted": interrupted, "rank-dies": rank_dies}, scratch)
