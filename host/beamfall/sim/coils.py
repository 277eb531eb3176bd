"""What the board's analogue pins would show: the coils' currents together, and the voltage of the valves' supply.

The coils follow `physics.coil.CoilCurrent` from what was commanded. Nothing is calculated until it is read.
"""

from __future__ import annotations

import random
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from beamfall.physics.coil import CLAMP_V, DIODE_V, Coil, CoilCurrent

_STEP_S = 50e-6
_BACK_S = 0.1  # a coil that was switched on longer ago has settled
_KEPT = 200  # openings that are remembered
# Standard deviation of one reading (our choice: a few steps of a 12-bit converter)
_NOISE_MA, _NOISE_MV = 1.5, 20.0
_MOST = 65535


@dataclass(frozen=True)
class SupplyModel:
    """The valves' supply: its voltage without load, and its resistance with that of its wires."""

    volt: float = 24.0
    ohm: float = 0.5


@dataclass(frozen=True)
class CoilState:
    """A coil as it is: connected at all, and whether its plunger moves or is stuck in."""

    coil: Coil
    connected: bool = True
    moves: bool = True
    pulled: bool = False


@dataclass
class _Opening:
    valve: int
    on: int
    number: int  # of all openings: chance goes by it, since ports start at different times
    off: int | None = None


class Coils:
    """Remembers when valves were driven; `read` calculates what the board measures. Times in ticks of `clock_hz`."""

    def __init__(self, clock_hz: int, seed: int) -> None:
        self._hz = clock_hz
        self._seed = seed
        self._count = 0
        self._openings: deque[_Opening] = deque(maxlen=_KEPT)

    def forget(self) -> None:
        """The board has restarted: its clock starts again."""
        self._openings.clear()

    def drive(self, valve: int, level: int, ticks: int) -> None:
        """Take a change of the output that a valve is plugged into."""
        if level:
            self._count += 1
            self._openings.append(_Opening(valve, ticks, self._count))
            return
        for one in self._openings:
            if one.valve == valve and one.off is None:
                one.off = ticks

    def read(
        self,
        start: int,
        spacing: int,
        count: int,
        state_of: Callable[[int], CoilState | None],
        supply: SupplyModel,
    ) -> Sequence[tuple[int, int]]:
        """Return `count` pairs of mA and mV from `start` on; the voltage is read half a spacing after the current."""
        end = start + count * spacing
        since = start - round(_BACK_S * self._hz)
        near = [
            one for one in self._openings if one.on <= end and (one.off is None or one.off > since)
        ]
        now = min([start, *(max(one.on, since) for one in near)])
        coils: dict[int, CoilCurrent] = {}
        ohms: dict[int, float] = {}
        for one in near:
            state = state_of(one.valve)
            if state is not None and state.connected:
                coils[one.valve] = CoilCurrent(state.coil, pulled=state.pulled, moves=state.moves)
                ohms[one.valve] = state.coil.ohm
        step = max(1, round(_STEP_S * self._hz))
        number = max((one.number for one in self._openings if one.on <= end), default=0)
        draws = random.Random(f"{self._seed}/coils/{number}")
        changes = sorted(
            {now, *(t for one in near for t in (one.on, one.off or end))}, reverse=True
        )
        on: set[int] = set()

        def take_changes() -> None:
            nonlocal on
            while changes and changes[-1] <= now:
                changes.pop()
            on = {one.valve for one in near if one.on <= now < (one.off or end)}

        def advance(until: int) -> tuple[float, float]:
            """Let time pass; return current in A and voltage in V then."""
            nonlocal now
            while now < until:
                if changes and changes[-1] <= now:
                    take_changes()
                drawn = 0.0
                for coil in coils.values():
                    drawn += coil.current_a
                volt = supply.volt - supply.ohm * drawn
                passing = (min(until, changes[-1]) if changes else until) - now
                if (on or drawn) and passing > step:  # at rest, one step takes any time
                    passing = step
                seconds = passing / self._hz
                for valve, coil in coils.items():
                    coil.step(volt if valve in on else -CLAMP_V - DIODE_V, seconds)
                now += passing
            if changes and changes[-1] <= now:
                take_changes()
            # A coil that is off feeds its current into the clamp, not through the supply's shunt.
            shunt = sum([one.current_a for valve, one in coils.items() if valve in on])
            return shunt, supply.volt - supply.ohm * shunt

        pairs = []
        for at in range(count):
            ampere, _ = advance(start + at * spacing)
            _, volt = advance(start + at * spacing + spacing // 2)
            milliampere = round(1e3 * ampere + draws.gauss(0.0, _NOISE_MA))
            millivolt = round(1e3 * volt + draws.gauss(0.0, _NOISE_MV))
            pairs.append((min(_MOST, max(0, milliampere)), min(_MOST, max(0, millivolt))))
        return pairs
