"""Two simulated boards connected pin to pin in one virtual time, each with its own clock.

True time is counted in attoseconds, so that it can show a clock difference of parts in 10^9. The board that the host
waits on goes first; before it lets time pass, the other one catches up to the same moment, and stops where it changes a
line, so that no edge arrives late. An edge is seen at the first tick of the other clock that is not before it.
"""

from __future__ import annotations

import dataclasses
from collections import deque
from collections.abc import Callable, Iterable
from types import ModuleType

from beamfall.board_tools.double.wiring import PinnedWire
from beamfall.setup.board_profiles import Profile
from beamfall.setup.signals import Signal
from beamfall.sim.embedded import SimulatedTransport
from beamfall.sim.firmware_modules import FirmwareModules, load_firmware

ATTOSECONDS = 10**18


class CoupledTransport(SimulatedTransport):
    """A transport to a simulated board that the other board can advance."""

    def run_up_to(self, ticks: int, halt: Callable[[], bool]) -> None:
        """Let the board run by itself up to that tick of its clock, or until `halt` says so."""
        channel, board, port = self._channel, self._board, self._port
        channel.granted = ticks
        while channel.now < ticks and not channel.stopped:
            board.step()
            if halt():
                return
            port.idle(board.wake_ms())
            if halt():
                return

    @property
    def now_ticks(self) -> int:
        """Ticks since the board started."""
        now: int = self._channel.now
        return now


class WireEnd:
    """The wires from one board's pins to the other board; serves a simulated transport as its rig."""

    def __init__(self, clock_hz: int, ppm: float) -> None:
        self.clock_hz = clock_hz
        self.period = round(ATTOSECONDS / (clock_hz * (1.0 + ppm * 1e-6)))
        self.other: WireEnd = self
        self.transport: CoupledTransport | None = None
        self.targets: dict[int, int] = {}  # my output's signal -> the other's input
        self._driven: dict[int, int] = {}  # my outputs' levels
        self._sent: dict[int, int] = {}  # levels of the other's inputs, as sent
        self._seen: dict[int, int] = {}  # levels of my inputs, as far as this board's time has come
        self._arriving: deque[tuple[int, int, int]] = deque()
        self._led = False  # the other board lets time pass
        self._begun = 0  # true time at the board's power-up

    def rest(self, signal: int, level: int) -> None:
        """Set the level of an input without a wire."""
        self._seen[signal] = level

    def _now(self) -> int:
        return self.transport.now_ticks if self.transport is not None else 0

    def drive(self, signal: int, level: int, ticks: int) -> None:
        self._driven[signal] = level
        target = self.targets.get(signal)
        if target is None:
            return
        joined = (self._driven.get(other, 0) for other, to in self.targets.items() if to == target)
        total = int(any(joined))
        if total != self._sent.get(target, 0):
            self._sent[target] = total
            self.other.send(self._begun + ticks * self.period, target, total)

    def send(self, true_time: int, signal: int, level: int) -> None:
        """Take an edge that arrives at that true time."""
        ticks = -(-(true_time - self._begun) // self.period)
        self._arriving.append((ticks, signal, level))

    def next_edge(self, until: int) -> tuple[int, int, int] | None:
        if not self._arriving and not self._led:
            self._lead_other(self._begun + until * self.period)
        if not self._arriving or self._arriving[0][0] > until:
            return None
        ticks, signal, level = self._arriving.popleft()
        self._seen[signal] = level
        return max(ticks, self._now()), signal, level

    def _lead_other(self, true_time: int) -> None:
        other = self.other
        if other.transport is None:
            return
        other._led = True
        try:
            ticks = (true_time - other._begun) // other.period
            other.transport.run_up_to(ticks, lambda: bool(self._arriving))
        finally:
            other._led = False

    def level(self, signal: int) -> int:
        return self._seen.get(signal, 0)

    def restart(self) -> None:
        now = self._now()
        for signal, level in list(self._driven.items()):
            if level:
                self.drive(signal, 0, now)
        for _, signal, level in self._arriving:
            self._seen[signal] = level
        self._arriving.clear()
        self._begun += now * self.period


@dataclasses.dataclass
class CoupledBoards:
    """Two boards wired together. `ratio` is the true clock ratio: ticks of the second per tick of the first."""

    first: CoupledTransport
    second: CoupledTransport
    ratio: float


def couple_boards(
    profiles: tuple[Profile, Profile],
    wires: Iterable[PinnedWire],
    *,
    ppm: tuple[float, float] = (0.0, 0.0),
    seed: int = 0,
    clock_hz: tuple[int, int] = (125_000_000, 125_000_000),
    missing: Iterable[str] = (),
    crossed: Iterable[tuple[str, str]] = (),
) -> CoupledBoards:
    """Return a controller and its double, connected by `wires`, with clocks that differ by `ppm`.

    `missing` names missing wires; `crossed` holds pairs of wires whose far ends are swapped.
    """
    ends = (WireEnd(clock_hz[0], ppm[0]), WireEnd(clock_hz[1], ppm[1]))
    ends[0].other, ends[1].other = ends[1], ends[0]
    absent = set(missing)
    inputs = {one.wire.name: one.wire.input for one in wires}
    for a, b in crossed:
        inputs[a], inputs[b] = inputs[b], inputs[a]
    unknown = absent - inputs.keys()
    if unknown:
        raise ValueError(f"there is no wire {', '.join(sorted(unknown))}")
    for one in wires:
        source = ends[one.wire.source == "double"]
        if one.wire.name not in absent:
            source.targets[int(Signal.of(one.wire.output))] = int(Signal.of(inputs[one.wire.name]))
    for one in wires:
        signal = int(Signal.of(one.wire.input))
        source = ends[one.wire.source == "double"]
        if signal not in source.targets.values():
            source.other.rest(signal, one.level_alone)
    transports = [
        CoupledTransport(end, seed=seed + number, name=name, firmware=_with_profile(profile))
        for number, (end, name, profile) in enumerate(
            zip(ends, ("sim (controller)", "sim (double)"), profiles, strict=True)
        )
    ]
    for end, transport in zip(ends, transports, strict=True):
        end.transport = transport
    return CoupledBoards(transports[0], transports[1], ends[0].period / ends[1].period)


def _with_profile(profile: Profile) -> FirmwareModules:
    """The simulated firmware with a real board's profile: its lines and its limits."""
    module = ModuleType(profile.module)
    for name, value in profile.constants.items():
        setattr(module, name, value)
    return dataclasses.replace(load_firmware(), profile=module)
