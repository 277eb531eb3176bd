"""Many rigs that could be this one, weighted by every answer so far.

A rig is a vector z of `planning.unknowns`. Each answer multiplies the weights by its likelihood (Bayes'
rule); when few rigs carry the weight, new ones are drawn around them, with the kernel of
Liu & West (2001, in: Sequential Monte Carlo Methods in Practice, ch. 10; from memory), which
keeps mean and covariance.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from beamfall.arrays import Floats
from beamfall.physics.jet import LEAST_JET_M, JetPrior
from beamfall.physics.splash import CAVITY_SHARE, CROWN_END, FREE_SHARE, OF_THE_JET
from beamfall.planning.belief import Belief
from beamfall.planning.draws import Draws, JetDraws, draw_normal, draw_z, make_draws, meet_all
from beamfall.planning.seek.answer import Answer, Shot
from beamfall.planning.seek.drops_seen import explain_by_latency, list_late, share_told, weigh_dwell
from beamfall.planning.seek.likelihood import Moments, weigh_answer
from beamfall.planning.seek.one_drop import SplashMoments, weigh_word
from beamfall.planning.seek.outlook import Outlook, expect_word, reachable_chance
from beamfall.planning.seek.taken import OTHER_SPACING_S, Taken, TakenAnswers
from beamfall.planning.seek.timing import Timing
from beamfall.planning.setting import Setting
from beamfall.planning.unknowns import HEIGHT_SCATTER, NAMES, ONSET_SCATTER_S
from beamfall.setup.rig import Rig

LEAST_WEIGHT = 1e-3  # of rigs that must meet their jet for a spacing to be worth a shot
TALL = 0.6  # a contact above this share of the jet's height is high on the jet
# In a search nothing but the offset takes up what the models leave out, and they are wrong more often than a normal
# distribution allows: contacts are this much further off than the planner has them, a fifth of them very far.
_NEAR_OFFSET, _FAR_OFFSET, _FAR_SHARE = 2.0, 12.0, 0.2
_OFFSET_SPREAD = float(np.hypot(_NEAR_OFFSET, _FAR_SHARE**0.5 * _FAR_OFFSET))  # of both, roughly
_WIDE_OFFSET = 20.0  # where answers show that the models are wrong
_OFFSET = NAMES.index("contact_offset_s")
_SHOT_S = 0.0001  # what else differs from shot to shot
_LEAST_SHARE = 0.2  # of effective rigs, below which new ones are drawn
_KEEP = 0.99  # Liu & West's a


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
        self._kind = rig.aim.kind
        self._rng = np.random.default_rng(seed)
        known = learned.fit(rig) if learned is not None else None
        z = draw_z(count, self._rng, *known) if known else draw_z(count, self._rng)
        if not known and self.has_contact:
            z[:, _OFFSET] = self._draw_offsets(count)
        # What the models leave out is known for the spacing that it was seen at.
        self._spacing_s = learned.recall_spacing(rig) if learned is not None else None
        self._has_seen = False  # whether the beam has seen drops of this search: the first says what all would say
        self.expected = 1.0  # chance of the newest answer before it was given
        self.lapse = 0.0  # chance that the newest answer means nothing
        self.reachable = 1.0  # chance of the wanted picture if the rig were known, by its scatter
        self.answers = TakenAnswers()
        # How far a next shot of each rig is off its usual one, in standard deviations.
        self.scatter: Floats = self._rng.standard_normal(count)
        self._set(z)

    def _set(self, z: Floats) -> None:
        self._z = z
        self.rigs: Draws = make_draws(self._rig, self._setting, z, self._prior)
        self.weights: Floats = np.full(len(z), 1.0 / len(z))
        weighed = [self._weigh(one) for one in self.answers.all]
        self.answers.fits = [one[1] for one in weighed]
        self.answers.own = [one[2] for one in weighed]

    @property
    def has_contact(self) -> bool:
        """Whether drops are to meet; else one drop's splash is wanted."""
        return self._kind == "collision"

    @property
    def offset_s(self) -> Floats | float:
        """What the moment of contact is later than the models say."""
        return self.rigs.values["contact_offset_s"] if self.has_contact else 0.0

    def moments(self) -> tuple[Floats, Floats]:
        """Mean and covariance of z."""
        mean = self.weights @ self._z
        apart = self._z - mean
        return mean, (self.weights[:, None] * apart).T @ apart

    @property
    def farthest(self) -> float:
        """How far the rigs that fit the answers lie from the file, in standard deviations of the worst unknown."""
        apart = np.abs(self.weights @ self._z)
        apart[_OFFSET] /= _OFFSET_SPREAD
        return float(np.max(apart))

    def sample(self, count: int) -> NDArray[np.intp]:
        """Indices of rigs drawn by their weight, spread evenly over it."""
        places = (np.arange(count) + 0.5) / count
        edges = np.cumsum(self.weights)
        found: NDArray[np.intp] = np.searchsorted(edges, places * edges[-1])
        return np.minimum(found, len(edges) - 1)

    # -- what a shot would show --------------------------------------------------------------------
    def may_meet(self, times_s: tuple[float, ...]) -> bool:
        """Whether the drops could meet at all with these openings."""
        contact, _ = self.rigs.find_contact(times_s)
        return float(self.weights[np.isfinite(contact)].sum()) >= LEAST_WEIGHT

    def make_jet(self, timing: Timing) -> JetDraws:
        """The jets of drops that strike then."""
        return JetDraws.of(self.rigs, timing.impact_s)

    def find_last_edge(self, timing: Timing) -> Floats:
        """When the last drop's beam edge comes."""
        freed = (
            timing.freed_s[-1] if timing.freed_s else timing.impact_s - self.rigs.first.to_surface_s
        )
        return freed + self.rigs.drops[-1].to_edge_s

    def find_event(self, timing: Timing, jet: JetDraws) -> tuple[Floats, Floats]:
        """When the contact comes, or the moment that is wanted of one drop, as the models say, and at what height.

        NaN where it never comes.
        """
        rigs = self.rigs
        if self.has_contact:
            return meet_all(jet, rigs.drops, timing.freed_s)
        when = timing.impact_s + rigs.moments[self._kind]
        if self._kind in OF_THE_JET:
            when = np.where(rigs.height_m < LEAST_JET_M, np.nan, when)
        return when, np.zeros_like(when)

    def list_turns(self, timing: Timing, event_s: Floats) -> list[Floats]:
        """The moments at which the answer to a shot turns from one word to the next, and so says most."""
        if self.has_contact:
            return [event_s + self.offset_s]
        crown_end, onset, _, free, end = (timing.impact_s + one for one in self._find_phases())
        return {"crown": [timing.impact_s, crown_end], "cavity": [crown_end, onset]}.get(
            self._kind, [onset, free, end]
        )

    def _find_phases(self) -> tuple[Floats, Floats, Floats, Floats, Floats]:
        """The crown's end, the jet's onset and top, when its droplet is free and when it is back: after the impact."""
        rigs = self.rigs
        first = rigs.first
        onset = np.where(rigs.height_m < LEAST_JET_M, np.nan, rigs.onset_s)
        return (
            CROWN_END * first.diameter_m / first.impact_speed_m_s,
            onset,
            onset + rigs.rise_s,
            onset + (1.0 + FREE_SHARE) * rigs.rise_s,
            onset + rigs.rise_s + rigs.fall_s,
        )

    def look(self, timing: Timing, light_s: Floats | float) -> Outlook:
        """What every rig would show for a light at a time; all since the first opening."""
        jet = self.make_jet(timing)
        event, height = self.find_event(timing, jet)
        return self.judge(jet, event, height, timing, light_s)

    def judge(
        self, jet: JetDraws, event: Floats, height: Floats, timing: Timing, light_s: Floats | float
    ) -> Outlook:
        """The rest of `look`, where the events are known already."""
        light = np.broadcast_to(np.asarray(light_s, dtype=np.float64), event.shape)
        if self.has_contact:
            return self._judge_contact(jet, event, height, timing, light)
        rigs, tip = self.rigs, jet.tip(light)
        moments = SplashMoments(
            light - event, light - timing.impact_s, tip, *self._find_phases(), rigs.first.impact_speed_m_s
        )  # fmt: skip
        share = {"crown": 0.0, "cavity": CAVITY_SHARE}.get(self._kind, 1.0)
        rising = rigs.rise_s if self._kind in OF_THE_JET else 0.0
        # The rise goes with the root of the height.
        spread = np.sqrt(
            _SHOT_S**2 + (share * ONSET_SCATTER_S) ** 2 + (0.5 * HEIGHT_SCATTER * rising) ** 2
        )
        return Outlook(
            moments, np.broadcast_to(spread, event.shape), np.ones(event.shape, dtype=np.bool_)
        )

    def _judge_contact(
        self, jet: JetDraws, contact: Floats, height: Floats, timing: Timing, light_s: Floats
    ) -> Outlook:
        drop = self.rigs.drops[-1]
        speed = drop.impact_speed_m_s
        none = np.isnan(contact)
        at, base = np.where(none, 0.0, contact), np.where(none, 0.0, height)
        rising = np.where(none, 0.0, jet.tip(at) - jet.tip(at - 1e-3)) / 1e-3
        # A taller jet also takes longer to its top, so that before the top its tip is higher by less.
        taller = base - 0.5 * rising * (at - jet.starts_s)
        closing = np.maximum(speed + rising, 0.05)
        spread = np.sqrt(
            _SHOT_S**2
            + (HEIGHT_SCATTER * taller / closing) ** 2
            + (ONSET_SCATTER_S * rising / closing) ** 2
        )
        struck = timing.freed_s[-1] + drop.to_surface_s
        ahead = np.where(none, struck, contact + self.offset_s) - light_s
        tip = jet.tip(light_s)
        moments = Moments(
            np.where(none, np.nan, -ahead), ahead, height, tip, closing,
            drop.diameter_m, speed, drop.setting.liquid, self._setting.gravity,
        )  # fmt: skip
        return Outlook(moments, spread, base >= TALL * self.rigs.height_m)

    def find_share_told(self, times_s: tuple[float, ...], *, by_beam: bool) -> float:
        """How much of what is not known about the flash's delay one drop would tell by its beam edge and dwell: a
        share of the variance. 0 where the beam sees no drop, or drops of two valves, which it cannot tell apart."""
        if self._has_seen or len({valve.output for valve in self._rig.valves}) > 1:
            return 0.0
        timing = Timing.predict(self.rigs, times_s)
        event, _ = self.find_event(timing, self.make_jet(timing))
        base = self.find_last_edge(timing) if by_beam else 0.0
        return share_told(self.rigs, event - base, self._rig.uncertainty.latency_scatter_s)

    # -- what a shot did show ----------------------------------------------------------------------
    def take(
        self, shot: Shot, answer: Answer, wanted_s: float, near_s: float, *, confirmed: bool = False
    ) -> float:
        """Weigh the rigs by an answer; return the chance that its picture is the wanted one.

        `confirmed`: a second look at the picture has shown the same.
        """
        before, now = self._spacing_s, shot.spacing_s
        if before is not None and now is not None and abs(now - before) > OTHER_SPACING_S:
            # What the models leave out differs from spacing to spacing.
            self._forget_offset()
        self._spacing_s = shot.spacing_s
        self.see_drops(shot)
        taken = Taken(shot, answer, self.answers.says_ages, wanted_s, near_s, confirmed)
        outlook, likelihood, own = self._weigh(taken)
        self.expected = float(self.weights @ expect_word(outlook, answer))
        self.lapse = taken.lapse / float(self.weights @ likelihood)
        self.answers.add(taken, likelihood, own)
        weights = self.weights * likelihood
        total = float(weights.sum())
        if not total > 0.0:  # nothing fits: keep the old weights instead of NaN
            return 0.0
        self.weights = weights / total
        self.reachable = float(self.weights @ reachable_chance(outlook, near_s))
        self._renew_if_few()
        return float(self.weights @ self.answers.own[-1])

    def _weigh(self, taken: Taken) -> tuple[Outlook, Floats, Floats]:
        """The outlook of a shot, how likely its answer is for each rig, and the chance of the wanted picture."""
        shot, answer = taken.shot, taken.answer
        outlook = self.look(Timing.read(self.rigs, shot), shot.flash_s + self.rigs.flash_latency_s)
        shots = outlook.scattered
        hit = np.abs(shots.stage_s - taken.wanted_s) <= taken.near_s  # False for NaN
        fits = weigh_answer(shots, answer, says_ages=taken.says_ages, confirmed=taken.confirmed)
        if answer.word == "found":
            return outlook, np.mean(fits * hit, axis=0) + 1e-6, np.ones(self.rigs.count)
        likelihood: Floats = np.mean(fits, axis=0)
        own: Floats = np.mean(fits * hit, axis=0) / likelihood
        own *= weigh_word(self._kind, answer.word)
        return outlook, likelihood, own

    def widen(self) -> None:
        """Draw rigs again from the file alone, with contacts far from where the models say, and weigh them by the
        answers at the newest openings: those that fitted before hardly explain what was seen."""
        z = draw_z(len(self._z), self._rng)
        if self.has_contact:
            z[:, _OFFSET] *= _WIDE_OFFSET
        self._set(z)
        newest = self.answers.all[-1].shot
        self._has_seen = False
        self.see_drops(newest)
        for number in sorted({number for number, _ in self.answers.own_chances(newest.times_s)}):
            self._multiply(self._weigh(self.answers.all[number])[1])
        self._renew()

    def _draw_offsets(self, count: int) -> Floats:
        far = self._rng.random(count) < _FAR_SHARE
        drawn: Floats = np.where(far, _FAR_OFFSET, _NEAR_OFFSET) * self._rng.standard_normal(count)
        return drawn

    def _forget_offset(self) -> None:
        self._z[:, _OFFSET] = self._draw_offsets(len(self._z))
        weights = self.weights
        self._set(self._z)
        self.weights = weights

    def see_drops(self, shot: Shot) -> None:
        """Weigh the rigs by what the beam saw of a shot's drops, once: further drops fall alike."""
        if self._has_seen:
            return
        self._has_seen = True
        self._multiply(weigh_dwell(self.rigs, shot))
        for latency in ("latency_error_s", "other_latency_error_s"):
            if not (late := list_late(self.rigs, shot, latency)):
                continue
            z, likelihood = explain_by_latency(
                self._z, self.weights, late, latency, self._rig.uncertainty, self._rng
            )
            weights = self.weights
            self._set(z)
            self.weights = weights
            self._multiply(likelihood)
        self._renew_if_few()

    def _multiply(self, likelihood: Floats) -> None:
        weights = self.weights * likelihood
        self.weights = weights / float(weights.sum())

    def _renew_if_few(self) -> None:
        if 1.0 / float(np.sum(self.weights**2)) < _LEAST_SHARE * len(self.weights):
            self._renew()

    def _renew(self) -> None:
        mean, covariance = self.moments()
        chosen = self._z[self.sample(len(self._z))]
        values, vectors = np.linalg.eigh(covariance)
        root = vectors * np.sqrt(np.maximum(values, 0.0) * (1.0 - _KEEP**2))
        noise = draw_normal(len(chosen), self._rng) @ root.T
        self._set(_KEEP * chosen + (1.0 - _KEEP) * mean + noise)
