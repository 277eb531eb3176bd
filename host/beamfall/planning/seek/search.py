"""The whole search, without a board: give it what was fired and answered, and it gives the next shot."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import NoReturn

import numpy as np

from beamfall.errors import NoProgress, UserError
from beamfall.planning.belief import Belief
from beamfall.planning.collision import add_places, check_rig, refuse_spacing
from beamfall.planning.draws import find_beam
from beamfall.planning.light import choose_stage
from beamfall.planning.openings import find_need, list_planned, split_places
from beamfall.planning.result import AnchorEdge, PlannedDrop
from beamfall.planning.rows import build_sequence, find_lead
from beamfall.planning.seek.aims import Start, check_aim
from beamfall.planning.seek.answer import BLACK, NOTHING, Answer, Shot
from beamfall.planning.seek.choose import Proposal, propose
from beamfall.planning.seek.one_drop import NEARS_S
from beamfall.planning.seek.taken import Told
from beamfall.planning.seek.weighted_rigs import TALL, WeightedRigs
from beamfall.planning.setting import make_setting
from beamfall.planning.unknowns import make_jet_prior
from beamfall.setup.rig import Rig
from beamfall.setup.sequence import Sequence

NEAR_S = 0.001  # a picture within this of the wanted stage is found
# The search stops at this chance that a picture is the wanted one. In tests/benchmarks/seek_shots.py the chances are
# what they say, so that a search is right a little more often than this when it stops.
SURE = 0.93
# Shares of the best possible chance that are enough where that is lower.
_OF_REACHABLE, _OF_REACHABLE_OF_ONE = 0.945, 0.92
_GOOD_SPACING = 0.75
# Answers less likely than this, how many are a misfit; and standard deviations that a rig may be off.
_SURPRISE, _SURPRISES_MOST, _FAR = 0.12, 2, 2.5
_ODD = 0.5  # an answer is odd if it means nothing with more than this chance
# If an answer means nothing with more than this chance, somebody looks at its picture again: before the next shot, and
# before the search ends.
_DOUBT, _DOUBT_END = 0.15, 0.1
_HIDES = 2  # crowns, and as many jets: no cavity between them that a picture can show
_MISSES_MOST = 2  # at one spacing, before another is tried
# Share of the variance of the flash's delay: it is then known a fifth better (our choice).
_MUCH_TOLD = 0.36
_USELESS_MOST = 2  # shots in a row without information: the rig is wrong, not the timing


@dataclass
class Search:
    """A search for a collision of two or more drops `wanted_s` after the last contact (the rig's aim, else STAGE_S).

    Drops at other places fall along as the plan has them; answers are about the place of drop 1.
    Where the rig's aim is the splash of one drop, `wanted_s` counts from the planner's moment for it.

    `learned` is what is known about the rig; with `fresh` the search begins without it. `start`: where it begins, such
    as at a recipe; it says the stage too.

    Raises as `plan_collision` does, and RigFileError where the rig's aim fixes what a search varies
    or asks for what it does not use: all that before the first drop falls.
    """

    rig: Rig
    wanted_s: float | None = None
    near_s: float = NEAR_S
    sure: float = SURE
    learned: Belief | None = None
    start: Start | None = None
    fresh: bool = False
    seed: int = 0
    shots: int = 0  # fired and answered, also those that gave no information
    chance: float = 0.0  # that the newest picture is the wanted one
    best: int = 0  # the answered shot, from 0, whose picture most likely is the wanted one
    best_chance: float = 0.0
    #: The chance of each answered picture that it is the wanted one, as known now, by its place among the answers.
    chances: dict[int, float] = field(default_factory=dict)
    found: bool = False
    _spacing_s: float | None = None
    _kept: tuple[float, ...] = ()  # openings with which the drops have met
    _last_spacing_s: float | None = None
    _newest: Proposal | None = None
    _useless: int = 0  # shots in a row that gave no information, and why
    _why: str = ""
    _left: list[float] = field(default_factory=list)  # spacings at which drop 2 missed
    _surprises: int = 0  # answers that were hardly expected
    _again: bool = False  # the newest answer was odd: the same shot is fired once more
    _is_widened: bool = False  # rigs were drawn again, since the first ones did not fit
    _told: list[Told] = field(default_factory=list)
    _fixed: tuple[float | None, ...] = ()  # openings that the rig file sets
    _dropped: Shot | None = None  # a drop that fell before the first picture, without a flash
    whole: Rig = field(init=False)  # with the valves at all places
    _others: list[Rig] = field(init=False)  # the rig at each other place

    def __post_init__(self) -> None:
        check_rig(self.rig)
        self.whole = self.rig
        self.rig, *self._others = split_places(self.rig)
        check_aim(self.rig)
        if self.start is not None:
            self.wanted_s, self.near_s = self.start.stage_s, self.start.near_s
        self.near_s = max(self.near_s, NEARS_S.get(self.rig.aim.kind, 0.0))
        self.wanted_s = choose_stage(self.rig, self.wanted_s)
        self._begin()
        if not self.weighted.has_contact:
            return
        fixed_s = self._fixed[1]
        if fixed_s is not None and not self.weighted.may_meet((0.0, fixed_s)):
            refuse_spacing(self.rig, fixed_s, find_need(self.weighted.rigs))

    def _begin(self) -> None:
        """Know nothing but the file and what was learned before."""
        setting = make_setting(self.rig)
        known = None if self.fresh else self.learned
        prior = make_jet_prior(self.rig, setting)
        self.weighted = WeightedRigs(self.rig, setting, prior, seed=self.seed, learned=known)
        if self._dropped is not None:
            self.weighted.see_drops(self._dropped)
        self._told, self.chances, self._left, self._kept = [], {}, [], ()
        self._surprises, self._again, self._is_widened = 0, False, False
        if not self.weighted.has_contact:
            return
        self._fixed = self.rig.list_fixed()
        self._spacing_s = self._fixed[1]
        if self._spacing_s is None and self.start is not None:
            self._spacing_s = self.start.spacing_s
        if self._spacing_s is None and known is not None:
            self._spacing_s = known.recall_spacing(self.rig)

    @property
    def by_beam(self) -> bool:
        """Whether the flash follows the last drop's beam edge."""
        rig = self.rig
        seen = bool(rig.beams) and find_beam(rig, rig.list_drops()[-1]) == rig.beams[0]
        return seen and rig.aim.anchor != "release"

    def propose(self) -> Proposal:
        """The next shot."""
        assert self.wanted_s is not None
        if (self._useless or self._again) and self._newest is not None:
            return self._newest  # nobody has seen its picture, or the answer is hardly possible
        proposal = self._find_best()
        if proposal is None and self._told:
            # Step by step the rigs have drifted to where the drops miss, though somebody has seen them meet.
            self._widen()
            proposal = self._find_best()
        if proposal is None:
            self._refuse()
        if self._spacing_s is None:
            self._last_spacing_s = proposal.spacing_s
        self._newest = proposal
        return proposal

    def _find_best(self) -> Proposal | None:
        assert self.wanted_s is not None
        return propose(
            self.weighted, self.wanted_s, self.near_s, fixed=self._list_kept(), by_beam=self.by_beam,
            enough=self._enough, left=tuple(self._left),
        )  # fmt: skip

    def _refuse(self) -> NoReturn:
        """Raise UserError: nothing could show the wanted picture."""
        shows = "such a picture"
        if self.weighted.has_contact:
            spacing_s = self._list_kept()[1]
            kept = "" if spacing_s is None else f" with a spacing of {spacing_s * 1e3:.4g} ms"
            shows = f"drops that could collide{kept}"
        raise UserError(
            f"no rig that fits this file, with {shows}, fits all the answers: "
            "check the rig file's heights and opening, then seek again with --fresh"
        )

    def wants_drops(self, proposal: Proposal) -> bool:
        """Whether drops should fall without a flash before this first shot: the beam tells much about it then."""
        return self.weighted.find_share_told(proposal.times_s, by_beam=self.by_beam) >= _MUCH_TOLD

    def see_drop(self, dropped: Shot) -> None:
        """Take what the beam saw of a drop that fell without a flash, before the first shot."""
        self._dropped, self._newest, self._last_spacing_s = dropped, None, None
        self.weighted.see_drops(dropped)

    @property
    def _enough(self) -> float:
        """The chance of the best picture at which the search ends."""
        # A rig with much scatter never gets that certain: then almost its best possible chance is enough.
        share = _OF_REACHABLE if self.weighted.has_contact else _OF_REACHABLE_OF_ONE
        return min(self.sure, share * self.weighted.reachable)

    def _list_kept(self) -> tuple[float | None, ...]:
        """The openings that stay as they are: all once the drops have met, else the spacing and what the file sets."""
        if self._kept or not self.weighted.has_contact:
            return self._kept
        spacing = self._spacing_s if self._spacing_s is not None else self._keep_spacing()
        return (0.0, spacing, *self._fixed[2:])

    @property
    def begins_apart(self) -> bool:
        """Whether the first spacing is the search's own choice, and so may be another than the plan's."""
        return self.weighted.has_contact and self._spacing_s is None and self.shots == 0

    def _keep_spacing(self) -> float | None:
        """The last spacing, as long as drop 2 then likely meets the jet high up."""
        spacing = self._last_spacing_s
        if spacing is None:
            return None
        _, height = self.weighted.rigs.find_contact((0.0, spacing))
        good = height >= TALL * self.weighted.rigs.height_m  # False for NaN
        return spacing if float(self.weighted.weights @ good) >= _GOOD_SPACING else None

    def build(self, proposal: Proposal) -> Sequence:
        """The sequence that fires a proposal."""
        rig, rigs = self.rig, self.weighted.rigs
        drops, shift = self._list_drops(proposal)
        if self.by_beam:
            beam, valves = rig.beams[0], rig.list_drops()
            seen = sum(find_beam(rig, valve) == beam for valve in valves)
            anchor = AnchorEdge(beam.input, beam.edge, seen)
            last_drop = rigs.drops[-1]
            edges = np.percentile(last_drop.latency_s + last_drop.to_edge_s, (0.1, 99.9))
            first, last = (float(proposal.times_s[-1] + one) + shift for one in edges)
            delay = proposal.delay_s
        else:
            anchor, first, last = AnchorEdge("release", "", 0), 0.0, 0.0
            delay = proposal.delay_s + find_lead(rig) + shift
        name = f"seek, {rig.name}"
        return build_sequence(
            self.whole, drops, anchor, delay, last, name, first_edge_s=first, once=True
        )

    def _list_drops(self, proposal: Proposal) -> tuple[list[PlannedDrop], float]:
        """All drops of a shot, and how much later those at other places make the first opening of these."""
        assert self.wanted_s is not None
        drops = list_planned(self.rig, proposal.times_s, None)
        if not self._others or not self.weighted.has_contact:
            return drops, 0.0
        rigs, last = self.weighted.rigs, self.weighted.rigs.drops[-1]
        base = proposal.times_s[-1] + last.latency_s + last.to_edge_s if self.by_beam else 0.0
        light_s = float(np.median(base + rigs.flash_latency_s)) + proposal.delay_s
        known = None if self.fresh else self.learned
        return add_places(self._others, light_s - self.wanted_s, drops, known)

    def take(self, shot: Shot, answer: Answer) -> None:
        """Take the answer to a shot; `found` and `chance` then say how things stand."""
        assert self.wanted_s is not None
        if answer.word == BLACK:
            self.pass_over("the picture was black")
            return
        self.shots += 1
        self._useless = 0
        self._learn(Told(shot, answer))

    def find_doubtful(self) -> int | None:
        """The answer, from 0, whose picture somebody should look at again before the next shot; None if there is none.

        Either it hardly fits the others, or a search that would end now depends on it.
        """
        if self._said_found is not None:
            return None
        doubts = self.weighted.answers.find_doubts(self.weighted.weights)
        asked = [number for number, one in enumerate(self._told) if not one.looked]
        worst = max(asked, key=lambda number: doubts[number], default=None)
        least = _DOUBT_END if self.found else _DOUBT
        return worst if worst is not None and doubts[worst] > least else None

    def look_again(self, number: int, answer: Answer) -> None:
        """Take what a second look at a picture has shown: the same counts for more, another answer replaces it."""
        told, first = self._told, self._told[number]
        again = Told(first.shot, answer, looked=True, confirmed=answer == first.answer)
        told[number : number + 1] = [] if answer.word == BLACK else [again]
        self._begin()
        self.found = False
        for one in told:
            self._learn(one)

    def _learn(self, told: Told) -> None:
        assert self.wanted_s is not None
        self._told.append(told)
        shot, answer = told.shot, told.answer
        self.chance = self.weighted.take(
            shot, answer, self.wanted_s, self.near_s, confirmed=told.confirmed
        )
        odd = self.weighted.lapse > _ODD
        if odd or self.weighted.expected < _SURPRISE:
            self._surprises += 1
        # An answer against everything known is a mistake, or the rig is different: the same shot shows which.
        self._again = odd and not self._again
        # Aim where the answers point, not where the file does.
        if self.misfit and not self._is_widened:
            self._again = False
            self._widen()
        self._judge_best()
        said = self._said_found
        if said is not None:
            self.best, self.best_chance = said, 1.0
            self.chances[said] = 1.0
        self.found = said is not None or (self.best_chance >= self._enough and self._is_bracketed())
        if answer.word == "missed":
            self._leave_if_missed(shot.spacing_s)
        if answer.word in ("contact", "after", "found"):
            # From now on one thing at a time: at one spacing the moment of contact stays where it is,
            # whatever law the jet follows.
            self._spacing_s, self._kept = shot.spacing_s, shot.times_s

    def _widen(self) -> None:
        self._is_widened = True
        self.weighted.widen()

    @property
    def _said_found(self) -> int | None:
        """The answer, from 0, that says that its picture is the wanted one."""
        return next((n for n, one in enumerate(self._told) if one.answer.word == "found"), None)

    def _judge_best(self) -> None:
        """Which picture most likely is the wanted one: later answers also say what earlier ones showed."""
        weights = self.weighted.weights
        chances = {
            number: float(weights @ own)
            for number, own in self.weighted.answers.own_chances(self._told[-1].shot.times_s)
        }
        self.chances.update(chances)
        kind = self.rig.aim.kind
        wanted = (kind, "found", *(("crown",) if self._is_cavity_hidden() else ()))
        shown = [n for n in chances if self._told[n].answer.word in wanted]
        # For one drop a picture counts once somebody has seen in it what is wanted.
        self.best = max(shown or chances, key=lambda number: chances[number])
        self.best_chance = chances[self.best]

    def _leave_if_missed(self, spacing_s: float | None) -> None:
        """Try another spacing after two misses at one: the jet is not where the model says."""
        missed = [
            one
            for one in self._told
            if one.shot.spacing_s == spacing_s and one.answer.word == "missed"
        ]
        if spacing_s is not None and len(missed) >= _MISSES_MOST and self._fixed[1] is None:
            self._left.append(spacing_s)
            self._kept = ()
            self._spacing_s = self._last_spacing_s = None

    @property
    def misfit(self) -> bool:
        """Whether rigs like the file would hardly ever give such answers."""
        return (
            self._is_widened or self._surprises >= _SURPRISES_MOST or self.weighted.farthest > _FAR
        )

    def _is_bracketed(self) -> bool:
        """Whether pictures bound the contact from both sides: the model alone is no certainty.

        Of one drop the best picture must show what is wanted, so that somebody has seen it.
        """
        if not self.weighted.has_contact:
            shown = self._told[self.best].answer.word
            return shown == self.rig.aim.kind or (shown == "crown" and self._is_cavity_hidden())
        newest_s = self._told[-1].shot.spacing_s
        answers = [one.answer for one in self._told if one.shot.spacing_s == newest_s]
        early = any(
            one.word in ("before", "contact")
            or one.age == "just after"
            or one.width_m is not None
            or one.since_s is not None
            for one in answers
        )
        return early and any(one.word in ("contact", "after") for one in answers)

    def _is_cavity_hidden(self) -> bool:
        """Whether a crown that lasts until the jet hides the cavity that is sought: crowns and jets then bound it."""
        words = [one.answer.word for one in self._told]
        seen = min(words.count("crown"), words.count("jet"))
        return self.rig.aim.kind == "cavity" and seen >= _HIDES

    def pass_over(self, why: str) -> None:
        """Count a shot whose picture says nothing about the rig; the search fires it again."""
        self.shots += 1
        self._useless += 1
        self._why = why

    def stop_if_useless(self) -> None:
        """Raise NoProgress if two shots in a row gave no information: no timing can cure that."""
        if self._useless >= _USELESS_MOST:
            raise NoProgress(self._useless, self._why, fired=True)

    @property
    def has_learned(self) -> bool:
        """Whether any picture showed something. `nothing` alone may have been said of black ones."""
        return any(one.answer.word != NOTHING for one in self._told)

    def keep(self, *, board: str, port: str, simulated: bool, series: int | None = None) -> Belief:
        """What is known about the rig with this search added; worth it where `has_learned`.

        `Belief.add_search` says when a search is set aside; `Belief.explain_newest` says why.
        """
        known = self.learned or Belief(board, port, simulated)
        mean, covariance = self.weighted.moments()
        return replace(known, port=port).add_search(
            self.rig, mean, covariance,
            answers=len(self._told), found=self.found, certainty=self.best_chance,
            spacing_s=self._spacing_s, fresh=self.fresh,
            series=() if series is None else (series,),
        )  # fmt: skip
