"""The fuzz targets: one input in, nothing out, an exception when something is broken. Used by fuzz.py and the tests."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import firmware_targets as firmware
import outside
from virtual_clock import VirtualClock

from beamfall.errors import MessageError
from beamfall.link import Link
from beamfall.wire import (
    Frame,
    FrameError,
    FrameErrorName,
    Framer,
    Message,
    encode_frame,
    get_codec,
)

CODEC = get_codec()
DEFINITION = CODEC.definition
_UNDAMAGED = (FrameErrorName.WRONG_VERSION, FrameErrorName.UNKNOWN_MESSAGE)


class FedTransport(VirtualClock):
    """Gives the bytes it has been handed; time passes with every look."""

    name = "fuzz"

    def __init__(self) -> None:
        self.data = b""
        self.written = 0

    def read(self, timeout_s: float) -> bytes:
        self.now += max(timeout_s, 0.001)
        data, self.data = self.data, b""
        return data

    def write(self, data: bytes) -> None:
        self.written += len(data)


def fuzz_host(data: bytes) -> None:
    """The host's decoder and the receiving half of its link: nothing but its own errors, and what it reads it can
    write again byte for byte."""
    line = firmware.split_stream(data)
    framer = Framer(DEFINITION)
    chunk = 1 + len(data) % 64
    for start in range(0, len(line), chunk):
        for found in framer.feed(line[start : start + chunk]):
            if isinstance(found, FrameError):
                str(found.name), found.detail
                continue
            try:
                message = CODEC.decode_frame(found)
            except MessageError:
                continue
            again = CODEC.make_frame(message, found.session, found.number)
            assert again == found, (again, found)
            assert encode_frame(again, DEFINITION) in line, found  # with its CRC
    assert len(framer.pending) < DEFINITION.frame.frame_max
    if len(data) & 3:
        return  # the link on every fourth length: it costs more than all the rest
    transport = FedTransport()
    link = Link(transport, draw_session=lambda: firmware.SESSION)
    link._session = firmware.SESSION
    link.is_open = True
    transport.data = line
    for report in link.pump(0.0):
        assert isinstance(report.message, Message)


def fuzz_reader(data: bytes) -> None:
    """The firmware's decoder agrees with the host's on every stream, and on every request's payload."""
    line = firmware.split_stream(data)
    found, bad = firmware.read_frames(line, 1 + len(data) % 64)
    good: list[tuple[Any, ...]] = []
    damaged = 0
    for item in Framer(DEFINITION).feed(line):
        frame = item.frame if isinstance(item, FrameError) else item
        if frame is None or (isinstance(item, FrameError) and item.name not in _UNDAMAGED):
            damaged += 1
            continue
        good.append((frame.protocol, frame.message, frame.session, frame.number, frame.payload))
    assert [frame[:5] for frame in found] == good, (found, good)
    assert bad == damaged, (bad, damaged)
    for protocol, message, session, number, payload, fits in found:
        if fits >= 0:
            try:
                CODEC.decode_frame(Frame(protocol, message, session, number, payload))
                host_fits = True
            except MessageError:
                host_fits = False
            assert bool(fits) == host_fits, (message, payload)


def fuzz_board(data: bytes) -> None:
    """A whole board: no exception anywhere, and no pin beyond its limit."""
    firmware.run_board(data)


class StepTarget:
    """`Stepper` over many inputs. It remembers them: `history` breaks a new one in the same way."""

    def __init__(self, lives: int = 500) -> None:
        self._lives = lives
        self.history: list[bytes] = []
        self._stepper = firmware.Stepper()

    def __call__(self, data: bytes) -> None:
        if len(self.history) == self._lives:
            self.history.clear()
            self._stepper = firmware.Stepper()
        self.history.append(data)
        self._stepper.feed(data)


TARGETS: dict[str, Callable[[bytes], None]] = {
    "host": fuzz_host,
    "reader": fuzz_reader,
    "step": StepTarget(),
    "board": fuzz_board,
    **outside.TARGETS,
}
