"""What a shot's light would show, as far as it is known: where the last drop and the jet's tip would be then."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from beamfall.planning.belief import Belief
from beamfall.planning.light import find_base
from beamfall.planning.openings import split_places
from beamfall.planning.result import AnchorEdge, Interval, make_interval
from beamfall.planning.seek.likelihood import WORDS, Moments
from beamfall.planning.seek.timing import Timing
from beamfall.planning.seek.weighted_rigs import WeightedRigs
from beamfall.planning.setting import make_setting
from beamfall.planning.unknowns import make_jet_prior
from beamfall.setup.rig import Rig

_COUNT = 1000


@dataclass(frozen=True)
class Moment:
    """What the rigs that fit a file show at one light. Heights in m above the surface, times in s.

    `drop_m` is the last drop's lowest point (below 0: it has struck), `drops` its number. `contact_m` and `stage_s` are
    of its contact with the jet (drop 2) or the umbrella (later ones): the height, and the light after it; None where
    hardly any rig has one. `chances`: of each word of `seek.answer.WORDS`.
    """

    drops: int
    jet_m: Interval
    drop_m: Interval
    contact_m: Interval | None
    stage_s: Interval | None
    diameter_m: float
    chances: dict[str, float]


class Outlooks:
    """Answers at once for one rig: what changes from question to question are the timings alone."""

    def __init__(self, rig: Rig, learned: Belief | None = None) -> None:
        """Draw the rigs; raises as `plan_collision` does."""
        main = split_places(rig.with_aim(kind="collision"))[0]
        self.rig = main.with_aim(spacing_s=None)
        setting = make_setting(self.rig)
        prior = make_jet_prior(self.rig, setting)
        self._weighted = WeightedRigs(self.rig, setting, prior, count=_COUNT, learned=learned)

    def look(self, times_s: Sequence[float], delay_s: float, anchor: AnchorEdge) -> Moment:
        """What the light of a flash `delay_s` after `anchor` shows; `times_s`: each drop's opening since the first."""
        weighted, rigs = self._weighted, self._weighted.rigs
        drops = len(rigs.drops)
        times = tuple(times_s[:drops])  # those that fall elsewhere come later in a plan
        base = find_base(rigs, self.rig, anchor, times)
        light = base + delay_s + rigs.flash_latency_s
        outlook = weighted.look(Timing.predict(rigs, times), light)
        met = np.isfinite(outlook.stage_s)
        some = float(np.mean(met)) > 0.05
        shown = outlook.moments
        assert isinstance(shown, Moments)
        return Moment(
            drops=drops,
            jet_m=make_interval(shown.tip_m),
            drop_m=make_interval(shown.drop_m),
            contact_m=make_interval(shown.contact_m) if some else None,
            stage_s=make_interval(outlook.stage_s) if some else None,
            diameter_m=float(np.median(rigs.drop(drops).diameter_m)),
            chances={
                word: float(chance)
                for word, chance in zip(WORDS, outlook.words @ weighted.weights, strict=True)
            },
        )
