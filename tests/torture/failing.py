"""Every call of the system that writes a file is made to fail, one after the other, in every command that writes.

    python tests/torture/failing.py                  # all cases: some hours
    python tests/torture/failing.py note export      # these two
    python tests/torture/failing.py --every 10       # every tenth call

`tests/support/failing_calls.c` is built and preloaded. Each try is a process forked from this one, which has loaded
everything; it works in a folder of its own. Afterwards: what was there stays or is replaced by something whole, the
log keeps its earlier shots, the message names the file and a cure, and nothing is called a bug in Beamfall.
Prints a line for each finding and the number of calls tried; status 1 when there is a finding.
"""

from __future__ import annotations

import argparse
import contextlib
import ctypes
import errno
import gc
import io
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Iterable, Iterator
from pathlib import Path

HERE = Path(__file__).resolve().parent
SOURCE = HERE.parent / "support" / "failing_calls.c"
sys.path[:0] = [str(HERE.parent / "support"), str(HERE.parents[1] / "host")]

from failing_cases import CASES, Case, leave  # noqa: E402
from failing_page import ask_page  # noqa: E402
from filled_folder import fill_folder  # noqa: E402

from beamfall.fault_report import BUG  # noqa: E402
from beamfall.photos.camera import VIRTUAL  # noqa: E402
from beamfall.shots import ShotLog  # noqa: E402

KILL = 0
# Error number, and whether all later calls fail too: a full disk stays full.
FAULTS = (
    (errno.ENOSPC, True),
    (errno.ENOSPC, False),
    (errno.EIO, False),
    (errno.EROFS, True),
    (errno.EACCES, False),
    (KILL, False),
)
_CURES = (
    "make room",
    "choose",
    "rights",
    "read-only",
    "set BEAMFALL_LOG",
    "copy what you need",
    "try again",
    "close",
)


# -- a folder to work in ---------------------------------------------------------------------------------------
def make_template(folder: Path, names: Iterable[str]) -> None:
    """A log of two shots, and an old version of every file that these cases write."""
    fill_folder(folder)
    for case in (CASES[name] for name in names):
        for name in case.files:
            if not (folder / name).exists():
                assert _make_once(case, folder) == 0, case
    with contextlib.closing(sqlite3.connect(folder / "shots.sqlite3")) as log:
        log.execute("PRAGMA wal_checkpoint(TRUNCATE)")


def _make_once(case: Case, folder: Path) -> int:
    """Run a command once in this process to load what it needs, unless it changes the program first."""
    from beamfall.cli import main

    if case.prepare is not leave:
        return run_case(Shim(), case, folder, -1, 0, persists=False)[0]
    quiet = contextlib.redirect_stdout(io.StringIO())
    with quiet, contextlib.redirect_stderr(io.StringIO()), _inside(folder):
        return main(list(case.arguments))


@contextlib.contextmanager
def _inside(folder: Path) -> Iterator[None]:
    before = Path.cwd()
    os.chdir(folder)
    os.environ.update(
        {"BEAMFALL_LOG": str(folder / "shots.sqlite3"), VIRTUAL: str(folder / "card")}
    )
    try:
        yield
    finally:
        os.chdir(before)


# -- one try ---------------------------------------------------------------------------------------------------
class Shim:
    """The preloaded library."""

    def __init__(self) -> None:
        self._library = ctypes.CDLL(None)

    def arm(self, folder: Path, at: int, number: int, *, persists: bool) -> None:
        self._library.failing_calls_arm(
            str(folder).encode(), ctypes.c_long(at), number, int(persists)
        )

    def count(self) -> int:
        return int(self._library.failing_calls_count())


def run_case(
    shim: Shim, case: Case, folder: Path, at: int, number: int, persists: bool
) -> tuple[int, str, int]:
    """Fork and run; return the status, what was printed, and how many calls were made."""
    with tempfile.TemporaryFile() as said, tempfile.NamedTemporaryFile() as counted:
        child = os.fork()
        if child == 0:
            if case.program:
                told = (at, number, int(persists), case.program, counted.name, folder)
                os.environ["FAILING_CALLS"] = " ".join(map(str, told))
            _run_in_child(shim, case, folder, at, number, persists, said.fileno(), counted.fileno())
        status = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
        said.seek(0)
        counted.seek(0)
        return status, said.read().decode("utf-8", "replace"), int(counted.read() or b"0")


def _run_in_child(
    shim: Shim,
    case: Case,
    folder: Path,
    at: int,
    number: int,
    persists: bool,
    said: int,
    counted: int,
) -> None:
    from beamfall.cli import main

    status = 99
    try:
        case.prepare()
        os.dup2(said, 2)
        os.dup2(said if case.program else os.open(os.devnull, os.O_WRONLY), 1)
        sys.stdin = open(os.devnull)  # noqa: SIM115
        with _inside(folder):

            def arm() -> None:
                if case.program:
                    return
                shim.arm(folder, at, number, persists=persists)

            if case.requests:
                status = ask_page(case.requests, arm)
            else:
                arm()
                status = main(list(case.arguments))
            if not case.program:
                os.write(counted, str(shim.count()).encode())
    except BaseException as error:
        os.write(2, f"Traceback: {error!r}".encode())
    finally:
        os._exit(status)


# -- what must hold --------------------------------------------------------------------------------------------
def judge(
    case: Case, folder: Path, template: Path, status: int, said: str, number: int
) -> Iterator[str]:
    """What is wrong after an attempt, in words."""
    killed = status == -signal.SIGKILL
    if status not in (0, 1, 2) and not killed:
        yield f"status {status}"
    is_fault = BUG in said
    if (
        "Traceback" in said
        or is_fault != (case.is_broken and not killed)
        or "Exception ignored" in said
    ):
        yield "not an error for people"
    names = (
        *case.files,
        *(Path(name).parent.name for name in case.files),
        "shots.sqlite3",
        "shots.recipes",
        "shots.photos",
        *case.arguments,
    )
    if case.program:
        pictures = [*(folder / "shots.photos").glob("[!.]*.jpg")]
        if not all(case.whole(one.read_bytes()) for one in pictures):
            yield "a picture is not whole"
        has_cure = number == KILL or any(cure in said for cure in _CURES)
        if not pictures and not ("no picture" in said and "card" in said and has_cure):
            yield "a picture is missing, and nobody is told where it is and what to do"
    for left in (folder / "faults").glob("fault-*"):
        if not case.whole(left.read_bytes()):
            yield f"{left.name} is not whole"
    if status in (1, 2) and not case.is_broken:
        if not any(name and name in said for name in names):
            yield "no file is named"
        if not any(cure in said for cure in _CURES):
            yield "no cure"
    for name in case.files:
        old, file = (template / name).read_bytes(), folder / name
        if not file.exists():
            if not case.is_first:
                yield f"{name} is gone"
        elif file.read_bytes() != old and not case.whole(file.read_bytes()):
            yield f"{name} is neither the old one nor whole"
        elif (
            status == 0
            and number not in (errno.EACCES, errno.EIO)
            and not case.whole(file.read_bytes())
        ):
            yield f"{name} is not whole"
    yield from _judge_log(folder / "shots.sqlite3", template / "shots.sqlite3")


def _judge_log(log: Path, before: Path) -> Iterator[str]:
    with contextlib.closing(sqlite3.connect(log)) as database:
        found = database.execute("PRAGMA integrity_check").fetchone()[0]
    if found != "ok":
        yield f"the log: {found}"
        return
    with ShotLog.open(log, read_only=True) as now, ShotLog.open(before, read_only=True) as old:
        known = {line.shot: line for line in now.list_shots(limit=None)}
        for line in old.list_shots(limit=None):
            kept = known.get(line.shot)
            if kept is None or kept.shown_state != line.shown_state:
                yield f"shot {line.shot} of the log is lost"


# -- all tries -------------------------------------------------------------------------------------------------
def try_case(shim: Shim, name: str, template: Path, every: int) -> tuple[int, list[str]]:
    """Try every `every`-th call of a case with every fault; returns how many, and the findings."""
    case = CASES[name]
    tried, findings = 0, []

    def attempt(at: int, number: int, persists: bool) -> int:
        with tempfile.TemporaryDirectory(prefix="beamfall-failing-") as place:
            folder = Path(place) / "work"
            shutil.copytree(template, folder)
            for one in case.files if case.is_first else ():
                (folder / one).unlink()
            if name == "first-shot":
                for left in folder.glob("shots.sqlite3*"):
                    left.unlink()
            status, said, calls = run_case(shim, case, folder, at, number, persists)
            if at < 0:
                assert status == int(case.is_broken), said
                return calls
            if name == "first-shot":
                for left in folder.glob("shots.sqlite3*"):
                    left.unlink()  # what a first shot leaves need not be a log: the next start makes it
                shutil.copy(template / "shots.sqlite3", folder)
            what = (
                "killed"
                if number == KILL
                else errno.errorcode[number] + (", and all later" if persists else "")
            )
            findings.extend(
                f"{name}, call {at}, {what}: {finding}\n    {said.strip()[-400:]!r}"
                for finding in judge(case, folder, template, status, said, number)
            )
        return 0

    for at in range(0, attempt(-1, 0, False), every):
        for number, persists in FAULTS:
            attempt(at, number, persists)
            tried += 1
    return tried, findings


def build(folder: Path) -> Path:
    """Compile the shim; raises FileNotFoundError without a compiler."""
    made = folder / "failing_calls.so"
    compiler = shutil.which("cc") or "cc"
    subprocess.run(
        [compiler, "-O1", "-shared", "-fPIC", "-o", str(made), str(SOURCE), "-ldl"], check=True
    )
    return made


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("cases", nargs="*", choices=[[], *CASES], help=", ".join(CASES))
    parser.add_argument("--every", type=int, default=1)
    args = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="beamfall-failing-") as place:
        if "failing_calls" not in os.environ.get("LD_PRELOAD", ""):
            shim = build(Path(place))
            return subprocess.run(
                [sys.executable, *sys.argv], env={**os.environ, "LD_PRELOAD": str(shim)}
            ).returncode
        template = Path(place) / "template"
        template.mkdir()
        names = args.cases or list(CASES)
        make_template(template, names)
        gc.freeze()  # a collection in a forked process would copy every page that this one has loaded
        total = 0
        found: list[str] = []
        for name in names:
            tried, findings = try_case(Shim(), name, template, args.every)
            total += tried
            found += findings
            print(f"{name}: {tried} failing calls, {len(findings)} findings", flush=True)
            for finding in findings:
                print(finding, flush=True)
    print(f"{total} failing calls tried in {len(names)} commands, {len(found)} findings")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
