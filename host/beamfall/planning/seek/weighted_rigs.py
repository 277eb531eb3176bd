"""Many rigs that could be this one, weighted by every answer so far.

A rig is a vector z of `planning.unknowns`. Each answer multiplies the weights by its likelihood (Bayes'
rule); when few rigs carry the weight, new ones are drawn around them, with the kernel of
Liu & West (2001, in: Sequential Monte Carlo Methods in Practice, ch. 10; from memory), which
keeps mean and covariance.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from beamfall.physics.umbrella import spread_out
from beamfall.planning.draws import Draws, JetDraws, draw_z, make_draws, meet_all
from beamfall.planning.seek.answer import Answer, Shot
from beamfall.planning.setting import Setting
from beamfall.planning.unknowns import NAMES

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from beamfall.physics.jet import JetPrior
    from beamfall.planning.belief import Belief
    from beamfall.setup.rig import Rig

    Floats = NDArray[np.float64]

CONTACT_S = 0.00025  # a picture this close to the contact shows it (0.8 mm of drop 2's way)
LEAST_WEIGHT = 1e-3  # of rigs that must meet their jet for a spacing to be worth a shot
TALL = 0.6  # a contact above this share of the jet's height is high on the jet
_WORDS = ("before", "contact", "after", "jet", "nothing", "missed")
_LAPSE = 0.05  # share of answers that mean nothing: people err
JUST_S, LONG_S = 0.003, 0.006  # `just after` is mostly earlier, `long after` mostly later than this
_AGE_SPREAD = 0.3  # of the logarithm of where people draw these lines (estimate)
_WIDTH_SPREAD = (
    0.1  # of an umbrella's width against `physics.umbrella` (from rig to rig, and shapes)
)
# Models are wrong more often than a normal distribution allows: a fifth of rigs is this much further off.
_FAR_SHARE, _FAR_OFFSET = 0.2, 6.0
_MISS = 0.02  # share of collisions that miss by aim
_FRAME_M, _FRAME_SPREAD_M = (
    0.07,
    0.015,
)  # height of what the camera sees, and how well that is known
_OFFSET = NAMES.index("contact_offset_s")
_OTHER_SPACING_S = 0.004
_SHOT_S = 0.0002  # what else differs from shot to shot
_ONSET_SCATTER_S, _HEIGHT_SCATTER = 0.0008, 0.04  # medians of plan.unknowns.list_scatters
_DWELL_SPREAD = 0.03  # what a beam senses of a drop differs from the model by this (estimate)
_SINCE_LEAST_S = 1e-4  # no picture shows the time since the contact better
_READING_M = 0.001  # heights are read off a picture to this
_LEAST_SHARE = 0.4  # of effective rigs, below which new ones are drawn
_KEEP = 0.97  # Liu & West's a


@dataclass(frozen=True)
class Timing:
    """When drop 1 strikes and later drops come free, since the first opening: arrays, one element a rig."""

    impact_s: Floats
    freed_s: tuple[Floats, ...]


@dataclass(frozen=True)
class Outlook:
    """What each rig would show for one shot: arrays, one element a rig."""

    stage_s: Floats  # light minus contact; NaN without contact
    spread_s: Floats  # standard deviation of the stage from shot to shot
    contact_m: Floats
    jet_m: Floats  # tip at the light
    drop_m: Floats  # the last drop's lowest point at the light; negative after its impact
    words: Floats  # chance of each of _WORDS, shape (words, rigs)
    tall: NDArray[np.bool_]  # the contact is high on the jet
    rising_m_s: Floats  # speed of the tip at the contact


class WeightedRigs:
    """A belief as rigs with weights, to be narrowed by answers. Deterministic for a seed.

    `learned` is the belief that they are drawn from; without one they come from the prior.
    """

    def __init__(
        self,
        rig: Rig,
        setting: Setting,
        prior: JetPrior,
        *,
        count: int = 3000,
        seed: int = 0,
        learned: Belief | None = None,
    ) -> None:
        self._rig, self._setting, self._prior = rig, setting, prior
        self._rng = np.random.default_rng(seed)
        known = learned.fit(rig) if learned is not None else None
        z = draw_z(count, self._rng, *known) if known else draw_z(count, self._rng)
        if not known:
            z[:, _OFFSET] = self._draw_offsets(count)
        # What the models leave out is known for the spacing that it was seen at.
        self._spacing_s = learned.recall_spacing(rig) if learned is not None else None
        self.expected = 1.0  # chance of the newest answer before it was given
        self.reachable = 1.0  # chance of the wanted picture if the rig were known, by its scatter
        self._set(z)

    def _set(self, z: Floats) -> None:
        self._z = z
        self.rigs: Draws = make_draws(self._rig, self._setting, z, self._prior)
        self.weights: Floats = np.full(len(z), 1.0 / len(z))

    @property
    def offset_s(self) -> Floats:
        """What the moment of contact is later than the models say."""
        return self.rigs.values["contact_offset_s"]

    def moments(self) -> tuple[Floats, Floats]:
        """Mean and covariance of z."""
        mean = self.weights @ self._z
        apart = self._z - mean
        return mean, (self.weights[:, None] * apart).T @ apart

    @property
    def farthest(self) -> float:
        """How far the rigs that fit the answers lie from the file, in standard deviations of the worst unknown."""
        return float(np.max(np.abs(self.weights @ self._z)))

    def sample(self, count: int) -> NDArray[np.intp]:
        """Indices of rigs drawn by their weight."""
        places = (np.arange(count) + self._rng.random()) / count
        edges = np.cumsum(self.weights)
        found: NDArray[np.intp] = np.searchsorted(edges, places * edges[-1])
        return np.minimum(found, len(edges) - 1)

    # -- what a shot would show --------------------------------------------------------------------
    def may_meet(self, times_s: tuple[float, ...]) -> bool:
        """Whether the drops could meet at all with these openings."""
        contact, _ = self.rigs.find_contact(times_s)
        return float(self.weights[np.isfinite(contact)].sum()) >= LEAST_WEIGHT

    def predict_timing(self, times_s: tuple[float, ...]) -> Timing:
        """When drop 1 would strike and later drops come free, for openings since the first one."""
        later = enumerate(times_s[1:], 2)
        return Timing(
            self.rigs.impact_s, tuple(at + self.rigs.drop(n).latency_s for n, at in later)
        )

    def timing_of(self, shot: Shot) -> Timing:
        """The same for a shot that was fired: by its own beam edges where they were seen."""
        timing = self.predict_timing(shot.times_s)
        first, impact = shot.find_edge(1), timing.impact_s
        if first is not None:
            impact = first - self.rigs.first.to_edge_s + self.rigs.first.to_surface_s
        freed = []
        for number, predicted in enumerate(timing.freed_s, 2):
            edge = shot.find_edge(number)
            freed.append(predicted if edge is None else edge - self.rigs.drop(number).to_edge_s)
        return Timing(impact, tuple(freed))

    def make_jet(self, timing: Timing) -> JetDraws:
        """The jets of drops that strike then."""
        rigs = self.rigs
        return JetDraws(
            timing.impact_s + rigs.onset_s, rigs.rise_s, rigs.height_m, rigs.setting.gravity
        )

    def look(self, timing: Timing, light_s: Floats | float) -> Outlook:
        """What every rig would show for a light at a time; all since the first opening."""
        jet = self.make_jet(timing)
        contact, height = meet_all(jet, self.rigs.drops, timing.freed_s)
        return self.judge(jet, contact, height, timing, light_s)

    def judge(
        self,
        jet: JetDraws,
        contact: Floats,
        height: Floats,
        timing: Timing,
        light_s: Floats | float,
    ) -> Outlook:
        """The rest of `look`, where the contacts are known already."""
        last, freed_s = self.rigs.drops[-1], timing.freed_s[-1]
        speed = last.impact_speed_m_s
        stage = light_s - contact - self.offset_s
        none = np.isnan(stage)
        rising = (
            np.where(
                none,
                0.0,
                jet.tip(np.where(none, 0.0, contact))
                - jet.tip(np.where(none, 0.0, contact - 1e-3)),
            )
            / 1e-3
        )
        spread = np.sqrt(
            _SHOT_S**2
            + (_HEIGHT_SCATTER * np.where(none, 0.0, height) / speed) ** 2
            + (_ONSET_SCATTER_S * rising / speed) ** 2
        )
        # Back along the last drop's path from where its time is known.
        known = np.where(none, freed_s + last.to_surface_s, contact)
        ahead = known - light_s + np.where(none, 0.0, self.offset_s)
        drop = np.where(none, 0.0, height) + speed * ahead - 0.5 * self._setting.gravity * ahead**2
        tip = jet.tip(np.broadcast_to(np.asarray(light_s, dtype=np.float64), known.shape))
        words = _word_chances(stage, spread, tip, drop, ahead)
        tall = np.where(none, 0.0, height) >= TALL * self.rigs.height_m
        return Outlook(stage, spread, height, tip, drop, words, tall, rising)

    # -- what a shot did show ----------------------------------------------------------------------
    def take(self, shot: Shot, answer: Answer, wanted_s: float, near_s: float) -> float:
        """Weigh the rigs by an answer; return the chance that its picture is the wanted one."""
        if self._spacing_s is not None and abs(shot.spacing_s - self._spacing_s) > _OTHER_SPACING_S:
            # What the models leave out differs from spacing to spacing.
            self._forget_offset()
        self._spacing_s = shot.spacing_s
        outlook = self.look(self.timing_of(shot), shot.flash_s + self.rigs.flash_latency_s)
        hit = chance_within(outlook, wanted_s, near_s)
        if answer.word == "found":
            likelihood, own = hit, np.ones_like(hit)
        else:
            likelihood = outlook.words[_WORDS.index(answer.word)]
            low, high = _stages_of(answer.word)
            both = chance_within(outlook, wanted_s, near_s, low, high)
            own = np.where(
                likelihood > 1e-12, np.minimum(both / np.maximum(likelihood, 1e-12), 1.0), 0.0
            )
        likelihood = _LAPSE / len(_WORDS) + (1.0 - _LAPSE) * likelihood
        self.expected = float(self.weights @ likelihood)
        likelihood = likelihood * self._weigh_umbrella(outlook, answer)
        likelihood = likelihood * self._weigh_heights(outlook, answer) * self._weigh_dwells(shot)
        if answer.since_s is not None:
            measured, own = _weigh_since(
                outlook, answer.since_s, answer.since_error_s, wanted_s, near_s
            )
            likelihood = likelihood * measured
        weights = self.weights * likelihood
        total = float(weights.sum())
        if not total > 0.0:  # nothing fits: keep what was, rather than end in NaN
            return 0.0
        self.weights = weights / total
        chance = float(self.weights @ own)
        self.reachable = float(self.weights @ reachable_chance(outlook, near_s))
        if 1.0 / float(np.sum(self.weights**2)) < _LEAST_SHARE * len(self.weights):
            self._renew()
        return chance

    def _draw_offsets(self, count: int) -> Floats:
        far = self._rng.random(count) < _FAR_SHARE
        drawn: Floats = np.where(far, _FAR_OFFSET, 1.0) * self._rng.standard_normal(count)
        return drawn

    def _weigh_umbrella(self, outlook: Outlook, answer: Answer) -> Floats:
        """By how old the umbrella is said to be, and by its width."""
        result = np.ones_like(outlook.stage_s)
        if answer.word not in ("after", "found"):
            return result
        stage = np.where(np.isnan(outlook.stage_s), 1e-6, np.maximum(outlook.stage_s, 1e-6))
        if answer.age:
            limit = JUST_S if answer.age == "just after" else LONG_S
            sign = 1.0 if answer.age == "just after" else -1.0
            spread = np.hypot(_AGE_SPREAD, np.minimum(outlook.spread_s / stage, 3.0))
            result = (1.0 - _LAPSE) * _below(sign * np.log(limit / stage) / spread) + _LAPSE
        if answer.width_m is not None:
            drop = self.rigs.drops[-1]
            rising = outlook.rising_m_s if len(self.rigs.drops) == 2 else 0.0  # an umbrella rests
            speed = np.maximum(drop.impact_speed_m_s + rising, 0.05)
            liquid = drop.setting.liquid
            radius = spread_out(stage, drop.diameter_m, speed, liquid)
            later = spread_out(stage + outlook.spread_s, drop.diameter_m, speed, liquid)
            error = np.hypot(_READING_M, np.hypot(later - radius, _WIDTH_SPREAD * radius))
            result = result * _bell(0.5 * answer.width_m - radius, error)
        return result

    def _forget_offset(self) -> None:
        self._z[:, _OFFSET] = self._draw_offsets(len(self._z))
        weights = self.weights
        self._set(self._z)
        self.weights = weights

    def _weigh_heights(self, outlook: Outlook, answer: Answer) -> Floats:
        result = np.ones_like(outlook.jet_m)
        met = answer.word in ("contact", "after", "found")
        if answer.jet_m is not None:
            seen = (
                np.where(np.isnan(outlook.contact_m), 0.0, outlook.contact_m)
                if met
                else outlook.jet_m
            )
            result = result * _bell(answer.jet_m - seen, np.hypot(_READING_M, 0.06 * outlook.jet_m))
        if answer.drop_m is not None and answer.word == "before":
            result = result * _bell(answer.drop_m - outlook.drop_m, 1.5 * _READING_M)
        return result + 1e-9

    def _weigh_dwells(self, shot: Shot) -> Floats:
        dwell = self.rigs.first.dwell_s
        if not shot.dwells_s or not np.isfinite(dwell).all():
            return np.ones(len(dwell))
        seen = shot.dwells_s[0]
        return _bell(seen / dwell - 1.0, _DWELL_SPREAD) + 0.02

    def _renew(self) -> None:
        mean = self.weights @ self._z
        apart = self._z - mean
        covariance = (self.weights[:, None] * apart).T @ apart
        chosen = self._z[self.sample(len(self._z))]
        values, vectors = np.linalg.eigh(covariance)
        root = vectors * np.sqrt(np.maximum(values, 0.0) * (1.0 - _KEEP**2))
        noise = self._rng.standard_normal(chosen.shape) @ root.T
        self._set(_KEEP * chosen + (1.0 - _KEEP) * mean + noise)


def chance_within(
    outlook: Outlook, wanted_s: float, near_s: float, low_s: float = -np.inf, high_s: float = np.inf
) -> Floats:
    """Chance, for every rig, of a stage within `near_s` of the wanted one and between low and high."""
    low = max(wanted_s - near_s, low_s)
    high = min(wanted_s + near_s, high_s)
    if low >= high:
        return np.zeros_like(outlook.stage_s)
    stage = np.where(np.isnan(outlook.stage_s), 1e3, outlook.stage_s)
    result: Floats = _below((high - stage) / outlook.spread_s) - _below(
        (low - stage) / outlook.spread_s
    )
    return result * (1.0 - _MISS)


def _weigh_since(
    outlook: Outlook, since_s: float, error_s: float, wanted_s: float, near_s: float
) -> tuple[Floats, Floats]:
    """How well each rig agrees with a measured time since the contact, and the chance that it is the wanted picture.

    What a rig expects and what was measured are two normal distributions: the picture is where both are.
    """
    error_s = max(error_s, _SINCE_LEAST_S)
    none = np.isnan(outlook.stage_s)
    stage = np.where(none, since_s, outlook.stage_s)
    spread = np.where(none, 1.0, outlook.spread_s)
    agrees = _bell(stage - since_s, np.hypot(error_s, spread))
    agrees = _LAPSE + (1.0 - _LAPSE) * np.where(none, 0.0, agrees)
    share = error_s**2 / (error_s**2 + spread**2)
    middle, width = since_s + share * (stage - since_s), spread * np.sqrt(share)
    own: Floats = _below((wanted_s + near_s - middle) / width) - _below(
        (wanted_s - near_s - middle) / width
    )
    return agrees, own


def reachable_chance(outlook: Outlook, near_s: float) -> Floats:
    """Chance, for every rig, that a shot aimed perfectly shows the wanted picture."""
    return (2.0 * _below(near_s / outlook.spread_s) - 1.0) * (1.0 - _MISS)


def _stages_of(word: str) -> tuple[float, float]:
    if word == "contact":
        return -CONTACT_S, CONTACT_S
    if word == "after":
        return CONTACT_S, np.inf
    return (-np.inf, -CONTACT_S) if word in ("before", "jet", "nothing") else (np.inf, np.inf)


def _word_chances(
    stage: Floats, spread: Floats, tip: Floats, drop: Floats, ahead: Floats
) -> Floats:
    none = np.isnan(stage)
    safe = np.where(none, 0.0, stage)
    late = _below((safe - CONTACT_S) / spread)
    early = _below((-CONTACT_S - safe) / spread)
    contact = np.maximum(0.0, 1.0 - late - early)
    # Without a contact: early until the impact, then it has missed.
    struck = _below(-ahead / 5e-4)
    early = np.where(none, 1.0 - struck, early)
    in_frame = _below((_FRAME_M - drop) / _FRAME_SPREAD_M)
    there = tip > 0.0
    missed = np.where(none, struck, _MISS * (late + contact))
    met = np.where(none, 0.0, 1.0 - _MISS)
    out = early * (1.0 - in_frame)
    return np.stack(
        [early * in_frame, contact * met, late * met, out * there, out * ~there, missed]
    )


def _below(x: Floats) -> Floats:
    """The normal distribution, by tanh (within 0.0002: Page 1977, Appl. Stat. 26:75; from memory)."""
    return 0.5 * (1.0 + np.tanh(0.7978845608 * x * (1.0 + 0.044715 * x * x)))


def _bell(x: Floats, spread: Floats | float) -> Floats:
    """The height of a normal distribution, 1 at its top; wide tails, since people misread."""
    return np.exp(-0.5 * np.square(x / spread)) + 1e-3
