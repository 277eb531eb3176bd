"""Serial ports in the real world, by pseudo-terminals with the real firmware behind them.

The board behind a terminal lives in a thread and in real time; what is judged is what the host says and what the pins
did. Names of other systems' ports are compared as texts: those systems are not here.
"""

from __future__ import annotations

import contextlib
import os
import pwd
import select
import sys
import threading
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from line import TruthRig

from beamfall.board import Board
from beamfall.errors import (
    AnotherBoard,
    LinkError,
    LinkLost,
    NoAnswer,
    NotABoard,
    PortBusy,
    PortDenied,
    PortNotFound,
    ReleaseUnknown,
)
from beamfall.link import Link, LinkTiming, serial_port
from beamfall.link.serial_port import PortSeen, SerialReconnector, SerialTransport, is_same_device
from beamfall.setup.sequence import Row, Sequence
from beamfall.sim.embedded import SimulatedTransport

pytestmark = pytest.mark.skipif(
    os.name != "posix", reason="needs pseudo-terminals, which Windows lacks"
)
# Quick to ask again, and patient: a busy machine may leave a thread without its turn for a second.
QUICK = LinkTiming(first_s=0.1, longest_s=0.4, tries=40, hello_tries=40, reconnect_s=30.0)
SERIES = Sequence(
    rows=(Row("release", 0, "shutter", 0.002, 0.02), Row("release", 0, "valve1", 0.001, 0.01)),
    tail_s=0.002,
)


class BoardOnTerminal:
    """A simulated board in real time at the far end of a pseudo-terminal that can be pulled and plugged."""

    def __init__(self, seed: int = 1) -> None:
        self.rig = TruthRig()
        self.board = SimulatedTransport(self.rig, seed=seed)
        self._lock = threading.Lock()
        self._far = self._near = -1
        self._stop = False
        self.name = ""
        self.plug()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def plug(self) -> str:
        with self._lock:
            self._far, self._near = os.openpty()
            self.name = os.ttyname(self._near)
        return self.name

    def pull(self) -> None:
        with self._lock:
            os.close(self._near)
            os.close(self._far)
            self._far = self._near = -1

    def _run(self) -> None:
        last = time.monotonic()
        while not self._stop:
            with self._lock:
                far = self._far
                if far >= 0 and select.select([far], [], [], 0)[0]:
                    with contextlib.suppress(OSError):
                        self.board.write(os.read(far, 4096))
                now = time.monotonic()
                # A turn that did not come is no time to the board: its host had none either.
                self.board.sleep(min(now - last, 0.05))
                last = now
                data = self.board.read(0.0)
                if data and far >= 0:
                    with contextlib.suppress(OSError):
                        os.write(far, data)
            time.sleep(0.001)

    def stop(self) -> None:
        self._stop = True
        self._thread.join()
        if self._far >= 0:
            self.pull()
        self.board.close()


@pytest.fixture
def far_board() -> Iterator[BoardOnTerminal]:
    board = BoardOnTerminal()
    yield board
    board.stop()


@pytest.fixture
def ports(monkeypatch: pytest.MonkeyPatch) -> list[PortSeen]:
    """What this computer's ports are said to be; the test changes the list as it goes."""
    listed: list[PortSeen] = []
    monkeypatch.setattr(serial_port, "list_ports", lambda: list(listed))
    return listed


def seen(name: str, serial_number: str | None = "E66138935F5A8E2B") -> PortSeen:
    return PortSeen(name, 0x2E8A, 0x0005, serial_number)


def connect(name: str, timing: LinkTiming = QUICK) -> Board:
    reconnector = SerialReconnector(name)
    link = Link(
        reconnector.open(), timing=timing, reconnect=reconnector.open, acknowledge_on_receipt=False
    )
    link.open()
    return Board(link)


@pytest.mark.parametrize("moment", ["between", "waiting"])
def test_a_board_that_comes_back_under_another_name_goes_on_with_its_series(
    far_board: BoardOnTerminal, ports: list[PortSeen], moment: str
) -> None:
    ports.append(seen(far_board.name))
    board = connect(far_board.name)
    log: list[int] = []

    def pull() -> None:
        far_board.pull()
        ports.clear()

    def plug_in() -> None:
        time.sleep(0.4)
        blockers: list[int] = []
        # Until the old name is taken, by this or by another program: the new one is another then.
        for _ in range(20):
            blockers += os.openpty()
            if os.ttyname(blockers[-1]) == before:
                break
        ports.append(seen(far_board.plug()))
        for end in blockers:
            os.close(end)

    before = far_board.name
    for shot in range(4):
        ticket = board.arm(SERIES)
        if shot == 2 and moment == "between":
            pull()
            plug_in()
        board.release(ticket)
        if shot == 2 and moment == "waiting":
            pull()
            plugging = threading.Thread(target=plug_in)
            plugging.start()
        log.append(board.wait_for(ticket).done.release)
        board.settle()
        board.sleep(0.05)
    if moment == "waiting":
        plugging.join()
    assert far_board.name != before
    assert log == [1, 2, 3, 4]
    assert len([pulse for pulse in far_board.rig.pulses if pulse[1] == 8]) == 4
    assert board.counters.reconnections == 1
    assert board.counters.restarts == 0
    board.close()


def test_a_board_that_stays_away_ends_the_series_with_the_log_true(
    far_board: BoardOnTerminal, ports: list[PortSeen]
) -> None:
    ports.append(seen(far_board.name))
    board = connect(far_board.name, replace(QUICK, reconnect_s=0.5))
    ticket = board.arm(SERIES)
    board.release(ticket)
    assert board.wait_for(ticket).done.release == 1
    ticket = board.arm(SERIES)
    far_board.pull()
    ports.clear()
    with pytest.raises(ReleaseUnknown) as caught:
        board.release(ticket)
    # Another test may have opened a terminal by the same name meanwhile: it does not answer as a board.
    assert isinstance(caught.value.__cause__, LinkError)
    board.close()


def test_another_board_on_the_same_port_is_not_taken_for_the_one_in_use(
    ports: list[PortSeen],
) -> None:
    first, second = BoardOnTerminal(seed=1), BoardOnTerminal(seed=2)
    try:
        ports.append(seen(first.name, None))
        reconnector = SerialReconnector(first.name)
        link = Link(
            reconnector.open(),
            timing=LinkTiming(first_s=0.2, reconnect_s=0.5),
            reconnect=lambda: SerialTransport(second.name),
            acknowledge_on_receipt=False,
        )
        link.open()
        board = Board(link)
        board.upload(SERIES)
        first.pull()
        with pytest.raises(AnotherBoard):
            board.status()
        assert second.rig.changes == []
        board.close()
    finally:
        first.stop()
        second.stop()


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        ("COM3", "com3", True),
        ("COM3", r"\\.\COM3", True),
        ("COM3", "COM30", False),
        ("COM12", "COM12:", True),
        ("/dev/cu.usbmodem1101", "/dev/tty.usbmodem1101", True),
        ("/dev/cu.usbmodem1101", "/dev/cu.usbmodem1201", False),
        ("/dev/ttyACM0", "/dev/ttyACM1", False),
        ("socket://host:1", "socket://host:1", True),
    ],
)
def test_the_names_that_systems_give_one_port(one: str, other: str, same: bool) -> None:
    assert is_same_device(one, other) is same


def test_a_board_named_by_a_link_is_found_again_by_its_serial_number(
    far_board: BoardOnTerminal, ports: list[PortSeen], tmp_path: Path
) -> None:
    """As /dev/serial/by-id does, or the second name of a port on macOS."""
    link = tmp_path / "by-id"
    link.symlink_to(far_board.name)
    ports.append(seen(far_board.name))
    reconnector = SerialReconnector(str(link))
    link.unlink()
    reconnector.open().close()


def test_a_port_that_this_user_may_not_open_names_the_udev_rule(far_board: BoardOnTerminal) -> None:
    """A process without rights, since the one that runs the tests may be root."""
    os.chmod(far_board.name, 0)
    import serial  # noqa: F401 - before the rights to read it are gone

    take, give = os.pipe()
    child = os.fork()
    if not child:
        try:
            if os.geteuid() == 0:
                nobody = pwd.getpwnam("nobody")
                os.setgroups([])
                os.setgid(nobody.pw_gid)
                os.setuid(nobody.pw_uid)
            SerialTransport(far_board.name)
        except PortDenied as error:
            os.write(give, str(error).encode())
        finally:
            os._exit(0)
    os.close(give)
    os.waitpid(child, 0)
    said = os.read(take, 4096).decode()
    os.close(take)
    assert "permission denied" in said
    if sys.platform == "linux":
        assert all(word in said for word in ('SUBSYSTEM=="tty"', "2e8a", "dialout"))


@pytest.mark.usefixtures("ports")
def test_what_other_systems_say_becomes_the_same_errors(monkeypatch: pytest.MonkeyPatch) -> None:
    """The words are pyserial 3.5's: on Windows it hands on the text of the exception, on macOS an errno."""
    monkeypatch.setattr(sys, "platform", "win32")
    busy = OSError("could not open port 'COM3': PermissionError(13, 'Access is denied.', None, 5)")
    assert isinstance(serial_port._explain("COM3", busy), PortBusy)
    gone = OSError(
        "could not open port 'COM9': FileNotFoundError(2, 'cannot find the file', None, 2)"
    )
    assert isinstance(serial_port._explain("COM9", gone), PortNotFound)
    monkeypatch.setattr(sys, "platform", "darwin")
    name = "/dev/cu.usbmodem1101"
    assert isinstance(serial_port._explain(name, OSError(16, "Resource busy")), PortBusy)
    assert isinstance(serial_port._explain(name, OSError(13, "Permission denied")), PortDenied)


def peak_of(act: Any) -> int:
    import tracemalloc

    tracemalloc.start()
    try:
        act()
        return tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()


def flood(far: int, pattern: bytes, stop: threading.Event) -> None:
    os.set_blocking(far, False)
    while not stop.is_set():
        with contextlib.suppress(BlockingIOError, OSError):
            os.write(far, pattern)
            os.read(far, 4096)


@pytest.mark.parametrize(
    "pattern",
    [
        pytest.param(b"\x05" * 4000, id="no delimiter"),
        pytest.param(bytes(4000), id="zeros", marks=pytest.mark.full),
        pytest.param(b"measured 12.5 mV\r\n" * 100, id="text", marks=pytest.mark.full),
        pytest.param(b"\x05\x01\x02\x03\x04\x00" * 600, id="short frames", marks=pytest.mark.full),
    ],
)
def test_a_device_that_floods_is_named_and_memory_stays_bounded(pattern: bytes) -> None:
    far, near = os.openpty()
    stop = threading.Event()
    thread = threading.Thread(target=flood, args=(far, pattern, stop), daemon=True)
    link = Link(
        SerialTransport(os.ttyname(near)),
        timing=LinkTiming(first_s=0.2, longest_s=0.3, hello_tries=3),
    )
    thread.start()

    def meet() -> None:
        with pytest.raises(NotABoard):
            link.open()

    began = time.monotonic()
    try:
        assert peak_of(meet) < 4_000_000
        assert time.monotonic() - began < 60, "a flood is no reason to listen for ever"
        assert link.counters.bytes_received > 10_000
    finally:
        stop.set()
        thread.join()
        link.close()
        os.close(near)
        os.close(far)


def test_a_flood_in_an_open_session_is_said_in_the_error(far_board: BoardOnTerminal) -> None:
    board = connect(far_board.name)
    board.link._timing = LinkTiming(first_s=0.1, longest_s=0.2, tries=3)
    noise = SimulatedTransport(TruthRig(), seed=9)
    far_board.board, good = noise, far_board.board
    noise.read = lambda timeout_s: b"measured 12.5 mV\r\n\x00" * 8  # type: ignore[method-assign]
    with pytest.raises(NoAnswer, match=r"[1-9]\d* damaged"):
        board.status()
    far_board.board = good
    noise.close()
    board.close()


def test_a_device_that_reads_nothing_does_not_hold_the_host_for_ever(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(serial_port, "_WRITE_S", 0.3)
    far, near = os.openpty()
    transport = SerialTransport(os.ttyname(near))
    began = time.monotonic()
    with pytest.raises(LinkLost):
        for _ in range(1000):
            transport.write(b"\x01" * 250)
    assert time.monotonic() - began < 60
    transport.close()
    os.close(near)
    os.close(far)
