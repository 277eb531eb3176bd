"""The loop of fault finding: choose a test, make it, learn from it, until the result is clear enough."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

from beamfall.board import Board
from beamfall.errors import DefinitionMismatch, ProtocolMismatch
from beamfall.faults.advice import AGAIN, MISSED, list_advice
from beamfall.faults.catalogue import NOTHING, Sign, load_catalogue
from beamfall.faults.checks import CHECKS, CONNECT, Check
from beamfall.faults.fault_rig import FaultRig, list_sensors
from beamfall.faults.inference import CauseChances, tell_apart
from beamfall.faults.origin import Origin, Source
from beamfall.faults.questions import CannotTell, Person, PersonGone
from beamfall.faults.setup import Setup
from beamfall.text import list_words

SURE = 0.88  # a cause this likely is named as found
UNLIKELY = 0.15  # a cause less likely than this is left aside
MOST_QUESTIONS = 10
_LEAST_GAIN = 0.015  # bits; a test that promises less is not made
_LEAST_GAIN_ASKED = 0.05  # bits; a person is not asked for less
_ASKED_AGAIN = 1.4  # effort of a question for the second time
_TIMES = 2
_TELLS_APART = 0.1  # bits, of the test that would separate two causes
NO_ANSWER = "no clear answer"
UNTESTED = "Nothing was tested, because nobody answered."
UNANSWERED = "The check ended without a result, because nobody answered."
_SPEAKS = 1.6  # an outcome so much likelier with a cause than without it is given as a reason
_RULES_OUT = 2.2  # an outcome that counts only when all the others are known
# What connecting to a board with another firmware raises.
OTHER_FIRMWARE = (DefinitionMismatch, ProtocolMismatch)
_CATALOGUE = load_catalogue()
_SIGN = _CATALOGUE.signs
# Signs that may appear in any test
_ANYWHERE = (_SIGN["line"], _SIGN["restarts"], _SIGN["restarts-alone"])


@dataclass(frozen=True)
class Step:
    """One test made: its outcomes by sign, whether the person was asked, and what kept it from showing more.

    `untold`: the person could not tell, or could not do it.
    """

    check: Check
    outcomes: dict[str, str]
    asked: bool
    trouble: str = ""
    untold: bool = False

    def list_shown(self) -> list[tuple[Sign, str]]:
        """Its outcomes with their signs, including those of events that may happen in any test."""
        own = {sign.name for sign in self.check.signs}
        signs = (*self.check.signs, *(sign for sign in _ANYWHERE if sign.name not in own))
        return [(s, self.outcomes[s.name]) for s in signs if s.name in self.outcomes]

    def describe(self) -> str:
        """What it showed, as part of a sentence."""
        words = [sign.words[outcome] for sign, outcome in self.list_shown()]
        happened = {"lost", "restarted"} & set(self.outcomes.values())
        words += [self.trouble] if self.trouble and not happened else []  # that says it already
        words += [NO_ANSWER] if self.untold else []
        return "; ".join(words) or "no result"


@dataclass(frozen=True)
class Finding:
    """The result: ranked causes, why, and what to do. `ended_early`: nobody was left to answer."""

    ranked: tuple[tuple[str, float], ...]
    found: tuple[str, ...]  # causes that are sure enough
    left: tuple[str, ...]  # where it is not clear: the causes that remain
    reason: str
    advice: str
    questions: int
    steps: tuple[Step, ...] = ()
    separates: str = ""
    timings: Origin = Origin(Source.PLAN)
    ended_early: bool = False

    def to_json(self) -> dict[str, Any]:
        return {
            "ranked": [{"name": n, "probability": round(p, 4)} for n, p in self.ranked],
            "questions": self.questions,
            "advice": self.advice,
            "reason": self.reason,
            "settled": not self.left,
            "found": list(self.found),
            "remaining": list(self.left),
            "would_separate": self.separates,
            "timings": self.timings.describe(),
            "timings_from": self.timings.to_json(),
            "ended_early": self.ended_early,
            "tests": [
                {"test": s.check.name, "asked": s.asked, "outcomes": s.outcomes}
                | ({"trouble": s.trouble} if s.trouble else {})
                | ({"untold": True} if s.untold else {})
                for s in self.steps
            ],
        }


@dataclass
class Finder:
    """Finds what is wrong with one setup. `begins` is called before each test, `tell` after it.

    `has_light`, `has_button`: the board has these inputs; what its rig file says is not fitted does
    not count. `has_coil`: the board measures coil current and supply voltage.
    """

    setup: Setup
    has_light: bool = True
    has_button: bool = True
    has_coil: bool = True
    tell: Callable[[Step], None] = lambda step: None
    begins: Callable[[Check], None] = lambda check: None
    steps: list[Step] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.has_light = self.has_light and self.setup.rig.fitted.flash_seen
        self.has_button = self.has_button and self.setup.rig.fitted.button
        self.checks = tuple(map(self._leave_out_unseen, CHECKS))
        causes = _CATALOGUE.list_possible(
            self.setup, has_light=self.has_light, has_button=self.has_button
        )
        self.belief = CauseChances(causes)
        self._spoilt: set[str] = set()
        self.questions = 0

    def _leave_out_unseen(self, check: Check) -> Check:
        """The same test without the signs for which this board has no sensor."""
        signs = (
            sign
            for sign in check.signs
            if (self.has_light or not sign.by_light) and (self.has_coil or not sign.by_coil)
        )
        return replace(check, signs=tuple(signs))

    # -- one test ----------------------------------------------------------------------------------------------
    def note_connection(self, outcome: str) -> None:
        """Note how the hello went: `opened` or `other-firmware`."""
        self._take(Step(CONNECT, {"connection": outcome}, asked=False))

    def make(self, check: Check, bench: FaultRig) -> None:
        """Make one test and learn from it."""
        bench.begin()
        before = bench.asked
        untold = False
        try:
            if check.rests:
                bench.attempt(bench.rest_flash)
            outcomes = check.run(bench)
        except CannotTell:
            outcomes, untold = {}, True
            self._spoilt.add(check.name)  # asking again would not help
        bench.look_back()
        asked = bench.asked > before
        self.questions = bench.asked
        happened = {}
        if bench.lost:
            happened[_SIGN["line"].name] = "lost"
        if bench.restarted:
            happened[(_SIGN["restarts"] if bench.opened else _SIGN["restarts-alone"]).name] = (
                "restarted"
            )
        self._take(Step(check, outcomes | happened, asked, bench.trouble, untold))
        self._spoilt.update(check.spoils)

    def _take(self, step: Step) -> None:
        for sign, outcome in step.list_shown():
            # A line that stayed up for a while may drop out later; once it has dropped out, that is known.
            if sign is not _SIGN["line"] or (_SIGN["line"], "lost") not in self.belief.seen:
                self.belief.learn(sign, outcome)
        self.steps.append(step)
        self.tell(step)

    # -- which one ---------------------------------------------------------------------------------------------
    def list_checks(self) -> list[tuple[Check, float]]:
        """Tests that are possible now, with their effort."""
        made = [step.check.name for step in self.steps]
        known = self._outcomes()
        ready = []
        for check in self.checks:
            times = made.count(check.name)
            most = _TIMES if check.question is not None else 1
            if times >= most or check.name in self._spoilt:
                continue
            if check.question is not None and self.questions >= MOST_QUESTIONS:
                continue
            if any(known.get(sign) not in fits for sign, fits in check.needs.items()):
                continue
            if self._is_answered(check):
                continue
            if check.suits(self.setup, has_light=self.has_light, has_button=self.has_button):
                ready.append((check, check.effort * (_ASKED_AGAIN if times else 1.0)))
        return ready

    def _is_answered(self, check: Check) -> bool:
        """Whether the board itself has already seen what the test would ask."""
        known = self._outcomes()
        return any(known.get(sign) in seen for sign, seen in check.answered.items())

    def choose(self) -> Check | None:
        """The test with the most expected information for its effort; None if the result is clear or no test helps."""
        if self._is_clear() and not self._has_free_checks():
            return None
        best, best_worth = None, 0.0
        for check, effort in self.list_checks():
            if self._is_clear() and check.question is not None:
                continue
            gain = self.belief.expect_gain(check)
            least = _LEAST_GAIN if check.question is None else _LEAST_GAIN_ASKED
            if gain >= least and gain / effort > best_worth:
                best, best_worth = check, gain / effort
        return best

    def _has_free_checks(self) -> bool:
        return any(check.question is None for check, _ in self.list_checks())

    def _is_clear(self) -> bool:
        """Whether each cause, and 'nothing wrong', is either certain or unlikely."""
        chances = [chance for _, chance in self.belief.rank()]
        return chances[0] >= SURE and all(c >= SURE or c <= UNLIKELY for c in chances[1:])

    def run(self, bench: FaultRig) -> Finding:
        """Make tests until the result is clear or nobody answers any more; all outputs are off afterwards."""
        try:
            while (check := self.choose()) is not None:
                self.begins(check)
                self.make(check, bench)
        except PersonGone:
            bench.board.abort()
            return self.conclude(ended_early=True)
        return self.conclude()

    # -- the end -----------------------------------------------------------------------------------------------
    def conclude(self, *, ended_early: bool = False) -> Finding:
        """Say what was found, why, and what to do."""
        ranked = self.belief.rank()
        found = tuple(name for name, chance in ranked if chance >= 0.5)
        left = self._list_left(ranked)
        named = found or left
        separates = self._find_separating(left) if left else ""
        unclear = ended_early and bool(left)
        return Finding(
            ranked=tuple(ranked),
            found=tuple(name for name in found if name not in left),
            left=left,
            reason=self._give_reason(named, unclear),
            advice=AGAIN if unclear else " ".join(list_advice(named, self._outcomes())),
            questions=self.questions,
            steps=tuple(self.steps),
            separates=separates,
            timings=self.setup.timings,
            ended_early=ended_early,
        )

    def _outcomes(self) -> dict[str, str]:
        return {name: value for step in self.steps for name, value in step.outcomes.items()}

    def _list_left(self, ranked: list[tuple[str, float]]) -> tuple[str, ...]:
        """The causes that remain, at least two; none if the result is clear.

        'Nothing is wrong' needs no such certainty: it is the result if no cause stands out after every possible
        test. The same goes for a picture that is early or late although the timings fit: no test settles that,
        only a search for the moment.
        """
        top, chance = ranked[0]
        if chance >= SURE:
            return ()
        rivals = [name for name, c in ranked[:4] if c > UNLIKELY]
        if top == NOTHING and chance >= 0.5:
            fits = self._outcomes().get("setting-delay") == "fits"
            rivals = [n for n in rivals if not (fits and _is_timing(n))]
            if rivals == [NOTHING]:
                return ()
        if len(rivals) < 2:
            rivals = [top, next(name for name, _ in ranked if name != top)]
        return tuple(rivals)

    def _give_reason(self, named: tuple[str, ...], unclear: bool) -> str:
        """One sentence: which observations point to the causes named."""
        if unclear:
            if len(self.steps) < 2:  # the hello alone
                return UNTESTED
            return UNANSWERED
        causes = [name for name in named if name != NOTHING]
        if not causes:
            shown = self._outcomes().get("picture", "")
            but = f", but {_SIGN['picture'].words[shown]}" if shown in MISSED else ""
            return f"Everything that was tested behaved as it should{but}."
        reasons = [list_words(words) if words else "" for words in map(self._list_reasons, causes)]
        shared = reasons[0] if len(causes) > 1 and len(set(reasons)) == 1 else ""
        parts = [
            _CATALOGUE.causes[name].what + (f", because {reason}" if reason and not shared else "")
            for name, reason in zip(causes, reasons, strict=True)
        ]
        start = "Most likely " if len(named) == 1 else "Possibly "
        joint = "; or "
        chances = dict(self.belief.rank())
        if len(named) > 1 and all(chances[name] >= 0.5 for name in named):
            sure = all(chances[name] >= SURE for name in named)
            several = "two" if len(named) == 2 else "several"
            start = f"{'' if sure else 'Probably '}{several} things are wrong: "
            start = start[0].upper() + start[1:]
            joint = "; and "
        return start + joint.join(parts) + "." + (f" The reason: {shared}." if shared else "")

    def _list_reasons(self, name: str) -> list[str]:
        """Up to three outcomes, in words: the strongest evidence for the cause, then what ruled out its rivals."""
        weighed = self.belief.weigh(name)
        points = max(weighed, key=lambda one: one[0], default=None)
        rules_out = sorted(weighed, key=lambda one: -one[1])
        chosen = [points] if points is not None and points[0] > _SPEAKS else []
        chosen += [one for one in rules_out if one[1] > _RULES_OUT]
        return list(dict.fromkeys(sign.words[outcome] for _, _, sign, outcome in chosen))[:3]

    def _find_separating(self, left: tuple[str, ...]) -> str:
        """What would separate the first two causes that remain."""
        names = list_words(left)
        them = "them" if len(left) == 2 else f"{left[0]} and {left[1]}"
        spent = {s.check.name for s in self.steps if s.untold or s.check.question is None}
        worths = [
            (sum(tell_apart(sign, left[0], left[1]) for sign in check.signs), check)
            for check in self.checks
            if check.suits(self.setup, has_light=self.has_light, has_button=self.has_button)
            and not self._is_answered(check)
        ]
        # The most information for its effort, without tests that the person could not answer or that are exhausted.
        worths = [one for one in worths if one[0] >= _TELLS_APART]
        worths = [one for one in worths if one[1].name not in spent] or worths
        _, best = max(worths, key=lambda one: one[0] / one[1].effort, default=(0.0, None))
        if best is None:
            first = next(name for name in left if name != NOTHING)
            return f"{names} are still possible; no test can tell them apart. Fix {first} first, then try again."
        again = ""
        if any(best is step.check for step in self.steps):
            again = ", once more" if best.question is None else ", once more and carefully"
        return f"{names} are still possible. To tell {them} apart: {best.what}{again}."


def name_firmware(setup: Setup) -> Finding:
    """What is found where connecting raised one of OTHER_FIRMWARE."""
    finder = Finder(setup)
    finder.note_connection("other-firmware")
    return finder.conclude()


def look(
    board: Board,
    setup: Setup,
    person: Person,
    *,
    tell: Callable[[Step, list[tuple[str, float]]], None] = lambda step, ranked: None,
    begins: Callable[[Check], None] = lambda check: None,
) -> Finding:
    """Look for what is wrong, with the sensors that there are, once somebody has agreed.

    `begins` is called before each test, `tell` after it, with what the test showed and the causes with their chances.
    """
    has_light, has_button = list_sensors(board, setup)
    finder = Finder(
        setup,
        has_light=has_light,
        has_button=has_button,
        has_coil=board.reads_coils,
        tell=lambda step: tell(step, finder.belief.rank()),
        begins=begins,
    )
    finder.note_connection("opened")
    try:
        person.begin(load_catalogue().cautions_first)
    except PersonGone:  # nobody has agreed
        return finder.conclude(ended_early=True)
    return finder.run(FaultRig(board, setup, person))


def _is_timing(name: str) -> bool:
    return name != NOTHING and _CATALOGUE.causes[name].timing
