"""An endless stream of bytes must not keep the board from anything else: the window's end, a host's timeout, the
button, the watchdog."""

from __future__ import annotations

from typing import Any

import pytest
from scripted import BEAM1, MS, Bench

from beamfall_board import wire_definition as wire

ARMED = [(0, 0, 8, 1 * MS, 3000 * MS), (1, 1, 4, 50 * MS, 1 * MS)]
BUTTON = 12


class Endless(BaseException):
    pass


class Flood:
    """From now on there are always more bytes than are read, and every step of the main loop takes a while."""

    def __init__(self, bench: Bench, byte: bytes) -> None:
        self.bench = bench
        self.byte = byte
        self.chunks = 0
        self._port = bench.transport._port
        self._port.read_into = self._read_into

    def _read_into(self, buffer: bytearray) -> int:
        self.chunks += 1
        if self.chunks > 50:
            raise Endless("more than 50 pieces in one step")
        buffer[:] = self.byte * len(buffer)
        return len(buffer)

    def steps(self, milliseconds: int) -> None:
        """The main loop, one step a millisecond: it takes that long even if it would sleep less."""
        board: Any = self.bench.board
        channel = self.bench.transport._channel
        for _ in range(milliseconds):
            self.chunks = 0
            board.step()
            assert board.wake_ms() == 0, "what waits is not slept over"
            channel.granted = channel.now + MS
            self._port.wake_ticks = -1
            while channel.now < channel.granted:
                self._port.idle(1)

    def end(self) -> None:
        del self._port.__dict__["read_into"]


@pytest.mark.parametrize("byte", [b"\x41", b"\x00", b"\x01"])
def test_the_window_closes_in_time_under_a_flood(byte: bytes) -> None:
    bench = Bench()
    _, digest = bench.upload(ARMED, window_ticks=100 * MS, await1=1)
    assert bench.release(digest).name == "done"
    flood = Flood(bench, byte)
    flood.steps(110)
    flood.end()
    assert bench.board.controller.state == wire.STATE_MISSED
    ((on, off),) = bench.rig.pulses(8)
    assert off - on <= 101 * MS


def test_a_flash_still_follows_its_edge_and_the_shot_ends() -> None:
    bench = Bench()
    _, digest = bench.upload([ARMED[1]], window_ticks=1000 * MS, await1=1)
    bench.rig.at(bench.now + 20 * MS + 5, BEAM1, 1)
    assert bench.release(digest).name == "done"
    flood = Flood(bench, b"\x41")
    flood.steps(100)
    flood.end()
    assert bench.board.controller.state == wire.STATE_FIRED
    assert bench.board.controller.activity == wire.ACTIVITY_NONE


def test_a_host_that_only_makes_noise_is_a_lost_host() -> None:
    bench = Bench()
    bench.ask("set_host_timeout", timeout_ms=50)
    _, digest = bench.upload(ARMED, window_ticks=1000 * MS, await1=1)
    bench.release(digest)
    flood = Flood(bench, b"\x41")
    flood.steps(60)
    flood.end()
    assert bench.board.controller.cause == wire.CAUSE_LOST_HOST
    assert bench.rig.pulses(8)[0][1] >= 0


def test_the_button_works_under_a_flood() -> None:
    bench = Bench()
    bench.upload([(0, 0, 1, 1 * MS, 10 * MS)])
    bench.rig.at(bench.now + 5 * MS, BUTTON, 1)
    bench.rig.at(bench.now + 55 * MS, BUTTON, 0)
    flood = Flood(bench, b"\x41")
    flood.steps(140)
    flood.end()
    assert len(bench.rig.pulses(1)) == 1


def test_the_main_loop_comes_round_and_feeds_the_watchdog() -> None:
    bench = Bench()
    flood = Flood(bench, b"\x41")
    fed = 0

    class Stopped(BaseException):
        pass

    def feed() -> None:
        nonlocal fed
        fed += 1
        flood.chunks = 0
        if fed == 20:
            raise Stopped

    bench.transport._port.feed_watchdog = feed
    with pytest.raises(Stopped):
        bench.board.run()
    assert fed == 20


def test_a_long_burst_of_requests_is_taken_piece_by_piece_and_each_is_answered() -> None:
    bench = Bench()
    frames = b""
    for _ in range(200):
        bench.number += 1
        frames += bench.frame("status", bench.number)
    assert len(frames) > 2500
    now = bench.now
    bench.send(frames)
    for _ in range(10):
        bench.listen(1e-6)
    assert bench.number in bench.answers
    assert bench.now - now <= MS, "no sleep while bytes wait"
