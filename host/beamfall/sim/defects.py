"""The simulated rig with parts in any condition, and all that a person can see, hear and touch.

`RigInRoom` is the rig of `--port sim`. With a sound `Condition` it equals `SimulatedRig` to the tick. It also
records events for a person beside it (see `room`).
"""

from __future__ import annotations

import heapq
import random
from dataclasses import dataclass, replace

from beamfall.setup.rig_sections import is_same_place
from beamfall.setup.sequence import Sequence
from beamfall.setup.signals import Signal
from beamfall.sim.coils import CoilState, SupplyModel
from beamfall.sim.condition import Condition
from beamfall.sim.drops import LEAST_GAP_S, Drop, make_drop
from beamfall.sim.model import RigModel
from beamfall.sim.rig import SimulatedRig, Splash
from beamfall.sim.shutter import Shutter

# Channels apart from the lines: what else covers, lights or breaks a line.
_FINGER, _HAND, _DIM, _BREAK, _STREAM, _SYNC = 100, 200, 300, 400, 500, 600
_SATELLITE_SHARE = 0.4  # of the drop's dwell (our choice: a satellite is much smaller)
_SAG_S = 0.012  # how long the emitter is dim (our choice: about as long as a valve is open)
_SAG_LAG_S = 0.001  # the supply's capacitor lasts about this long (our choice)
_STREAM_REACHES_M = 0.003  # a stream darkens a beam up to this far away
_STREAM_DARK_S = (0.004, 0.040)  # a stream that breaks up into drops (our choice)
_STREAM_CLEAR_S = (0.001, 0.006)
_BREAK_S = (0.0002, 0.020)  # how long a loose contact is open (our choice)


@dataclass(frozen=True)
class Happening:
    """Something that a person beside the rig could notice, and when (s since the simulation began)."""

    what: str  # drop, own-drop, coil, click, flash, shutter
    when_s: float


class RigInRoom(SimulatedRig):
    """A simulated rig in a room. `condition` is what is wrong with it."""

    def __init__(self, model: RigModel, seed: int = 0, condition: Condition | None = None) -> None:
        self.condition = Condition() if condition is None else condition
        self.faults: str | None = None  # the names that it was built with
        self.happenings: list[Happening] = []
        self.restart_due = False
        self._past_s = 0.0
        self._chance = random.Random(f"{seed}/room")
        self._shutter = int(Signal.shutter)
        self._button = int(Signal.button1)
        self._camera = None if model.shutter is None else Shutter(model.shutter, seed)
        super().__init__(model, seed)

    def _begin(self) -> None:
        super()._begin()
        lines = (*self._beams.values(), self._light, self._button)
        for channel in (0, _FINGER, _HAND, _DIM, _BREAK, _STREAM):
            self._covers.update({line + channel: 0 for line in lines})
        if self._camera is not None:
            self._covers[self._camera.model.line + _SYNC] = 0
            self._camera.forget()
        wires = self.condition.wires
        self._wired = {int(Signal.of(a)): int(Signal.of(b)) for a, b in wires.items()}
        self._next_own: dict[tuple[str, int], float] = {}

    def become(self, other: RigInRoom) -> None:
        """Be another rig from now on, at the same pins and at the same time."""
        kept = self._now, self._past_s, self.drops_made
        vars(self).update(vars(other))
        self._now, self._past_s, self.drops_made = kept

    def restart(self) -> None:
        self._past_s += self._seconds(self._now)
        self.restart_due = False
        super().restart()

    def set_by_photographer(self, sequence: Sequence) -> Sequence:
        """What the photographer of this rig really fires for a planned `sequence`."""
        change = self.condition.settings
        return sequence if change is None else change(sequence)

    @property
    def now_s(self) -> float:
        """Seconds since the simulation began, across restarts of the board."""
        return self._past_s + self._seconds(self._now)

    def take_splash(self) -> Splash:
        """As for any rig; if the camera did not open, no light reached a picture."""
        if not self.condition.camera_cable:
            self._splash.lights.clear()
        elif self._camera is not None:
            lights = self._splash.lights
            lights[:] = [one for one in lights if self._camera.sees(one[1], one[2])]
            self._camera.forget()
        return super().take_splash()

    # -- at the pins -------------------------------------------------------------------------------------------
    def _drive_device(self, device: int, level: int, ticks: int) -> None:
        device = self._wired.get(device, device)
        super()._drive_device(device, level, ticks)
        if device == self._shutter and self.condition.camera_cable:
            if level:
                self._notice("shutter", ticks)
            self._move_shutter(level, ticks)

    def _move_shutter(self, level: int, ticks: int) -> None:
        camera = self._camera
        if camera is None:
            return
        for when_s, closed in camera.move(level, self._seconds(ticks)):
            if not camera.model.line:
                continue
            self._order += 1
            when = max(self._ticks(when_s), ticks + 1)
            step = 1 if closed else -1
            heapq.heappush(self._events, (when, self._order, camera.model.line + _SYNC, step))

    def level(self, signal: int) -> int:
        covers = self._covers
        if self._camera is not None and signal == self._camera.model.line:
            return int(not covers[signal + _SYNC])  # a closed contact reads as a beam that is clear
        if signal == self._light:
            return int(self.condition.light_sensor and covers[signal] > 0)
        if signal == self._button:
            button = self.condition.button
            return int(button.connected and (covers[signal] > 0) != button.inverted)
        for number, line in self._beams.items():
            if line == signal:
                return int(self._beam_reads_dark(number, line))
        return 0

    def _beam_reads_dark(self, number: int, line: int) -> bool:
        beam, covers = self.condition.beams[number - 1], self._covers
        if beam.shorted:
            return False
        if not beam.connected or covers[line + _BREAK] > 0:
            return True  # the pull-up makes a line without a receiver read dark (hardware/wiring)
        shaded = any(covers[line + channel] > 0 for channel in (0, _FINGER, _HAND, _STREAM, _DIM))
        lit = beam.emitter_lit and beam.path_free and not shaded
        lit = lit or (beam.ambient and not covers[line + _HAND])
        return lit == beam.inverted

    # -- what parts in this condition do -----------------------------------------------------------------------
    def _notice(self, what: str, ticks: int) -> None:
        self.happenings.append(Happening(what, self._past_s + self._seconds(ticks)))

    def flows(self, valve: int) -> bool:
        """Whether liquid would come out of the valve if it were open."""
        bottle = self.condition.bottle
        part = self.condition.valves[valve - 1]
        way = part.tube_open and (part.nozzle_open or part.nozzle_off)
        return way and bottle.filled and bottle.flow > 0.0

    def streams(self, valve: int) -> bool:
        """Whether liquid runs out of the valve all the time."""
        return self.condition.valves[valve - 1].plunger == "open" and self.flows(valve)

    def has_recycled(self, flash: int) -> bool:
        """Whether the flash could fire again now."""
        return self._seconds(self._now) >= self._flash_ready_s[flash]

    def _drive_valve(self, valve: int, level: int, ticks: int) -> None:
        part = self.condition.valves[valve - 1]
        if not part.connected or not self.condition.supply.on:
            return
        if level:
            self._notice("coil", ticks)
            self._sag(ticks)
        if part.plunger != "free":
            return
        if level:
            self._notice("click", ticks)
        if not self.flows(valve) and not level:
            self._opened.pop(valve, None)
            return
        bottle = self.condition.bottle
        sound = self.model
        if bottle.flow != 1.0 and valve <= len(sound.valves):
            weak = replace(
                sound.valves[valve - 1], flow_m3_s=sound.valves[valve - 1].flow_m3_s * bottle.flow
            )
            valves = (*sound.valves[: valve - 1], weak, *sound.valves[valve:])
            self.model = replace(sound, valves=valves)
        try:
            super()._drive_valve(valve, level, ticks)
        finally:
            self.model = sound
        if not level and not bottle.inlet_open and not bottle.cap_open:
            bottle.flow *= bottle.fades

    def _coil_state(self, valve: int) -> CoilState | None:
        state = super()._coil_state(valve)
        if state is None:
            return None
        part = self.condition.valves[valve - 1]
        stuck = part.plunger
        return replace(
            state, connected=part.connected, moves=stuck == "free", pulled=stuck == "open"
        )

    def _find_supply(self) -> SupplyModel:
        sound, supply = super()._find_supply(), self.condition.supply
        return SupplyModel(sound.volt if supply.on else 0.0, sound.ohm + supply.ohm)

    def _sag(self, ticks: int) -> None:
        supply = self.condition.supply
        if supply.dims_beam:
            start = self._seconds(ticks) + _SAG_LAG_S
            for number in range(1, len(self.model.beams) + 1):
                self._schedule(start, start + _SAG_S, self._beams[number] + _DIM, ticks)
        if supply.restart_share and self._chance.random() < supply.restart_share:
            self.restart_due = True

    def _join(self, drop: Drop) -> None:
        self._notice("drop", self._ticks(drop.left_s))
        for beam, (dark, clear) in drop.dark_s.items():
            for lag in self.condition.satellite_lags_s:
                start = dark + lag * (1.0 + 0.05 * self._chance.gauss(0.0, 1.0))
                length = _SATELLITE_SHARE * (clear - dark)
                self._schedule(start, start + length, self._beams[beam], self._ticks(dark))
        super()._join(drop)

    def _fire(self, flash: int, ticks: int) -> None:
        part = self.condition.flashes[flash - 1]
        if part.powered and part.cable and not part.asleep:
            self._light_up(flash, ticks)

    def _light_up(self, flash: int, ticks: int) -> bool:
        """Fire if it has recycled, whatever triggered it."""
        lights = len(self._splash.lights)
        super()._fire(flash, ticks)
        fired = len(self._splash.lights) > lights
        if fired:
            self._notice("flash", ticks)
        return fired

    # -- what happens by itself --------------------------------------------------------------------------------
    def _let_happen(self, until: int) -> None:
        for number, valve in enumerate(self.condition.valves, 1):
            if number > len(self.model.valves):
                break
            if valve.plunger == "open":
                self._stream(number, until)
            elif valve.leak_s < 1e9:
                self._leak(number, valve.leak_s, until)
        for number, beam in enumerate(self.condition.beams, 1):
            if beam.loose_s < 1e9:
                self._break(number, beam.loose_s, until)

    def _stream(self, valve: int, until: int) -> None:
        when = self._next_own.get(("stream", valve), self._seconds(self._now))
        while self._ticks(when) <= until:
            dark = self._chance.uniform(*_STREAM_DARK_S)
            clear = self._chance.uniform(*_STREAM_CLEAR_S)
            if self.streams(valve):
                for line in self._lines_below(valve):
                    self._schedule(when, when + dark, line + _STREAM, self._now)
            when += dark + clear
        self._next_own["stream", valve] = when

    def _lines_below(self, valve: int) -> list[int]:
        """Beams that a stream out of this valve passes through."""
        nozzle = self.model.valves[valve - 1]
        if nozzle.offset_m > _STREAM_REACHES_M:
            return []
        return [
            self._beams[number]
            for number, beam in enumerate(self.model.beams, 1)
            if is_same_place(beam.place_m, nozzle.place_m)
        ]

    def _leak(self, valve: int, mean_s: float, until: int) -> None:
        key = ("leak", valve)
        if key not in self._next_own:
            self._next_own[key] = self._seconds(self._now) + mean_s * self._chance.random()
        while self._ticks(self._next_own[key]) <= until:
            when = self._next_own[key]
            self._next_own[key] = when + mean_s * self._chance.uniform(0.6, 1.4)
            if not self.flows(valve):
                continue
            opening = self.model.valves[valve - 1].opening_s
            drop = make_drop(
                self.model, valve, when, opening, self._chance, self._next_free_s[valve]
            )
            if drop is None:
                continue
            self._next_free_s[valve] = drop.left_s + LEAST_GAP_S
            for beam, (dark, clear) in drop.dark_s.items():
                self._schedule(dark, clear, self._beams[beam], self._now)
            self._notice("own-drop", self._ticks(drop.left_s))

    def _break(self, beam: int, mean_s: float, until: int) -> None:
        key = ("break", beam)
        if key not in self._next_own:
            self._next_own[key] = self._seconds(self._now) + self._chance.expovariate(1.0 / mean_s)
        while self._ticks(self._next_own[key]) <= until:
            when = self._next_own[key]
            for _ in range(self._chance.randint(1, 4)):
                length = self._chance.uniform(*_BREAK_S)
                self._schedule(when, when + length, self._beams[beam] + _BREAK, self._now)
                when += length + self._chance.uniform(*_BREAK_S)
            self._next_own[key] = when + self._chance.expovariate(1.0 / mean_s)

    # -- what a person does to it ------------------------------------------------------------------------------
    def cover_beam(self, beam: int, delay_s: float, length_s: float, *, by_hand: bool) -> None:
        """A finger in the beam, or a hand right over its receiver, which also blocks all other light."""
        start = self._seconds(self._now) + delay_s
        channel = self._beams[beam] + (_HAND if by_hand else _FINGER)
        self._schedule(start, start + length_s, channel, self._now)

    def shake_beam(self, beam: int) -> None:
        """The beam's cables are moved: a loose contact opens and closes many times."""
        if self.condition.beams[beam - 1].loose_s > 1e9:
            return
        when = self._seconds(self._now) + 0.5
        for _ in range(self._chance.randint(3, 12)):
            length = self._chance.uniform(*_BREAK_S)
            self._schedule(when, when + length, self._beams[beam] + _BREAK, self._now)
            when += length + self._chance.uniform(0.02, 0.2)

    def press_button(self, delay_s: float, length_s: float) -> None:
        """The board's button is held for a while."""
        start = self._seconds(self._now) + delay_s
        self._schedule(start, start + length_s, self._button, self._now)

    def press_flash(self, flash: int) -> bool:
        """Press the flash's own test button, again if the first press only woke it; return whether it fired."""
        part = self.condition.flashes[flash - 1]
        if not part.powered:
            return False
        part.asleep = False
        return self._light_up(flash, self._now)
