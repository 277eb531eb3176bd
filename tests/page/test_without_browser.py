"""What is behind the page, without a browser: pacing, arguments, listening, the command."""

from __future__ import annotations

import inspect
import queue
import subprocess
import sys
import threading
import time
from functools import partial
from types import SimpleNamespace
from typing import Any, cast

import pytest
from command_line import run_cli
from virtual_clock import VirtualClock

from beamfall.errors import LinkLost, UserError
from beamfall.link.traits import REAL
from beamfall.page import words
from beamfall.page.board_thread import BoardThread
from beamfall.page.commands import list_commands, read_arguments
from beamfall.page.desk import Desk
from beamfall.page.door import Codes, Door
from beamfall.page.hub import Hub
from beamfall.page.paced import AbortAsked, PacedTransport
from beamfall.page.pictures import Painter
from beamfall.page.serve import parse_listen
from beamfall.planning.seek.answer import Answer
from beamfall.workflows.seek_steps import Aim, Answered
from beamfall.workflows.words import MISFIT


# -- pacing ----------------------------------------------------------------------------------------------------
class FakeTime(VirtualClock):
    """A transport with virtual time, as `sim` has."""

    name = "fake"
    traits = REAL

    def __init__(self, due_s: float = 1e9) -> None:
        self.due_s = due_s

    def read(self, timeout_s: float) -> bytes:
        until = min(self.now + timeout_s, max(self.now, self.due_s))
        self.now = until
        if self.now >= self.due_s:
            self.due_s = 1e9
            return b"x"
        return b""

    def write(self, data: bytes) -> None:
        if data == b"lost":
            raise LinkLost("gone")


def test_simulated_time_passes_as_real_time_does() -> None:
    inner = FakeTime(due_s=0.2)
    paced = PacedTransport(inner, lambda: None, pace=1.0)
    began = time.monotonic()
    assert paced.read(1.0) == b"x"
    assert time.monotonic() - began >= 0.19
    assert inner.now == pytest.approx(0.2)
    assert paced.read(0.1) == b"" and inner.now == pytest.approx(0.3)
    fast = PacedTransport(FakeTime(), lambda: None, pace=10_000.0)
    began = time.monotonic()
    fast.sleep(1000.0)
    assert 0.09 <= time.monotonic() - began < 500.0 and fast.clock() == pytest.approx(1000.0)


def test_an_abort_gets_into_a_wait_within_a_step() -> None:
    asked = threading.Event()

    def poll() -> None:
        if asked.is_set():
            raise AbortAsked

    inner = FakeTime()
    paced = PacedTransport(inner, poll, pace=1.0)
    threading.Timer(0.1, asked.set).start()
    with pytest.raises(KeyboardInterrupt):  # unwinds as Ctrl-C does
        paced.read(30.0)
    assert inner.now < 15.0, "by the paced time: a machine that stops for a while does not count"
    # Once it is asked for, no step more.
    before = inner.now
    with pytest.raises(AbortAsked):
        paced.sleep(30.0)
    assert inner.now == before


def test_a_real_boards_clock_is_left_alone() -> None:
    inner = FakeTime()
    paced = PacedTransport(inner, lambda: None, pace=None)
    began = time.monotonic()
    assert paced.read(600.0) == b"" and paced.traits is REAL
    assert time.monotonic() - began < 300.0, "nothing but the port itself is waited for"


# -- arguments and addresses -----------------------------------------------------------------------------------
def test_commands_take_what_they_name_and_nothing_else() -> None:
    desk = Desk(Hub(), None)
    commands = list_commands(BoardThread(desk._hub, desk, cast(Any, None)))

    def read(name: str, body: dict[str, Any]) -> dict[str, Any]:
        return read_arguments(name, commands[name], body)

    assert read("rate", {"shot": 3, "rating": 4}) == {"shot": 3, "rating": 4}
    assert read("sweep", {}) == {}
    for body in (
        {"shot": 3},
        {"shot": "3", "rating": 4},
        {"shot": 3, "rating": True},
        {"shot": 3, "rating": 4, "x": 1},
    ):
        with pytest.raises(UserError):
            read("rate", body)
    for name, command in commands.items():
        known = _list_kinds(command)
        assert set(known.values()) <= {"str", "FileText", "int", "bool", "float"}, name
        if _needs(command):
            with pytest.raises(UserError):
                read(name, {})
    desk.close()


def _list_kinds(command: Any) -> dict[str, str]:
    wanted = inspect.signature(command).parameters.values()
    return {one.name: str(one.annotation) for one in wanted}


def _needs(command: Any) -> bool:
    wanted = inspect.signature(command).parameters.values()
    return any(one.default is inspect.Parameter.empty for one in wanted)


def test_listen_addresses_are_read_or_refused() -> None:
    assert (parse_listen("127.0.0.1:0").host, parse_listen("[::1]:8080").port) == (
        "127.0.0.1",
        8080,
    )
    assert parse_listen("localhost:80").host == "127.0.0.1"
    for text in (
        "127.0.0.1",
        ":80",
        "evil.test:80",
        "127.0.0.1:70000",
        "127.0.0.1:x",
        "127.0.0.1:-1",
    ):
        with pytest.raises(UserError, match="--listen"):
            parse_listen(text)


def test_hosts_on_loopback_and_on_a_network() -> None:
    loopback = Door("t", "127.0.0.1", 8080)
    assert loopback.allows_host("127.0.0.1:8080") and loopback.allows_host("LOCALHOST:8080")
    assert not loopback.allows_host("192.168.1.5:8080") and not loopback.allows_host(
        "bench.local:8080"
    )
    network = Door("t", "0.0.0.0", 8080, frozenset({"bench", "bench.local"}))
    assert network.allows_host("192.168.1.5:8080") and network.allows_host("bench.local:8080")
    assert not network.allows_host("evil.test:8080"), "a name that somebody else turns"
    assert loopback.allows_host("[::1]:8080") and not loopback.allows_host("[::1]")
    for port in ("", "8", "x", "-1", "٨٠٨٠", "8080 ", "9" * 5000):
        assert not loopback.allows_host(f"127.0.0.1:{port}"), port


def test_a_code_works_once_and_in_time() -> None:
    now_s = [0.0]
    codes = Codes(lambda: now_s[0])
    code, late = codes.make(60.0), codes.make(60.0)
    assert codes.use(code, "192.0.2.7") and not codes.use(code, "192.0.2.9")
    assert "192.0.2.7" in (codes.find_first_use(code) or ""), "who was first is known"
    now_s[0] = 60.0
    assert not codes.use(late) and codes.find_first_use(late) is None
    many = [codes.make(60.0) for _ in range(21)]
    assert not codes.use(many[0]) and codes.use(many[1]), (
        "a page that makes links all day keeps twenty"
    )


# -- the command -----------------------------------------------------------------------------------------------
@pytest.mark.skipif(sys.platform == "win32", reason="Ctrl-C cannot be sent to a child on Windows")
def test_the_command_refuses_an_address_that_is_not_this_computers() -> None:
    wrong = run_cli("page", "--listen", "evil.test:80", "--no-browser")
    assert wrong.returncode == 2 and "--listen" in wrong.stderr


def test_a_search_that_does_not_fit_the_rig_file_says_so_below_its_newest_answer() -> None:
    aim = Aim(3, 20, (0.0, 0.1), 0.18, True)
    fired: Any = SimpleNamespace(shot=7)
    notes = [
        words.say_fit(Answered(aim, fired, Answer("before"), None, 0.1, misfit))
        for misfit in (False, True)
    ]
    assert notes == ["", MISFIT]


def test_pictures_still_to_be_drawn_do_not_keep_the_program_alive() -> None:
    """A series leaves many of them; Ctrl-C must end the page all the same."""
    program = (
        "import time; from beamfall.page.pictures import Painter; painter = Painter(); "
        "painter.submit(lambda: time.sleep(1e5)); painter.submit(lambda: time.sleep(1e5))"
    )
    subprocess.run([sys.executable, "-c", program], check=True, timeout=60.0)


def test_a_painter_goes_on_with_the_next_picture() -> None:
    painter, drawn = Painter(), queue.SimpleQueue[int]()
    for number in (1, 2):
        painter.submit(partial(drawn.put, number))
    assert [drawn.get(timeout=60.0) for _ in range(2)] == [1, 2]
