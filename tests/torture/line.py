"""A line that does the worst that lines do, and a rig that records what it sees at the pins."""

from __future__ import annotations

import heapq
from collections import deque
from collections.abc import Callable
from typing import Any

from beamfall.errors import LinkLost, PortNotFound
from beamfall.sim.embedded import SimulatedTransport

HZ = 125_000_000
MS = HZ // 1000

# What can happen to a frame. Numbers choose the place in it.
FRAME_FAULTS = (
    "pass",
    "lose",
    "double",
    "hold",
    "flip",
    "cut",
    "add",
    "reset",
    "reset_after",
    "unplug",
)


class TruthRig:
    """Everything at the pins, in ticks of one clock over all lives of the board."""

    clock_hz = HZ

    def __init__(self) -> None:
        self.boot = 1
        self.base = 0  # when this life of the board began
        self.changes: list[
            tuple[int, int, int, int]
        ] = []  # boot, ticks, signal, level: as they came
        self.on: dict[int, int] = {}
        self.pulses: list[tuple[int, int, int, int]] = []  # boot, signal, from, to
        self._levels: dict[int, int] = {}
        self._events: list[tuple[int, int, int]] = []

    @property
    def inputs_to_come(self) -> bool:
        """Whether an input has still to change."""
        return bool(self._events)

    def plan(self, ticks: int, signal: int, level: int) -> None:
        """Give an input that level at that time (of this life's clock)."""
        heapq.heappush(self._events, (ticks, signal, level))

    def drive(self, signal: int, level: int, ticks: int) -> None:
        ticks += self.base
        self.changes.append((self.boot, ticks, signal, level))
        if level:
            assert signal not in self.on
            self.on[signal] = ticks
        else:
            self.pulses.append((self.boot, signal, self.on.pop(signal), ticks))

    def next_edge(self, until: int) -> tuple[int, int, int] | None:
        while self._events and self._events[0][0] <= until:
            ticks, signal, level = heapq.heappop(self._events)
            if self._levels.get(signal, 0) != level:
                self._levels[signal] = level
                self.changes.append((self.boot, ticks + self.base, signal, level))
                return ticks, signal, level
        return None

    def level(self, signal: int) -> int:
        return self._levels.get(signal, 0)

    def lose_power(self, now: int) -> None:
        """The board is about to be reset: the pull-downs switch its outputs off."""
        for signal in list(self.on):
            self.drive(signal, 0, now)
        self.base += now
        self.boot += 1

    def restart(self) -> None:
        self._events.clear()
        self._levels.clear()


class BadLine:
    """A transport to a simulated board. `to_board` and `to_host` hold what happens to the next frames."""

    name = "bad line"

    def __init__(self, inner: SimulatedTransport) -> None:
        self.inner = inner
        self.traits = inner.traits
        self.to_board: deque[tuple[str, int]] = deque()
        self.to_host: deque[tuple[str, int]] = deque()
        self.most = 10_000  # bytes that the host gets at once
        self.plugged = True
        self.absent = 0  # how many attempts to open find no port
        self._held_to_board: list[bytes] = []
        self._held_to_host: list[bytes] = []
        self._from_board = b""
        self._ready = b""
        self._away_s = 0.0  # time that has passed while the board was in maintenance

    @property
    def in_maintenance(self) -> bool:
        """The board has left its main loop and does not answer on the wire until it is reset."""
        stopped: bool = self.inner._channel.stopped
        return stopped

    # -- what happens to the board as a whole ----------------------------------------------------------------------
    def reset(self) -> None:
        self.inner.rig.lose_power(self.inner._channel.now)  # type: ignore[attr-defined]
        self.inner.reset_board()
        self._from_board = b""

    def unplug(self, absent: int = 1) -> None:
        """Bytes in transit are lost; the board goes on (it has its own supply)."""
        self.plugged = False
        self.absent = absent
        self._from_board = self._ready = b""
        self._held_to_board.clear()
        self._held_to_host.clear()

    def open(self) -> BadLine:
        """What a Link uses to connect again."""
        if self.absent > 0:
            self.absent -= 1
            raise PortNotFound("the port is not there")
        self.plugged = True
        return self

    def heal(self) -> None:
        self.to_board.clear()
        self.to_host.clear()
        self._held_to_board.clear()
        self._held_to_host.clear()
        self.most = 10_000
        self.absent = 0
        self.plugged = True
        self.inner._channel.__dict__.pop("write", None)

    def write_slowly(self, most: int) -> None:
        """Let the board send only that many bytes at a time; 0: all of them."""
        channel = self.inner._channel
        channel.__dict__.pop("write", None)
        if most:
            write: Callable[[Any, int], int] = channel.write
            channel.write = lambda data, length: write(data, min(length, most))  # type: ignore[method-assign]

    # -- frames ------------------------------------------------------------------------------------------------------
    def _pass(self, frame: bytes, plan: deque[tuple[str, int]], held: list[bytes]) -> list[bytes]:
        """What becomes of one frame: the frames that are passed on, in order."""
        fault, place = plan.popleft() if plan else ("pass", 0)
        late = list(held)
        if fault == "hold":
            held.append(frame)
            return []
        held.clear()
        if fault == "lose":
            out = []
        elif fault == "double":
            out = [frame, frame]
        elif fault == "flip":
            at = place % len(frame)
            out = [frame[:at] + bytes([frame[at] ^ 1 << place % 8]) + frame[at + 1 :]]
        elif fault == "cut":
            out = [frame[: place % len(frame)]]
        elif fault == "add":
            at = place % len(frame)
            out = [frame[:at] + bytes([place % 256] * (1 + place % 300)) + frame[at:]]
        else:
            out = [frame]
        if fault in ("reset", "reset_after"):
            out.append(fault.encode())  # marks; no frame is like them: frames end in 0x00
        elif fault == "unplug":
            out.append(b"unplug" + bytes([1 + place % 255]))
        return out + late

    def _check(self) -> None:
        if not self.plugged:
            raise LinkLost("bad line: the cable is out")

    def _pull(self, place: int) -> LinkLost:
        self.unplug(1 + place % 9)
        return LinkLost("bad line: the cable was pulled")

    def read(self, timeout_s: float) -> bytes:
        self._check()
        if not self._ready:
            self._from_board += self.inner.read(timeout_s)
            *frames, self._from_board = self._from_board.split(b"\0")
            for frame in frames:
                for part in self._pass(frame + b"\0", self.to_host, self._held_to_host):
                    if part.startswith(b"unplug"):
                        raise self._pull(part[-1])
                    if part in (b"reset", b"reset_after"):
                        self.reset()
                        return b""
                    self._ready += part
        data, self._ready = self._ready[: self.most], self._ready[self.most :]
        return data

    def write(self, data: bytes) -> None:
        self._check()
        for part in self._pass(data, self.to_board, self._held_to_board):
            if part.startswith(b"unplug"):
                raise self._pull(part[-1])
            if part == b"reset":  # after the bytes have arrived, before the board has looked
                self.reset()
            elif part == b"reset_after":
                self.inner.read(0.0)  # it has carried out what there was; nobody hears the answer
                self.reset()
            else:
                self.inner.write(part)

    def clock(self) -> float:
        return self.inner.clock() + self._away_s

    def sleep(self, seconds: float) -> None:
        end = self.clock() + seconds
        try:
            if not self.in_maintenance:
                self.inner.sleep(seconds)
        except LinkLost:
            if not self.in_maintenance:
                raise
        if self.in_maintenance:  # the board's clock stands, everybody else's does not
            self._away_s += max(0.0, end - self.clock())

    def close(self) -> None:
        pass  # the board behind goes on
