"""Timings that replace the plan's own: set by hand, found by a search, or corrected."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from beamfall.errors import UserError
from beamfall.page.words import SET_BY_HAND
from beamfall.planning.result import Plan
from beamfall.setup.rig import Rig
from beamfall.setup.units import parse_duration

_SPACING_MOST_S, _DELAY_MOST_S = 2.0, 4.0  # as in `rig.Aim`


@dataclass(frozen=True)
class Tuned:
    """None keeps the plan's own timing. `source` tells people where the timings come from; empty if there are none."""

    spacing_s: float | None = None
    delay_s: float | None = None
    source: str = ""

    def set(self, spacing: str, delay: str) -> Tuned:
        """Return them with the texts that somebody typed; an empty one leaves a timing as it is."""
        return Tuned(
            _read("spacing", spacing, _SPACING_MOST_S) if spacing else self.spacing_s,
            _read("flash delay", delay, _DELAY_MOST_S) if delay else self.delay_s,
            SET_BY_HAND,
        )

    def fill(self, plan: Plan | None) -> tuple[float | None, float | None]:
        """Return spacing and delay as set, or else as planned; a new plan may still be in calculation."""
        spacing_s = plan.spacing_s if plan and self.spacing_s is None else self.spacing_s
        return spacing_s, plan.flash_delay_s if plan and self.delay_s is None else self.delay_s

    def apply(self, rig: Rig, plan: Plan | None) -> Rig:
        """Return the rig with these timings as its aim."""
        changes: dict[str, Any] = {}
        if self.spacing_s is not None:
            changes["spacing_s"] = self.spacing_s
        if self.delay_s is not None:
            changes["flash_delay_s"] = self.delay_s
        if changes and plan is not None:
            # A delay means something only with its anchor: keep the one it was set for.
            changes["anchor"] = plan.anchor.beam if plan.anchor.count else "release"
            changes["anchor_count"] = plan.anchor.count
        return rig.with_aim(**changes)


def _read(name: str, text: str, most_s: float) -> float:
    seconds = parse_duration(text, key=name)
    if not 0.0 <= seconds <= most_s:
        raise UserError(f"{name} = {text}: expected 0 to {most_s:g} s")
    return seconds
