"""A jumper wire in virtual time, from an output of the simulated board to one of its beams."""

from __future__ import annotations

from collections import deque

CLOCK_HZ = 125_000_000


class JumperRig:
    """Implements `beamfall.sim.embedded.RigAtPins`: only a wire from output `source` to input `target`.

    `delay_ticks` is how long an edge takes through the wire: 0 for a real wire, any value in a test. `edge_constant` is
    that of the chip at whose pins it is, see protocol/messages.toml.
    """

    def __init__(
        self,
        source: int,
        target: int,
        clock_hz: int = CLOCK_HZ,
        delay_ticks: int = 0,
        edge_constant: int = 3,
    ) -> None:
        self.clock_hz = clock_hz
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
