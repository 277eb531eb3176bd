"""The console's line: a write never waits for the host, whatever the host does, and nothing is lost or doubled.

The stand-in behaves as the USB line of MicroPython 1.28 does (shared/tinyusb/mp_usbd_cdc.c, TinyUSB's cdc_device.c and
the buffer control of the RP2040 datasheet): a FIFO of 256 bytes, a packet of up to 64 in the endpoint's own buffer;
writable means room for at least one byte, or no host; a write of more than there is room for waits up to 500 ms.
"""

from __future__ import annotations

import importlib
import random
import sys
from collections.abc import Callable
from types import SimpleNamespace

import pytest
from tiers import in_full

FIFO, PACKET, PATIENCE_US = 256, 64, 500_000
# RP2040 datasheet, USB: buffer control of endpoint 2 in, bit 10.
IN2_CONTROL, AVAILABLE = (0x50100090, 0x400)
CALL_US = 5


class Line:
    """The board's end of USB. `host()` is what the host does in each microsecond step: it may take a packet."""

    def __init__(self, host: Callable[[Line], None], connected: bool = True) -> None:
        self.host, self.connected = host, connected
        self.fifo = bytearray()
        self.packet: bytes | None = None
        self.received = bytearray()
        self.now_us = 0
        self.waited_us = 0
        self.writes = 0

    def pass_time(self, us: int) -> None:
        for _ in range(us):
            self.now_us += 1
            self.host(self)

    def take(self) -> None:
        """The host takes the packet that waits. The board's software learns of it in its next task."""
        if self.packet is not None:
            self.received += self.packet
            self.packet = None

    def task(self) -> None:
        if self.packet is None and self.fifo:
            self.packet = bytes(self.fifo[:PACKET])
            del self.fifo[:PACKET]

    def writable(self) -> bool:
        self.pass_time(CALL_US)
        self.task()
        return not self.connected or len(self.fifo) < FIFO

    def write(self, data: bytes) -> int:
        self.writes += 1
        self.pass_time(CALL_US)
        begun = since = self.now_us
        done = 0
        while done < len(data):
            if not self.connected:
                self.fifo += data
                del self.fifo[:-FIFO]
                return len(data)
            part = data[done : done + FIFO - len(self.fifo)]
            self.fifo += part
            self.task()
            done += len(part)
            if part:
                since = self.now_us
            elif self.now_us - since >= PATIENCE_US:
                break
            if done < len(data):
                self.pass_time(1000)
                self.task()
        self.waited_us = max(self.waited_us, self.now_us - begun)
        return done

    def control(self, address: int) -> int:
        assert address == IN2_CONTROL
        return AVAILABLE if self.packet is not None else 0


class Poll:
    def __init__(self) -> None:
        self.line: Line | None = None

    def register(self, stream: Line, _flags: int) -> None:
        self.line = stream

    def ipoll(self, _ms: int) -> list[Line]:
        assert self.line is not None
        return [self.line] if self.line.writable() else []


@pytest.fixture
def open_console(monkeypatch: pytest.MonkeyPatch) -> Callable[..., object]:
    def make(line: Line, chip: str = "rp2040") -> object:
        machine = SimpleNamespace(mem16=SimpleNamespace(), mem32={})
        machine.mem16 = type("Mem", (), {"__getitem__": lambda _self, at: line.control(at)})()
        monkeypatch.setitem(sys.modules, "machine", machine)
        for name in ("ports.console", "ports.rp2_chip"):
            monkeypatch.delitem(sys.modules, name, raising=False)
        console = importlib.import_module("ports.console")
        usb_room = importlib.import_module("ports.rp2_chip").usb_room
        stream = SimpleNamespace(buffer=line)
        monkeypatch.setattr(line, "buffer", line, raising=False)
        monkeypatch.setattr(console, "sys", SimpleNamespace(stdin=stream, stdout=line))
        monkeypatch.setattr(console, "select", SimpleNamespace(poll=Poll, POLLIN=1, POLLOUT=4))
        monkeypatch.setattr(
            console,
            "time",
            SimpleNamespace(ticks_us=lambda: line.now_us, ticks_diff=lambda a, b: a - b),
        )
        return console.Console(usb_room) if chip == "rp2040" else console.Console()

    return make


def read_all(line: Line) -> None:
    if line.now_us % 50 == 0:  # a full packet takes 43 us on a full-speed line
        line.take()


def read_nothing(_line: Line) -> None:
    pass


def read_now_and_then(seed: int) -> Callable[[Line], None]:
    rng = random.Random(seed)
    state = {"until": 0, "reads": True}

    def host(line: Line) -> None:
        if line.now_us >= state["until"]:
            state["reads"] = not state["reads"]
            state["until"] = line.now_us + rng.choice([30, 300, 3000, 30_000])
        if state["reads"] and rng.random() < 0.02:
            line.take()

    return host


def send(line: Line, console: object, data: bytes, tries: int = 4000, longest: int = 300) -> int:
    """Do as link.py does: offer again, a millisecond later, what was not taken."""
    sent = 0
    rng = random.Random(3)
    for _ in range(tries):
        if sent == len(data):
            break
        part = bytearray(data[sent : sent + rng.randrange(20, longest)])  # frames have any length
        sent += console.write(part, len(part))  # type: ignore[attr-defined]
        # The board sleeps 1 ms; its USB task runs when the host has taken something.
        for _ in range(50):
            line.pass_time(20)
            line.task()
    return sent


DATA = bytes(random.Random(1).randrange(256) for _ in range(5000))


@pytest.mark.parametrize("chip", ["rp2040", "any"])
def test_a_host_that_does_not_read_makes_no_write_wait(
    open_console: Callable[..., object], chip: str
) -> None:
    line = Line(read_nothing)
    said_before = b"the interpreter has said something before"
    line.packet, line.fifo = said_before[:20], bytearray(said_before[20:])
    console = open_console(line, chip)
    sent = send(line, console, DATA, tries=50)
    assert line.waited_us == 0
    assert sent == FIFO - len(said_before[20:])
    line.host = read_all
    sent += send(line, console, DATA[sent:])
    line.pass_time(5000)
    for _ in range(20):
        line.writable()
        line.pass_time(100)
    assert sent == len(DATA) and line.received == said_before + DATA
    assert line.waited_us == 0


@pytest.mark.parametrize("chip", ["rp2040", "any"])
@pytest.mark.parametrize("seed", [0, *in_full(*range(1, 6))])
def test_a_host_that_reads_now_and_then_gets_everything_once(
    open_console: Callable[..., object], seed: int, chip: str
) -> None:
    line = Line(read_now_and_then(seed))
    console = open_console(line, chip)
    sent = send(line, console, DATA)
    line.host = read_all
    for _ in range(50):
        line.writable()
        line.pass_time(100)
    assert sent == len(DATA) and line.received == DATA
    assert line.waited_us == 0


def test_with_no_host_a_write_takes_everything(open_console: Callable[..., object]) -> None:
    line = Line(read_nothing, connected=False)
    console = open_console(line)
    assert send(line, console, DATA) == len(DATA)
    assert line.fifo == DATA[-FIFO:] and line.waited_us == 0


def test_a_host_that_reads_costs_few_writes(open_console: Callable[..., object]) -> None:
    """A write takes about 50 us of Python on an RP2040: byte by byte would be 20 kB a second at best."""
    line = Line(read_all)
    console = open_console(line)
    assert send(line, console, DATA, longest=1000) == len(DATA)
    assert line.writes <= 1.5 * len(DATA) / FIFO, line.writes
    assert line.now_us < 1_000_000 * len(DATA) / 150_000


def test_a_write_ends_after_some_milliseconds_whatever_is_left(
    open_console: Callable[..., object],
) -> None:
    """A slow line that always says it is writable, as a UART does, must not keep the main loop from its other work."""
    line = Line(read_nothing)
    console = open_console(line, "any")
    line.writable = lambda: True  # type: ignore[method-assign]
    line.write = lambda data: line.pass_time(87 * len(data)) or len(data)  # type: ignore[method-assign,func-returns-value]
    before = line.now_us
    taken = console.write(bytearray(1024), 1024)  # type: ignore[attr-defined]
    assert 10 < taken < 100
    assert line.now_us - before < 3000
