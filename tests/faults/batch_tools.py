# SPDX-License-Identifier: Apache-2.0
"""What the tests of batches share: the program, studies, folders compared byte by byte."""
import os
import pathlib
import shutil
import subprocess
import sys

DONE, REFUSED, RUN_FAILED, NOT_WRITTEN, INTERRUPTED = 0, 3, 4, 5, 8
SKIPPED = 77

PROGRAM = pathlib.Path(sys.argv[1]) if len(sys.argv) > 1 else None
CAUTION = ("For teaching and review. Not dosing advice. Follow local protocols and licensed "
           "clinicians.")


def study(place, text, name="trial.yaml"):
    path = place / name
    path.write_text(text)
    return path


def start(*arguments, before=(), **options):
    """The program, with `before` in front of it (mpirun and its options)."""
    environment = dict(os.environ, OMPI_ALLOW_RUN_AS_ROOT="1", OMPI_ALLOW_RUN_AS_ROOT_CONFIRM="1")
    return subprocess.Popen([*before, str(PROGRAM), *map(str, arguments)], stdout=subprocess.PIPE,
                            stderr=subprocess.PIPE, text=True, env=environment, **options)


def run(*arguments, code=DONE, before=(), timeout=300, **options):
    """Runs it to its end; what it printed and what it complained about."""
    process = start(*arguments, before=before, **options)
    out, err = process.communicate(timeout=timeout)
    assert process.returncode == code, (arguments, process.returncode, out, err)
    return out, err


def sweep(path, folder, *more, **options):
    return run("sweep", path, "--out", folder, "--quiet", *more, **options)


def contents(folder):
    """Every file but the log, which tells of date, host and duration."""
    found = {}
    for path in sorted(folder.rglob("*")):
        if path.is_file() and path.name != "log.txt":
            found[str(path.relative_to(folder))] = path.read_bytes()
    return found


def check_same(folder, reference):
    """The same files with the same bytes, and nothing left over."""
    ours, theirs = contents(folder), contents(reference)
    assert sorted(ours) == sorted(theirs), (sorted(ours), sorted(theirs))
    for name in ours:
        assert ours[name] == theirs[name], f"{name} differs"


def remove(folder):
    shutil.rmtree(folder, ignore_errors=True)


def mpirun():
    """mpirun, when it and the part of serosa that speaks MPI are there."""
    found = shutil.which("mpirun")
    return found if found and (PROGRAM.parent / "serosa_mpi.so").exists() else None


def ranks(number):
    return [mpirun(), "--oversubscribe", "-n", str(number)]


def children(process):
    """The processes that another one started."""
    found = []
    for task in pathlib.Path(f"/proc/{process}/task").glob("*"):
        try:
            found += [int(word) for word in (task / "children").read_text().split()]
        except OSError:
            pass
    return found


def main(tests, scratch):
    """Runs the test named on the command line, in a scratch folder of its own."""
    chosen = sys.argv[2]
    place = pathlib.Path(scratch)
    answer = tests[chosen](place)
    if isinstance(answer, str):
        print("skipped:", answer)
        sys.exit(SKIPPED)
    print(f"{chosen}: good")
