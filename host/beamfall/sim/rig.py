"""The simulated rig at the board's pins: valves in, beam edges and light out, and the truth about them.

All random numbers come from one seed: each drop and each splash has its own stream, named by the seed and its
number, so that a shot never depends on how earlier shots were read.
"""

from __future__ import annotations

import heapq
import random
from collections.abc import Sequence
from dataclasses import dataclass, field

from beamfall.setup.rig_sections import is_same_place
from beamfall.setup.signals import Signal, SignalKind
from beamfall.sim.coils import Coils, CoilState, SupplyModel
from beamfall.sim.collision import Column, Contact, Jet, Picture, see_picture
from beamfall.sim.drops import LEAST_GAP_S, Drop, make_drop
from beamfall.sim.model import RigModel

CLOCK_HZ = 125_000_000  # of the simulated board, as its profile in firmware/boards says
LINES = 100  # channels beyond: what else covers a line
FORGET_S = 3.0  # a drop older than this does not affect later ones


@dataclass
class Splash:
    """Drops that belong together, what they did to the liquid, and what each light shows.

    `columns` are the places where drops fall, in the order of their valves; `jet`,
    `contact` and `pictures` belong to the first place, with one picture per light.
    """

    drops: list[Drop] = field(default_factory=list)
    columns: list[Column] = field(default_factory=list)
    lights: list[tuple[int, float, float]] = field(default_factory=list)  # flash, light from, to
    pictures: list[Picture] = field(default_factory=list)

    @property
    def jet(self) -> Jet | None:
        return self.columns[0].jet if self.columns else None

    @property
    def contact(self) -> Contact | None:
        return self.columns[0].contact if self.columns else None


class SimulatedRig:
    """Implements `beamfall.sim.embedded.RigAtPins`. `model` is the truth; `seed` gives the random numbers.

    Inside, parts are numbered by their place in the model, from 1; `lines` names their lines on the board.
    """

    def __init__(self, model: RigModel, seed: int = 0) -> None:
        self.lines = {
            kind: model.list_lines(kind)
            for kind in (SignalKind.VALVE, SignalKind.BEAM, SignalKind.FLASH)
        }
        pins = {kind: [int(kind.nth(line)) for line in lines] for kind, lines in self.lines.items()}
        self._valves = {pin: place for place, pin in enumerate(pins[SignalKind.VALVE], 1)}
        self._flashes = {pin: place for place, pin in enumerate(pins[SignalKind.FLASH], 1)}
        self._beams = dict(enumerate(pins[SignalKind.BEAM], 1))
        self._light = int(Signal.light1)
        self.model = model
        self.seed = seed
        self.clock_hz = CLOCK_HZ
        self.drops_made = 0
        self._now = 0
        self._coils = Coils(CLOCK_HZ, seed)
        self._splash = Splash()
        self.first_on: tuple[int, int] | None = None  # the first output to go on since take_splash
        self._begin()

    def _begin(self) -> None:
        self._events: list[tuple[int, int, int, int]] = []  # ticks, order, channel, +1 or -1
        self._order = 0
        self._covers = dict.fromkeys([*self._beams.values(), self._light], 0)
        self._opened: dict[int, int] = {}
        self._next_free_s = dict.fromkeys(self._valves.values(), -1.0)
        self._flash_ready_s = dict.fromkeys(self._flashes.values(), -1.0)

    def find_place(self, kind: SignalKind, line: int) -> int:
        """The place in the model, from 1, of the valve, beam or flash at that line of the board."""
        return self.lines[kind].index(line) + 1

    # -- at the pins -------------------------------------------------------------------------------------------
    def drive(self, signal: int, level: int, ticks: int) -> None:
        self._now = max(self._now, ticks)
        if level and self.first_on is None:
            self.first_on = (signal, ticks)
        self._drive_device(signal, level, ticks)

    def _drive_device(self, device: int, level: int, ticks: int) -> None:
        if device in self._valves:
            self._coils.drive(self._valves[device], level, ticks)
            self._drive_valve(self._valves[device], level, ticks)
        elif device in self._flashes and level:
            self._fire(self._flashes[device], ticks)

    def next_edge(self, until: int) -> tuple[int, int, int] | None:
        self._let_happen(until)
        events = self._events
        while events and events[0][0] <= until:
            ticks, _, channel, step = heapq.heappop(events)
            self._now = max(self._now, ticks)
            line = channel % LINES
            before = self.level(line)
            self._covers[channel] += step
            after = self.level(line)
            if before != after:
                return ticks, line, after
        self._now = max(self._now, until)
        return None

    def _let_happen(self, until: int) -> None:
        """Schedule what happens by itself up to that tick."""

    def level(self, signal: int) -> int:
        return int(self._covers.get(signal, 0) > 0)

    @property
    def can_read(self) -> bool:
        """Whether the board measures coil current and supply voltage."""
        return self.model.supply is not None

    def read_coils(self, start: int, spacing: int, count: int) -> Sequence[tuple[int, int]]:
        return self._coils.read(start, spacing, count, self._coil_state, self._find_supply())

    def _coil_state(self, valve: int) -> CoilState | None:
        valves = self.model.valves
        return CoilState(valves[valve - 1].coil) if valve <= len(valves) else None

    def _find_supply(self) -> SupplyModel:
        return self.model.supply or SupplyModel()

    def restart(self) -> None:
        self._now = 0
        self._coils.forget()
        self.first_on = None
        self._splash = Splash()
        self._begin()

    # -- physics -----------------------------------------------------------------------------------------------
    def _seconds(self, ticks: int) -> float:
        return ticks / self.clock_hz

    def _ticks(self, seconds: float) -> int:
        return round(seconds * self.clock_hz)

    def _schedule(self, from_s: float, to_s: float, signal: int, now: int) -> None:
        start = max(self._ticks(from_s), now + 1)
        end = max(self._ticks(to_s), start + 1)
        for ticks, step in ((start, 1), (end, -1)):
            self._order += 1
            heapq.heappush(self._events, (ticks, self._order, signal, step))

    def _drive_valve(self, valve: int, level: int, ticks: int) -> None:
        if level:
            self._opened[valve] = ticks
            return
        opened = self._opened.pop(valve, None)
        if opened is None or valve > len(self.model.valves):
            return
        self.drops_made += 1
        draws = random.Random(f"{self.seed}/drop/{self.drops_made}")
        drop = make_drop(
            self.model,
            valve,
            self._seconds(opened),
            self._seconds(ticks - opened),
            draws,
            max(self._next_free_s[valve], self._seconds(ticks)),
        )
        if drop is None:
            return
        self._next_free_s[valve] = drop.left_s + LEAST_GAP_S
        for beam, (dark, clear) in drop.dark_s.items():
            self._schedule(dark, clear, self._beams[beam], ticks)
        self._join(drop)

    def _join(self, drop: Drop) -> None:
        """Add the drop to the current splash, or start a new one; calculate the jet and the collision."""
        splash = self._splash
        if splash.drops and drop.left_s - splash.drops[0].left_s > FORGET_S:
            splash = self._splash = Splash()
        splash.drops.append(drop)
        splash.drops.sort(key=lambda one: one.impact_s)
        column = next(
            (one for one in splash.columns if is_same_place(one.place_m, drop.place_m)), None
        )
        if column is None:
            column = Column(drop.place_m)
            splash.columns.append(column)
            splash.columns.sort(key=lambda one: self._find_valve(one.place_m))
        # One random stream per column and splash, the same however many drops have come so far.
        number = self.drops_made - len(splash.drops)
        place = self._find_valve(drop.place_m)
        draws = random.Random(f"{self.seed}/splash/{number}/{place}")
        column.add(self.model, drop, draws)

    def _find_valve(self, place_m: float) -> int:
        """The number, from 0, of the first valve whose drops fall at that place."""
        places = [valve.place_m for valve in self.model.valves]
        return next(n for n, one in enumerate(places) if is_same_place(one, place_m))

    def _fire(self, flash: int, ticks: int) -> None:
        when = self._seconds(ticks)
        if flash > len(self.model.flashes) or when < self._flash_ready_s[flash]:
            return
        lamp = self.model.flashes[flash - 1]
        self._flash_ready_s[flash] = when + lamp.recycle_s
        lit = when + lamp.latency_s
        self._schedule(lit, lit + lamp.duration_s, self._light, ticks)
        self._splash.lights.append((flash, lit, lit + lamp.duration_s))

    # -- the truth ---------------------------------------------------------------------------------------------
    def take_splash(self) -> Splash:
        """Return what has happened since the last call, with what each light would show, and start again."""
        splash = self._splash
        column = splash.columns[0] if splash.columns else Column(0.0)
        splash.pictures = [see_picture(self.model, column, lit) for _, lit, _ in splash.lights]
        self._splash = Splash()
        self.first_on = None
        return splash
