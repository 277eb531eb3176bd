"""The result of planning: times with intervals, the anchor and why, the sequence, cautions."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import TYPE_CHECKING, Any

from beamfall.setup.rig_sections import Valve
from beamfall.setup.sequence import Sequence

if TYPE_CHECKING:
    from numpy.typing import NDArray


PERCENTS = (5.0, 50.0, 95.0)


@dataclass(frozen=True)
class Interval:
    """A quantity in SI: below these lie 5 %, 50 % and 95 % of the rigs that fit the file."""

    p5: float
    p50: float
    p95: float

    def to_json(self, factor: float = 1e3) -> dict[str, float]:
        """The three in ms (or times another factor)."""
        return {key: round(getattr(self, key) * factor, 3) for key in ("p5", "p50", "p95")}

    def holds(self, value: float) -> bool:
        """Whether a value lies between 5 % and 95 %."""
        return self.p5 <= value <= self.p95


def make_interval(values: NDArray[Any]) -> Interval:
    """5 %, 50 % and 95 % of many values, ignoring NaN."""
    import numpy as np

    low, middle, high = (float(p) for p in np.nanpercentile(values, PERCENTS))
    return Interval(low, middle, high)


def make_intervals(values: Mapping[str, NDArray[Any]]) -> dict[str, Interval]:
    """Intervals by name, without those that no rig has, such as the time to a beam that sees no drop."""
    import numpy as np

    return {name: make_interval(one) for name, one in values.items() if np.isfinite(one).any()}


class Role(StrEnum):
    """What a drop does in the picture, in the words of a plan."""

    SPLASH = "throws the jet"
    COLLISION = "meets the jet"
    UMBRELLA = "strikes the umbrella"


@dataclass(frozen=True)
class PlannedDrop:
    """A drop of a plan: `at_s` is its opening since opening 1 of the shot, `needs` the interval of that.

    `needs` is None for drop 1 and for drops at other places. `fixed`: the rig file sets the time.
    """

    number: int
    role: Role
    valve: Valve
    at_s: float
    needs: Interval | None = None
    fixed: bool = False

    def to_json(self) -> dict[str, Any]:
        """Plain values; times in ms."""
        return {
            "number": self.number,
            "role": self.role.value,
            "valve": self.valve.output,
            "place_mm": round(self.valve.place_m * 1e3, 3),
            "at": round(self.at_s * 1e3, 3),
            "opening": round(self.valve.opening_s * 1e3, 3),
            "needs": None if self.needs is None else self.needs.to_json(),
            "fixed": self.fixed,
        }


@dataclass(frozen=True)
class AnchorEdge:
    """The beam edge that the flash's delay counts from; `release` has no edge and count 0."""

    beam: str
    edge: str
    count: int

    def to_json(self) -> dict[str, Any]:
        """Beam (null for the release), edge and count, as in the JSON of a shot."""
        return {
            "beam": self.beam if self.count else None,
            "edge": self.edge if self.count else None,
            "count": self.count,
        }

    def describe(self) -> str:
        """In words: `dark edge 2 of beam1`."""
        return f"{self.edge} edge {self.count} of {self.beam}" if self.count else "the release"


@dataclass(frozen=True)
class AnchorChoice:
    """A possible anchor and the scatter it would leave in the picture: a standard deviation of its stage."""

    anchor: AnchorEdge
    scatter_s: float
    chosen: bool
    why: str


class CautionKind(StrEnum):
    """What is doubtful about a plan."""

    FAST_DROPS = "drops come faster than the valve allows"
    FOURTH_DROP = "a drop that no model is for"
    CHANCE = "the drops may well miss"
    STREAM = "an opening pours a stream"
    NOZZLE = "a drop that the nozzle does not release"
    BESIDE = "drops of two nozzles fall beside each other"
    NO_DEPTH = "the dish is too shallow for a jet"
    DEPTH = "the dish is shallow"
    REGIME = "the impact makes no thick jet"
    NO_BEAM = "no beam sees drop 1"
    BEAM_HIGH = "a beam is too near the nozzle"
    BEAM_LOW = "a beam is too near the surface"
    BLANKING = "a beam's blanking may hide the next drop"
    RECYCLING = "a flash recycles for longer than the rest"
    BLUR = "a flash lasts too long"
    FLASH_BEFORE_EDGE = "the flash would have to come before its anchor"
    SPACING = "the spacing is outside the plan's range"
    FLASH_DELAY = "the flash delay is outside the plan's range"
    EXPOSURE = "the exposure may miss the flash"


@dataclass(frozen=True)
class Caution:
    """What is doubtful about a plan, and the cure: `text` for a person, the rest for a program.

    `about` names the outputs, inputs or keys of the rig file; `values` are in SI units.
    """

    kind: CautionKind
    text: str
    about: tuple[str, ...] = ()
    values: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Plan:
    """A shot for a rig.

    `intervals` are of what this rig would need for the picture that is wanted, whatever the
    sequence does; with the planned spacing the flash would need `at_planned_spacing`. `chance` is
    the chance that the drops meet at all.
    """

    kind: str
    rig_name: str
    drops: tuple[PlannedDrop, ...]  # those of drop 1's place first
    sequence: Sequence
    anchor: AnchorEdge
    anchors: tuple[AnchorChoice, ...]
    stage_s: float
    flash_delay_s: float
    intervals: Mapping[str, Interval]
    quantities: Mapping[str, Interval]  # jet height, drop diameter, ... in SI, not times
    assumptions: tuple[str, ...] = ()
    warnings: tuple[Caution, ...] = ()
    chance: float | None = None
    warm_up: Sequence | None = None
    flash_s: tuple[float, float] | None = None  # earliest and latest flash after the release
    has_fixed_flash: bool = False  # a [[firing]] has a delay of its own
    trace: Mapping[str, Any] | None = None  # what the picture of the plan is drawn from

    @property
    def spacing_s(self) -> float | None:
        """Opening 1 to opening 2; None for a picture of one drop."""
        if self.kind != "collision":
            return None
        return self.drops[1].at_s - self.drops[0].at_s

    def to_json(self) -> dict[str, Any]:
        """The plan as one object; times in ms, lengths in mm."""
        return {
            "kind": self.kind,
            "rig": self.rig_name,
            "anchor": self.anchor.to_json(),
            **{name: interval.to_json() for name, interval in self.intervals.items()},
            "planned": {
                "spacing": None if self.spacing_s is None else round(self.spacing_s * 1e3, 3),
                "flash_delay": round(self.flash_delay_s * 1e3, 3),
                "stage": round(self.stage_s * 1e3, 3),
                "chance": None if self.chance is None else round(self.chance, 4),
            },
            "drops": [drop.to_json() for drop in self.drops],
            "quantities": {name: item.to_json() for name, item in self.quantities.items()},
            "anchors": [
                {
                    **choice.anchor.to_json(),
                    "scatter": round(choice.scatter_s * 1e3, 4),
                    "chosen": choice.chosen,
                    "why": choice.why,
                }
                for choice in self.anchors
            ],
            "rows": [
                {
                    "anchor": row.anchor,
                    "count": row.count,
                    "output": row.output,
                    "delay": round(row.delay_s * 1e3, 6),
                    "width": round(row.width_s * 1e3, 6),
                }
                for row in self.sequence.rows
            ],
            "assumptions": list(self.assumptions),
            "warnings": [caution.text for caution in self.warnings],
        }
