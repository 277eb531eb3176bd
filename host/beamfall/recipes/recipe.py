"""A recipe as a value: what was fired, on which rig, what it looks like, and how certain that is."""

from __future__ import annotations

from dataclasses import dataclass, replace

from beamfall.errors import UserError
from beamfall.setup.file_schema import choice, count, number, quantity, text
from beamfall.setup.rig import Rig
from beamfall.setup.rig_sections import LiquidInRig, Valve, is_same_place
from beamfall.setup.rig_shot import KINDS
from beamfall.setup.sequence import Sequence
from beamfall.setup.signals import SignalKind

NAME_MOST, NOTE_MOST = 80, 2000  # characters
_VALVES = SignalKind.VALVE.names


@dataclass(frozen=True, slots=True)
class Events:
    """When things meet, according to the physics of the rig; 90 % of cases lie between `_low` and `_high`.

    `moment`: of a collision, the share of the jet's rise at which drop 2 meets it; of a jet and a droplet, the share of
    its rise at the light; of a cavity, the share of the time from impact to the jet's onset; of a crown, the drop
    diameters that the impact speed covers from impact to light. `stage_s`, of a collision: from the last contact to the
    light.
    """

    kind: str = choice(KINDS, meaning="what the picture shows")
    drops: int = count(1, 8, meaning="how many drops meet at one place")
    moment: float = number(-20.0, 100.0)
    moment_low: float = number(-20.0, 100.0)
    moment_high: float = number(-20.0, 100.0)
    stage_s: float | None = quantity("duration", -0.05, 0.2, default=None)
    stage_low_s: float | None = quantity("duration", -0.2, 0.5, default=None)
    stage_high_s: float | None = quantity("duration", -0.2, 0.5, default=None)


@dataclass(frozen=True, slots=True)
class Looks:
    """What the picture shows, calculated from the rig and what was learned about it; `_low`, `_high` as in `Events`."""

    drop_m: float = quantity("length", 1e-4, 0.02, meaning="diameter of a drop")
    speed_mm_s: float = number(0.0, 1e5, meaning="speed of drop 1 at its impact, mm/s")
    jet_m: float | None = quantity("length", 0.0, 1.0, default=None)
    jet_low_m: float | None = quantity("length", 0.0, 1.0, default=None)
    jet_high_m: float | None = quantity("length", 0.0, 1.0, default=None)
    contact_m: float | None = quantity(
        "length", 0.0, 1.0, default=None, meaning="height at which drop 2 meets the jet"
    )


@dataclass(frozen=True, slots=True)
class DropSeen:
    """What the beam saw of a valve's drops that day: means over `drops`."""

    valve: str = choice(_VALVES)
    drops: int = count(1, 1_000_000, default=1)
    arrival_s: float = quantity("duration", 0.0, 5.0, meaning="from the opening to the beam")
    dwell_s: float | None = quantity("duration", 0.0, 1.0, default=None)


@dataclass(frozen=True, slots=True)
class Label:
    """What people wrote on it, and where it comes from."""

    name: str = text()
    note: str = text(default="")
    rating: int | None = count(1, 5, default=None)
    made: str = text(default="", meaning="day on which the shot was fired")
    board: str = text(default="", meaning="kind of board")


@dataclass(frozen=True, slots=True)
class Home:
    """What is kept only on its owner's computer; `share` leaves it out."""

    shot: int | None = count(
        1, 2**53, default=None, meaning="number of the shot in the owner's log"
    )
    rig_file: str = text(default="")


@dataclass(frozen=True, slots=True)
class Measured:
    """What was measured in its photograph; None if that shows none."""

    jet_m: float | None = quantity("length", 0.0, 1.0, default=None)
    drop_m: float | None = quantity(
        "length", -0.1, 1.0, default=None, meaning="lowest point of the drop that still falls"
    )
    umbrella_m: float | None = quantity(
        "length", 0.0, 1.0, default=None, meaning="width, rim to rim"
    )
    umbrella_height_m: float | None = quantity("length", 0.0, 1.0, default=None)
    crown_m: float | None = quantity(
        "length", 0.0, 1.0, default=None, meaning="height of the crown"
    )
    since_s: float | None = quantity(
        "duration", -0.2, 0.5, default=None, meaning="from contact to light"
    )


@dataclass(frozen=True, slots=True)
class Recipe:
    """A setting worth keeping. `picture` is a JPEG."""

    label: Label
    rig: Rig
    sequence: Sequence
    events: Events | None = None
    looks: Looks | None = None
    drops: tuple[DropSeen, ...] = ()
    picture: bytes | None = None
    home: Home = Home()
    measured: Measured | None = None

    @property
    def name(self) -> str:
        """Its name."""
        return self.label.name

    @property
    def liquid(self) -> str:
        """The liquids in words: the dish's, and each that a valve has for itself."""
        return name_liquids(self.rig)

    @property
    def spacing_s(self) -> float | None:
        """From the first opening to the second one at the same place; None of a single drop."""
        opened = self.openings
        return opened[1] - opened[0] if len(opened) > 1 else None

    @property
    def openings(self) -> tuple[float, ...]:
        """When the valves at the first valve's place open, from the release."""
        near = {one.output for one in find_partners(self.rig)}
        rows = [row for row in self.sequence.rows if row.output in near]
        return tuple(sorted(row.delay_s for row in rows))

    @property
    def flash_delay_s(self) -> float | None:
        """From the flash's anchor to its contact."""
        row = self.sequence.flash_row()
        return None if row is None else row.delay_s

    def renamed(self, name: str) -> Recipe:
        """The same recipe under another name; raises UserError for an invalid name."""
        return replace(self, label=replace(self.label, name=check_name(name)))


def find_partners(rig: Rig) -> tuple[Valve, ...]:
    """The valves whose drops meet those of the first one."""
    return tuple(one for one in rig.valves if is_same_place(one.place_m, rig.valves[0].place_m))


def name_liquids(rig: Rig) -> str:
    """A rig's liquids in words: the dish's, and each that a valve has for itself."""
    own = [f"{name_liquid(one)} from {one.valve}" for one in rig.bottles]
    return ", ".join([name_liquid(rig.liquid), *own])


def name_liquid(liquid: LiquidInRig) -> str:
    """A liquid in words: its parts where it is mixed, and what is dissolved in it."""
    base = " : ".join(f"{share:g} {name}" for name, share in liquid.parts) or liquid.name
    doses = [f"{dose:g} g {name} in 100 mL" for name, dose in liquid.grams]
    return " with ".join([base, *([" and ".join(doses)] if doses else [])])


def check_name(name: str) -> str:
    """Return a recipe's name as it is kept; raises UserError."""
    plain = " ".join(name.split())
    if not plain or len(plain) > NAME_MOST:
        raise UserError(f"a recipe's name has 1 to {NAME_MOST} characters")
    if not plain.isprintable():
        raise UserError("a recipe's name must not hold characters that cannot be seen")
    return plain
