"""A program that is told to stop, or whose terminal is closed, leaves outputs off, the board idle and the log correct.

Real processes on a real pseudo-terminal, at a board that lives on when they have ended: it is asked how it was left.
"""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
import served_board
from command_line import BEAMFALL, unmeasured
from served_board import ServedBoard
from tiers import in_full

from beamfall import interrupts
from beamfall.board import Board
from beamfall.interrupts import StopSignals, hold_interrupts
from beamfall.setup.rig import EXAMPLE
from beamfall.shots import ShotLog
from beamfall.workflows.words import DROP_SEEN

pytestmark = pytest.mark.skipif(
    os.name != "posix", reason="needs POSIX signals and terminals, which Windows lacks"
)

STOPS = {"SIGTERM": 143, "SIGHUP": 129, "SIGINT": 130}  # 128 + n: POSIX shells, "Exit Status"
EACH = ["SIGTERM", *in_full("SIGHUP", "SIGINT")]


class Witness:
    """The board, and how its outputs stand."""

    def __init__(self, served: ServedBoard) -> None:
        self.url = served.url
        self.on: set[int] = set()
        self.openings = 0
        drive = served._rig.drive

        def note(output: int, level: int, ticks: int) -> None:
            (self.on.add if level else self.on.discard)(output)
            self.openings += level
            drive(output, level, ticks)

        served._rig.drive = note  # type: ignore[method-assign]

    def assert_at_rest(self) -> None:
        assert self.on == set(), "an output was left on"
        with Board.connect(self.url) as board:
            status = board.status()
        assert status.activity.name == "none"
        assert status.state.name in ("idle", "fired", "missed")


@pytest.fixture
def witness(monkeypatch: pytest.MonkeyPatch) -> Iterator[Witness]:
    monkeypatch.setattr(served_board, "_STEP_S", 0.0005)  # not many times faster than life
    with ServedBoard() as served:
        yield Witness(served)


class Terminal:
    """A program on a pseudo-terminal of its own. `close` is what closing its window does."""

    def __init__(self, arguments: list[str], environment: dict[str, str]) -> None:
        self._ours, theirs = os.openpty()
        self.said = ""
        self.process = subprocess.Popen(
            [*BEAMFALL, *arguments],
            stdin=theirs, stdout=theirs, stderr=theirs, env=environment,
            start_new_session=True, preexec_fn=_take_terminal,
        )  # fmt: skip
        os.close(theirs)

    def read_until(self, pattern: str, patience_s: float = 60.0) -> str:
        import select

        end_s = time.monotonic() + patience_s
        while not re.search(pattern, self.said):
            left_s = end_s - time.monotonic()
            assert left_s > 0.0, f"never said {pattern!r}: {self.said}"
            if select.select([self._ours], [], [], left_s)[0]:
                try:
                    self.said += os.read(self._ours, 65536).decode(errors="replace")
                except OSError:  # it has ended
                    raise AssertionError(f"ended without {pattern!r}: {self.said}") from None
        return self.said

    def type_in(self, text: str) -> None:
        os.write(self._ours, text.encode())

    def stop(self, name: str) -> int:
        """Stop it by that signal: SIGHUP by closing the terminal; its exit status."""
        if name == "SIGHUP":
            os.close(self._ours)
            self._ours = -1
        else:
            self.process.send_signal(getattr(signal, name))
        return self.wait()

    def wait(self) -> int:
        """The exit status of a program that is about to end."""
        try:
            while self._ours >= 0:  # what it still has to say; else it could not say it
                self.said += os.read(self._ours, 65536).decode(errors="replace")
        except OSError:
            pass
        status = self.process.wait(60)
        assert "Traceback" not in self.said, self.said
        return status

    def end(self) -> None:
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait()
        if self._ours >= 0:
            os.close(self._ours)


def _take_terminal() -> None:
    import fcntl
    import termios

    for name in STOPS:  # whoever runs the tests in the background has its children ignore them
        signal.signal(getattr(signal, name), signal.SIG_DFL)
    fcntl.ioctl(0, termios.TIOCSCTTY, 0)  # the session's own: it hears when it is closed


@pytest.fixture
def log_path(tmp_path: Path) -> Path:
    return tmp_path / "shots.sqlite3"


@pytest.fixture
def start(log_path: Path) -> Iterator[Callable[..., Terminal]]:
    opened: list[Terminal] = []

    def run(*arguments: str) -> Terminal:
        opened.append(Terminal(list(arguments), {**unmeasured(), "BEAMFALL_LOG": str(log_path)}))
        return opened[-1]

    yield run
    for terminal in opened:
        terminal.end()


@pytest.fixture
def quick_rig(tmp_path: Path) -> Path:
    path = tmp_path / "rig.toml"
    text = EXAMPLE.read_text(encoding="utf-8")
    assert 'rest = "5 s"' in text
    path.write_text(text.replace('rest = "5 s"', 'rest = "0.1 s"'), encoding="utf-8")
    return path


@pytest.mark.parametrize("name", EACH)
@pytest.mark.parametrize("later_s", [0.0, *in_full(0.25)])
def test_in_a_series_of_shots(
    name: str,
    later_s: float,
    witness: Witness,
    start: Callable[..., Terminal],
    quick_rig: Path,
    log_path: Path,
) -> None:
    program = start("shoot", str(quick_rig), "--port", witness.url, "--count", "1000", "--json")
    said = program.read_until(r'"shot": 2')
    time.sleep(later_s)
    assert program.stop(name) == STOPS[name]
    witness.assert_at_rest()
    with ShotLog.open(log_path, read_only=True) as log:
        states = {line.shot: line.shown_state for line in log.list_shots(limit=None)}
        causes = {line.cause for line in log.list_shots(limit=None)}
    for printed in re.findall(r"^\{.*\}", said, re.M):
        shot = json.loads(printed)
        assert states[shot["shot"]] == shot["state"]
    assert set(states.values()) <= {"fired", "missed", "idle", "not-released"}, states
    # None: it fired, and nothing went wrong.
    assert causes <= {None, "none", "aborted", "interrupted"}


@pytest.mark.parametrize("name", EACH)
def test_with_a_valve_held_open(
    name: str, witness: Witness, start: Callable[..., Terminal]
) -> None:
    program = start("rinse", "--port", witness.url, "--duration", "4 s", "--yes")
    _wait(lambda: witness.on)
    assert program.stop(name) == STOPS[name]
    witness.assert_at_rest()


@pytest.mark.parametrize("name", EACH)
def test_in_a_check_that_the_board_makes_alone(
    name: str, witness: Witness, start: Callable[..., Terminal]
) -> None:
    program = start("check", "--port", witness.url)
    program.read_until("Press Enter to begin")
    program.type_in("\n")
    _wait(lambda: witness.openings)
    assert program.stop(name) == STOPS[name]
    witness.assert_at_rest()


@pytest.mark.full
@pytest.mark.parametrize("name", STOPS)
def test_at_the_question_of_a_check(
    name: str, witness: Witness, start: Callable[..., Terminal]
) -> None:
    program = start("check", "--port", witness.url)
    program.read_until("Press Enter to begin")
    assert program.stop(name) == STOPS[name]
    assert witness.openings == 0
    witness.assert_at_rest()


@pytest.mark.full
@pytest.mark.parametrize("name", ["SIGTERM", "SIGHUP"])
@pytest.mark.parametrize("more", [[], ["--drops"]])
def test_in_a_watch_of_the_beam(
    name: str, more: list[str], witness: Witness, start: Callable[..., Terminal]
) -> None:
    program = start("beam", "--port", witness.url, "--quiet", *more)
    program.read_until("count 1" if more else "beam1")
    assert program.stop(name) == STOPS[name]
    witness.assert_at_rest()


@pytest.mark.full
def test_a_watch_whose_program_was_killed_does_not_lock_the_next_one_out(
    witness: Witness, start: Callable[..., Terminal]
) -> None:
    program = start("beam", "--port", witness.url, "--quiet")
    program.read_until("beam1")
    program.process.kill()
    program.process.wait()
    with Board.connect(witness.url) as board:
        assert board.status().activity.name == "watch", "nobody was there to end it"
    start("drip", "--port", witness.url).read_until(DROP_SEEN)
    witness.assert_at_rest()


def test_ctrl_c_is_how_a_watch_of_the_beam_ends(
    witness: Witness, start: Callable[..., Terminal]
) -> None:
    program = start("beam", "--port", witness.url, "--quiet")
    program.read_until("beam1")
    program.type_in("\x03")
    assert program.wait() == 130
    witness.assert_at_rest()


@pytest.mark.parametrize("name", EACH)
def test_of_the_page_with_a_valve_held_open(
    name: str, witness: Witness, start: Callable[..., Terminal]
) -> None:
    program = start("page", "--port", witness.url, "--no-browser")
    said = program.read_until(r"Ctrl-C ends it")
    # A code of 256 bits: nobody guesses it.
    found = re.search(r"(http://127\.0\.0\.1:\d+)/#(\S{40,})", said)
    assert found is not None, said
    origin, code = found.groups()
    _, headers = _post(origin, "enter", {"code": code})
    cookie = headers["set-cookie"].split(";")[0]
    _wait(lambda: _post(origin, "do/rinse", {"duration": "4 s"}, cookie)[0] == 200)

    def confirm() -> bool:
        for question in range(1, 10):  # numbered from the start of the server
            _post(origin, "do/answer", {"question": question, "value": "yes"}, cookie)
        return bool(witness.on)

    _wait(confirm)
    assert program.stop(name) == STOPS[name]
    witness.assert_at_rest()


def _post(
    origin: str, path: str, body: dict[str, Any], cookie: str = ""
) -> tuple[int, dict[str, str]]:
    asked = urllib.request.Request(
        f"{origin}/{path}",
        data=json.dumps(body).encode(),
        headers={"content-type": "application/json", "origin": origin, "cookie": cookie},
    )
    try:
        with urllib.request.urlopen(asked, timeout=60) as answer:
            headers = {name.lower(): value for name, value in answer.headers.items()}
            return answer.status, headers
    except urllib.error.HTTPError as error:
        return error.code, {}


def _wait(ready: Callable[[], object], patience_s: float = 60.0) -> None:
    end_s = time.monotonic() + patience_s
    while not ready():
        assert time.monotonic() < end_s
        time.sleep(0.01)


@pytest.mark.parametrize("name", ["SIGHUP", "SIGTERM"])
def test_what_is_ignored_from_outside_stays_ignored(
    name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As nohup has it."""
    before = signal.signal(getattr(signal, name), signal.SIG_IGN)
    try:
        with StopSignals() as stop:
            os.kill(os.getpid(), getattr(signal, name))
            time.sleep(0.05)
            assert stop.signal == 0
    finally:
        signal.signal(getattr(signal, name), before)


def test_a_second_signal_ends_the_program_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    ended: list[int] = []
    monkeypatch.setattr(interrupts, "BOUNCE_S", 60.0)
    monkeypatch.setattr(interrupts, "STOP_S", 60.0)
    with StopSignals(ended.append) as stop:
        with pytest.raises(KeyboardInterrupt):
            os.kill(os.getpid(), signal.SIGTERM)
            time.sleep(5.0)
        os.kill(os.getpid(), signal.SIGINT)
        time.sleep(0.05)
        assert (stop.status, ended) == (143, []), "a finger that presses twice"
        monkeypatch.setattr(interrupts, "BOUNCE_S", 0.0)
        os.kill(os.getpid(), signal.SIGINT)  # not SIGHUP, which nohup has ignored
        time.sleep(0.05)
        assert ended == [143], "the status is of the first"
    assert signal.getsignal(signal.SIGTERM) is signal.SIG_DFL


def test_a_program_that_does_not_end_is_ended(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(interrupts, "STOP_S", 0.05)
    ended = threading.Event()
    with StopSignals(lambda status: ended.set()):
        with pytest.raises(KeyboardInterrupt):
            signal.raise_signal(signal.SIGINT)
        assert ended.wait(30.0), "it goes on for ever"


def test_a_signal_lost_in_a_destructor_comes_again(capfd: pytest.CaptureFixture[str]) -> None:
    class Late:
        def __del__(self) -> None:
            signal.raise_signal(signal.SIGTERM)

    with StopSignals(lambda status: None), pytest.raises(KeyboardInterrupt):  # noqa: PT012
        Late()
        time.sleep(30.0)
    assert capfd.readouterr().err == "", "nobody is shown a traceback"


def test_a_signal_is_held_back_where_it_would_do_harm() -> None:
    steps: list[str] = []
    with StopSignals(), pytest.raises(KeyboardInterrupt), hold_interrupts() as deliver:
        signal.raise_signal(signal.SIGINT)
        steps.append("went on")
        deliver()
        steps.append("not here")
    assert steps == ["went on"]


@pytest.mark.parametrize("name", EACH)
def test_in_the_first_moments_of_a_start(name: str, tmp_path: Path) -> None:
    """From the program's first line on: it ends by the signal itself or by its status, and never with a traceback."""
    for moment_s in (0.02, 0.05, 0.08, 0.12, 0.2, 0.4):
        process = subprocess.Popen(
            [sys.executable, "-m", "beamfall", "shoot", "--port", "sim", "--count", "99"],
            stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True,
            env={**unmeasured(), "BEAMFALL_LOG": str(tmp_path / "log.sqlite3")},
        )  # fmt: skip
        time.sleep(moment_s)
        process.send_signal(getattr(signal, name))
        said = process.communicate(timeout=60)[1]
        if "Traceback" in said and "/beamfall/" not in said:
            continue  # Python itself was still starting: nothing of ours ran
        assert process.returncode in (STOPS[name], -getattr(signal, name)), said
        assert "Traceback" not in said, said
