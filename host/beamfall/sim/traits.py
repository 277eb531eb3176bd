"""A simulated port's answers to `beamfall.link.traits`."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Any, cast

from beamfall.link.traits import Helper, KnownShot, Picture, Planned, PortTraits, Seen, StampedEdge
from beamfall.sim.build import build_rig
from beamfall.sim.defects import RigInRoom
from beamfall.sim.needs import Falling, find_needs
from beamfall.sim.person import SimulatedPerson
from beamfall.sim.photographer import SimulatedPhotographer
from beamfall.sim.picture import SimulatedPicture, draw_pictures, draw_sheet
from beamfall.sim.rig import SimulatedRig
from beamfall.sim.room import Room
from beamfall.sim.truth import take_truth


class SimulatedTraits(PortTraits):
    """A port with anything at its pins: virtual time, repeatable random numbers, nothing to see."""

    is_virtual_time = True
    repeats_boot_ids = True
    names_rig = True
    brings_rig = True

    def __init__(self, seed: int, clock: Callable[[], float]) -> None:
        self.seed = seed
        self._clock = clock
        self._zero_us = time.time_ns() // 1000 - round(clock() * 1e6)

    def time_of_day_us(self, *, not_before_us: int = 0) -> int:
        now_us = self._zero_us + round(self._clock() * 1e6)
        self._zero_us += max(0, not_before_us - now_us)
        return max(now_us, not_before_us)


class RigTraits(SimulatedTraits):
    """A port with a simulated rig: the truth about each shot, its camera and its people."""

    def __init__(self, rig: SimulatedRig, clock: Callable[[], float]) -> None:
        super().__init__(rig.seed, clock)
        self.studio = SimulatedStudio(rig)
        self._rig = rig

    def take_shot(self, edges: Iterable[StampedEdge]) -> KnownShot:
        truth, splash = take_truth(self._rig, edges)
        return KnownShot(truth, SimulatedPicture(splash, self._rig.model, self.time_of_day_us()))

    def as_set(self, sequence: Planned) -> Planned:
        if not isinstance(self._rig, RigInRoom):
            return sequence
        return cast(Planned, self._rig.set_by_photographer(cast(Any, sequence)))

    def renew_chance(self, shots: int) -> None:
        self._rig.drops_made += 100 * shots


class SimulatedStudio:
    """Implements `beamfall.link.traits.Studio`."""

    def __init__(self, rig: SimulatedRig) -> None:
        self._rig = rig

    def use_rig(self, rig: Any) -> None:
        own = cast(RigInRoom, self._rig)
        own.become(build_rig(rig, own.seed, own.faults))

    def draw_sheet(
        self, pictures: Sequence[tuple[Picture, str]], path: Path, *, title: str = ""
    ) -> None:
        draw_sheet([(_own(picture).scene, words) for picture, words in pictures], path, title=title)

    def draw_pictures(self, pictures: Sequence[Picture], path: Path) -> None:
        draw_pictures([_own(one) for one in pictures], path)

    def find_photographer(self, *, heights: bool = False) -> Callable[[Picture | None], Seen]:
        photographer = SimulatedPhotographer(self._rig.seed, heights, ages=True)
        return lambda picture: photographer.look(None if picture is None else _own(picture).seen)

    def find_helper(self, *, valve: int, beam: int, flash: int, wrong_share: float = 0.0) -> Helper:
        return SimulatedPerson(
            Room(cast(RigInRoom, self._rig)),
            valve=valve,
            beam=max(beam, 1),
            flash=max(flash, 1),
            wrong_share=wrong_share,
            seed=self._rig.seed,
        )

    def describe_needs(
        self,
        stage_s: float,
        meeting: float,
        edge: str,
        drops: Sequence[tuple[int, float, float]] = (),
        kind: str = "collision",
    ) -> dict[str, Any] | None:
        falling = [Falling(*one) for one in drops]
        needs = find_needs(self._rig.model, stage_s, meeting, edge, falling, kind)
        return None if needs is None else needs.to_json()


def _own(picture: Picture) -> SimulatedPicture:
    assert isinstance(picture, SimulatedPicture), "a picture belongs to the port that took it"
    return picture


def find_traits(at_pins: object, seed: int, clock: Callable[[], float]) -> PortTraits:
    """Return the answers of a port with that rig at its pins; `clock` is the port's, in s."""
    if isinstance(at_pins, SimulatedRig):
        return RigTraits(at_pins, clock)
    return SimulatedTraits(seed, clock)
