"""The photographer of a simulated rig, who looks at the simulated picture and describes it plainly."""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, field

from beamfall.link.traits import Seen
from beamfall.sim.collision import Picture

_READING_M = 0.001  # accuracy of heights read off a picture
# An umbrella narrower than four drops, and one at its full width: of 4 mm at 4 m/s (physics.umbrella).
_JUST_S, _LONG_S = 0.003, 0.006
# A gap between drop 2 and the jet of less than one drop, and of more than four.
_JUST_GAP, _LONG_GAP = 1.0, 4.0
_AGE_ERROR = 0.25  # of the logarithm of an age, or of a gap, that is judged by eye (estimate)
# Shares of the jet's height beyond which its droplet is called high or low, and how well that is judged (estimates).
_LOW, _HIGH, _SHARE_ERROR = 0.42, 0.58, 0.08
_CONFUSED = ("before", "contact", "after", "jet")


@dataclass
class SimulatedPhotographer:
    """Gives a word for each picture; with `heights` also measures, sometimes a millimetre off.

    `ages`: says just and long after by the umbrella's size in drops, just and long before by the gap in drops, and
    whether a droplet is high or low;
    `widths`: measures the umbrella.
    `wrong_share`: how often another word is said than the right one; `repeats`: the share of these that a second look
    at the picture repeats, since they are no slips (our assumption). `wants_s`: the wanted time since the contact and
    how far off it may be; then she says `found` where an umbrella looks like that, judged by eye like other ages.
    """

    seed: int = 0
    heights: bool = False
    ages: bool = False
    widths: bool = False
    wrong_share: float = 0.0
    wants_s: tuple[float, float] | None = None
    repeats: float = 0.5
    _draws: random.Random = field(init=False)

    def __post_init__(self) -> None:
        self._draws = random.Random(f"{self.seed}/person")

    def look(self, picture: Picture | None) -> Seen:
        """Describe a picture; None is a black one."""
        if picture is None:
            return Seen("black")
        if self.wrong_share and self._draws.random() < self.wrong_share:
            return Seen(self._draws.choice([word for word in _CONFUSED if word != picture.shows]))
        return self._describe(picture)

    def look_again(self, picture: Picture | None, said: Seen) -> Seen:
        """Look at a picture for the second time: slips are mended, misjudgements repeated."""
        if picture is None or said.word in (picture.shows, "found"):
            return said
        return said if self._draws.random() < self.repeats else self._describe(picture)

    def _describe(self, picture: Picture) -> Seen:
        seen_s = self._judge_age(picture) if self.ages or self.wants_s else math.nan
        if self.wants_s is not None and abs(seen_s - self.wants_s[0]) <= self.wants_s[1]:
            return Seen("found")
        age = self._say_more(picture, seen_s) if self.ages else ""
        width = self._measure(picture.umbrella_m) if self.widths else None
        if not self.heights:
            return Seen(picture.shows, age=age, width_m=width)
        jet, drop = self._measure(picture.jet_m), self._measure(picture.drop2_m)
        return Seen(picture.shows, jet, drop, age, width)

    def _say_more(self, picture: Picture, seen_s: float) -> str:
        if picture.shows == "after":
            return "just after" if seen_s < _JUST_S else "long after" if seen_s > _LONG_S else ""
        if picture.shows == "before" and picture.gap is not None:
            gap = picture.gap * math.exp(_AGE_ERROR * self._draws.gauss(0.0, 1.0))
            return "just before" if gap < _JUST_GAP else "long before" if gap > _LONG_GAP else ""
        if picture.shows == "droplet" and picture.share is not None:
            share = picture.share + _SHARE_ERROR * self._draws.gauss(0.0, 1.0)
            return "low droplet" if share < _LOW else "high droplet" if share > _HIGH else ""
        return ""

    def _judge_age(self, picture: Picture) -> float:
        """How long after the contact an umbrella seems to be; not a number where there is none."""
        if picture.shows != "after" or picture.stage_s is None:
            return math.nan
        return picture.stage_s * math.exp(_AGE_ERROR * self._draws.gauss(0.0, 1.0))

    def _measure(self, height_m: float | None) -> float | None:
        if height_m is None:
            return None
        return max(0.0005, height_m + _READING_M * self._draws.gauss(0.0, 1.0))
