"""The port `sim`: the firmware and its rig in this process, in virtual time.

The firmware is the real source (firmware/), on ports/simulated. Time is a count of clock ticks that passes only
while the host waits in `read` or `sleep`. Nothing here reads a real clock, so a run is the same every time and
takes no longer than its calculations.
"""

from __future__ import annotations

import hashlib
import math
from collections import deque
from collections.abc import Sequence
from typing import Any, Protocol

from beamfall.errors import LinkLost
from beamfall.interrupts import hold_interrupts
from beamfall.link.traits import PortTraits
from beamfall.scratch import ScratchFolder
from beamfall.sim.firmware_modules import FirmwareModules, load_firmware
from beamfall.sim.rig import CLOCK_HZ
from beamfall.sim.traits import find_traits

EDGE_CONSTANT = 3  # ticks that the simulated pins take, unless the rig says otherwise: as expected


class RigAtPins(Protocol):
    """What is connected to a simulated board's pins. Times are ticks of `clock_hz` since power-up."""

    clock_hz: int

    def drive(self, signal: int, level: int, ticks: int) -> None:
        """Handle a change of an output."""

    def next_edge(self, until: int) -> tuple[int, int, int] | None:
        """Return (ticks, signal, level) of the first input edge up to `until`, or None; time moves there."""

    def level(self, signal: int) -> int:
        """Return the level of an input now."""

    def restart(self) -> None:
        """Handle a reset of the board: its outputs are off and its clock starts at 0."""


def can_read_coils(rig: RigAtPins) -> bool:
    """Whether the rig has `read_coils(start, spacing, count)`: pairs of mA and mV from tick `start` on."""
    return bool(getattr(rig, "can_read", False))


def make_unique_id(seed: int) -> bytes:
    """The unique id of the simulated board of that seed (8 bytes)."""
    return hashlib.sha256(f"beamfall simulated board {seed}".encode()).digest()[:8]


def make_entropy(seed: int, boot: int) -> bytes:
    """The 4 bytes from which the simulated board of that seed makes its n-th boot id."""
    return hashlib.sha256(f"beamfall simulated boot {seed} {boot}".encode()).digest()[:4]


class JumperRig:
    """A rig that is only a wire from output `source` to input `target`.

    `delay_ticks` is how long an edge takes through the wire: 0 for a real wire, any value in a test. `edge_constant` is
    that of the chip at whose pins it is, see protocol/messages.toml.
    """

    def __init__(
        self, source: int, target: int, *, delay_ticks: int = 0, edge_constant: int = 3
    ) -> None:
        self.clock_hz = CLOCK_HZ
        self.edge_constant = edge_constant
        self._source = source
        self._target = target
        self._delay = delay_ticks
        self._level = 0
        self._edges: deque[tuple[int, int]] = deque()

    def drive(self, signal: int, level: int, ticks: int) -> None:
        if signal == self._source:
            self._edges.append((ticks + self._delay, level))

    def next_edge(self, until: int) -> tuple[int, int, int] | None:
        if self._edges and self._edges[0][0] <= until:
            ticks, self._level = self._edges.popleft()
            return ticks, self._target, self._level
        return None

    def level(self, signal: int) -> int:
        return self._level if signal == self._target else 0

    def restart(self) -> None:
        self._edges.clear()
        self._level = 0


class _EmbeddedChannel:
    """The firmware's side of virtual time, see firmware/ports/simulated/port.py."""

    def __init__(self, rig: RigAtPins, seed: int, boot: int) -> None:
        self.clock_hz = rig.clock_hz
        self.edge_constant = getattr(rig, "edge_constant", EDGE_CONSTANT)
        self.can_read = can_read_coils(rig)
        self.unique_id = make_unique_id(seed)
        self.now = 0
        self.granted = 0
        self.edge_signal = 0
        self.edge_level = 0
        self.to_board = bytearray()
        self.to_host = bytearray()
        self.light = False
        self.stopped = False
        self._rig = rig
        self._entropy = make_entropy(seed, boot)

    def drive(self, signal: int, level: int) -> None:
        self._rig.drive(signal, level, self.now)

    def advance(self, until: int) -> int:
        until = min(until, self.granted)
        found = self._rig.next_edge(until) if until > self.now else None
        if found is None:
            self.now = max(self.now, until)
            self.edge_signal = 0
        else:
            self.now, self.edge_signal, self.edge_level = found
        return self.now

    def level(self, signal: int) -> int:
        return self._rig.level(signal)

    def read_coils(self, start: int, spacing: int, count: int) -> Sequence[tuple[int, int]]:
        rig: Any = self._rig
        pairs: Sequence[tuple[int, int]] = rig.read_coils(start, spacing, count)
        return pairs

    def read_into(self, buffer: bytearray) -> int:
        count = min(len(buffer), len(self.to_board))
        if count:
            buffer[:count] = self.to_board[:count]
            del self.to_board[:count]
        return count

    def write(self, data: bytearray, length: int) -> int:
        self.to_host += data[:length]
        return length

    def entropy(self) -> bytes:
        return self._entropy

    def enter_maintenance(self) -> None:
        self.stopped = True


class _OpenTime:
    """How long valves were open, kept over a restart, as firmware/ports/rp2_chip.py does on a chip."""

    def __init__(self) -> None:
        self.before_ms = 0

    def keep(self, ms: int) -> None:
        self.before_ms = ms


class SimulatedTransport:
    """A transport to a board that is simulated in this process."""

    def __init__(
        self,
        rig: RigAtPins,
        *,
        seed: int,
        name: str = "sim",
        firmware: FirmwareModules | None = None,
    ) -> None:
        self.rig = rig
        self._firmware = load_firmware() if firmware is None else firmware
        self.name = name
        self._seed = seed
        self._boot = 0
        self._past_s = 0.0
        self._closed = False
        self._folder = ScratchFolder()
        self._open_time = _OpenTime()
        self._start()
        self.traits: PortTraits = find_traits(rig, seed, self.clock)

    def _start(self) -> None:
        modules = self._firmware
        self._boot += 1
        self._channel = _EmbeddedChannel(self.rig, self._seed, self._boot)
        port = modules.port(modules.profile, self._channel)
        port.outputs_off()
        self._port = port
        self._board: Any = modules.board(
            port, modules.profile, folder=self._folder.name, open_time=self._open_time
        )

    def _run(self, seconds: float, *, until_output: bool) -> None:
        channel, board, port = self._channel, self._board, self._port
        # At least one tick for any wait
        deadline = channel.now + math.ceil(seconds * channel.clock_hz)
        channel.granted = deadline
        with hold_interrupts():
            while True:
                if channel.stopped:
                    raise LinkLost(
                        f"{self.name}: the simulated board is in maintenance and does not answer"
                    )
                board.step()
                if (until_output and channel.to_host) or channel.now >= deadline:
                    return
                port.idle(board.wake_ms())

    def read(self, timeout_s: float) -> bytes:
        if self._closed:
            raise LinkLost(f"{self.name}: the port is closed; open it again")
        self._run(timeout_s, until_output=True)
        data = bytes(self._channel.to_host)
        self._channel.to_host.clear()
        return data

    def write(self, data: bytes) -> None:
        if self._closed:
            raise LinkLost(f"{self.name}: the port is closed; open it again")
        self._channel.to_board += data

    def clock(self) -> float:
        return self._past_s + self._channel.now / self._channel.clock_hz

    def sleep(self, seconds: float) -> None:
        self._run(seconds, until_output=False)

    def close(self) -> None:
        if not self._closed:
            self._closed = True
            self._board.controller.abort()
            self._folder.remove()

    def reset_board(self) -> None:
        """Unplug the board and plug it in again: a new boot id, nothing remembered, outputs off."""
        self._open_time = _OpenTime()
        self.restart_board()

    def restart_board(self) -> None:
        """Restart the board with its supply on, as its watchdog would: it remembers only how long valves were open."""
        self._past_s += self._channel.now / self._channel.clock_hz
        self.rig.restart()
        self._start()
