"""What each step of a belief did to the plan of a rig: for the terminal, the page and scripts."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from beamfall.errors import BeamfallError
from beamfall.planning.belief import Belief, Step
from beamfall.planning.make import make_plan
from beamfall.setup.rig import Rig

if TYPE_CHECKING:
    from beamfall.planning.result import Interval


@dataclass(frozen=True)
class Timing:
    """The times of a plan in s: `flash` is the interval of its delay at the planned spacing."""

    spacing_s: float | None
    flash_delay_s: float
    flash: Interval

    def to_json(self) -> dict[str, Any]:
        """Plain values, ms."""
        return {
            "spacing": None if self.spacing_s is None else round(self.spacing_s * 1e3, 3),
            "flash_delay": round(self.flash_delay_s * 1e3, 3),
            "flash_interval": self.flash.to_json(),
        }


@dataclass(frozen=True)
class HistoryLine:
    """One step: whether plans use it, and the plan with all up to and with it.

    The first line has no step: it is the rig file alone. `timing` is None if no plan can be made.
    """

    step: Step | None
    used: bool
    timing: Timing | None

    def describe(self) -> str:
        """What it was, in words."""
        return "the rig file alone" if self.step is None else self.step.describe()

    def to_json(self) -> dict[str, Any]:
        """Plain values, times in ms."""
        step = self.step
        return {
            "step": 0 if step is None else step.number,
            "kind": "rig file" if step is None else step.kind,
            "when": None if step is None else step.when,
            "what": self.describe(),
            "shots": 0 if step is None else step.shots,
            "series": [] if step is None else list(step.series),
            "found": None if step is None else step.found,
            "used": self.used,
            "plan": None if self.timing is None else self.timing.to_json(),
        }


def list_history(rig: Rig, belief: Belief | None) -> list[HistoryLine]:
    """Return the rig file alone, then every step of a belief, oldest first, with the plan it makes."""
    lines = [HistoryLine(None, belief is None or not belief.chain, find_timing(rig, None))]
    if belief is None:
        return lines
    return lines + [
        HistoryLine(
            step,
            belief.is_used(step) or step.number == belief.head,
            find_timing(rig, replace(belief, head=step.number)),
        )
        for step in belief.steps
    ]


def find_timing(rig: Rig, belief: Belief | None) -> Timing | None:
    """Return spacing and flash of the plan with a belief; None if there is no plan."""
    try:
        plan = make_plan(rig, learned=belief)
    except BeamfallError:
        return None
    name = "flash_delay_at_planned_spacing" if plan.kind == "collision" else "flash_delay"
    return Timing(plan.spacing_s, plan.flash_delay_s, plan.intervals[name])
