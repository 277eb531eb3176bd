"""The search for a picture: a shot, a question below it, a better shot."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from beamfall.errors import NoProgress
from beamfall.planning.seek.answer import (
    Answer,
    explain_words,
    read_answer,
    read_shot,
    say_useless,
)
from beamfall.setup.signals import Signal
from beamfall.workflows.reading import PictureReader, Reading, read_marks
from beamfall.workflows.steps import (
    Begin,
    Event,
    Fired,
    KeepMeasured,
    Question,
    Remark,
    Workflow,
    ask,
    begin,
    fire,
)

if TYPE_CHECKING:
    from pathlib import Path

    from beamfall.board import Board
    from beamfall.link.traits import Picture, Seen
    from beamfall.planning.belief import Belief
    from beamfall.planning.seek.choose import Proposal
    from beamfall.planning.seek.search import Search, Start
    from beamfall.setup.rig import Rig

AGREED = ""  # an answer that agrees with what was read in the picture
MISSES_MOST = 3  # shots in a row that did not fire


@dataclass(frozen=True)
class Aim:
    """A shot of a search: its number of at most `most`, and its timings in s.

    `times_s`: each drop's opening since the first. `by_beam`: the delay counts from the last drop's beam edge,
    else from the first opening.
    """

    number: int
    most: int
    times_s: tuple[float, ...]
    delay_s: float
    by_beam: bool

    @property
    def spacing_s(self) -> float | None:
        """Opening 1 to opening 2; None with one drop."""
        return self.times_s[1] if len(self.times_s) > 1 else None


@dataclass(frozen=True)
class Marked:
    """Marks that a person has set, in pixels: the picture is read again with them, and shown before it counts."""

    marks: Mapping[str, float]


@dataclass(frozen=True)
class WhatIsSeen(Question[Answer | Marked]):
    """What does the picture of this shot show?

    `reading`: what was read in the photograph that has arrived; an empty answer agrees with it, and a mark in pixels
    (`tip 512`) has it read again.
    """

    aim: Aim
    fired: Fired
    reading: Reading | None = None

    @property
    def choices(self) -> tuple[str, ...]:
        return tuple(explain_words(len(self.aim.times_s)))

    @property
    def otherwise(self) -> str | None:
        return AGREED if self.reading is not None and self.reading.answer is not None else None

    def read(self, text: str) -> Answer | Marked:
        given = text.strip().lower()
        if given == AGREED and self.reading is not None and self.reading.answer is not None:
            return self.reading.answer
        marks = {} if self.reading is None else read_marks(given)
        return Marked(marks) if marks else read_answer(text, len(self.aim.times_s))


@dataclass(frozen=True)
class SearchBegun(Event):
    """A search has begun; `begins_apart`: its first spacing may be another than the plan's."""

    most: int
    begins_apart: bool


@dataclass(frozen=True)
class ShotAhead(Event):
    """A shot is about to be fired."""

    aim: Aim


@dataclass(frozen=True)
class Misfired(Event):
    """A shot did not fire; `in_a_row` counts such shots."""

    fired: Fired
    in_a_row: int


@dataclass(frozen=True)
class PictureRead(Event):
    """What was read in the photograph of a shot."""

    fired: Fired
    reading: Reading


@dataclass(frozen=True)
class Answered(Event):
    """What a shot has taught. `answer` is None if its picture could teach nothing: `useless` says why.

    `chance`: that this picture is the one wanted; `chances`: the same of this and earlier ones, by their shots, as this
    answer has changed them. `misfit`: the answers hardly fit the rig file.
    """

    aim: Aim
    fired: Fired
    answer: Answer | None
    useless: str | None
    chance: float
    misfit: bool = False
    chances: Mapping[int, float] = field(default_factory=dict)

    @property
    def teaches(self) -> bool:
        """Whether the search has learned from it."""
        return self.answer is not None and self.answer.word != "black"


@dataclass(frozen=True)
class SearchStopped(Event):
    """Ctrl-C has ended a search after `shots` shots; `kept` and `belief` as in `Sought`."""

    shots: int
    kept: Path | None
    belief: Belief | None


@dataclass(frozen=True)
class Truth:
    """The truth about a search on a simulated rig: the stages of its pictures, how far the best (see `Sought`) was
    from the one wanted, in s, and the settings that the rig needs for it, in ms."""

    stages_s: tuple[float | None, ...]
    error_s: float | None
    needs_ms: Mapping[str, Any] | None

    def to_json(self) -> dict[str, Any]:
        """Plain values, ms."""
        return {
            "stages_ms": [None if s is None else round(s * 1e3, 4) for s in self.stages_s],
            "needs_ms": self.needs_ms,
        }


@dataclass(frozen=True)
class Sought:
    """A finished search. `found`: on a simulated rig that nobody else answered for, by its truth.

    `best`: the shot with the wanted picture, which later answers may have shown to be an earlier one; of a search that
    has not found it, the last.
    `kept`: the file with `belief`, what is known now; None if nothing was learned.
    """

    search: Search
    series: int
    shots: tuple[Answered, ...]
    best: Answered | None
    found: bool
    truth: Truth | None
    kept: Path | None
    belief: Belief | None = None

    @property
    def by_word(self) -> bool:
        """Whether somebody has said that the last picture is the one wanted."""
        answer = self.shots[-1].answer if self.shots else None
        return answer is not None and answer.word == "found"


def seek(
    rig: Rig,
    board: Board,
    *,
    rig_file: Path | None = None,
    stage_s: float | None = None,
    start: Start | None = None,
    most: int = 20,
    fresh: bool = False,
    asks: bool = True,
    heights: bool = False,
    seed: int = 0,
    reader: PictureReader | None = None,
) -> Workflow[Sought]:
    """Search for the picture that the rig's aim names, `stage_s` after the contact, in at most `most` shots.

    Of one drop `stage_s` counts from the planner's moment; None: the aim's own.

    `start`: where it begins and for which stage, as `recipes.events.find_start` gives it. The search uses what was
    learned beside `rig_file` (None: of the example rig), unless `fresh`; what it learns itself is kept there, also
    where it is stopped. `asks` False: behind a simulated port its own photographer answers, with `heights` too.
    `reader` looks at photographs that arrive. Raises RigFileError for an aim that fixes the flash, NoProgress if
    shots in a row fire or teach nothing.
    """
    from beamfall.planning.learned import find_file, load_learned
    from beamfall.planning.seek.search import Search

    kept = find_file(rig_file)
    learned = load_learned(kept, board.info.unique_id.hex())
    search = Search(rig, wanted_s=stage_s, learned=learned, start=start, fresh=fresh, seed=seed)
    studio = board.traits.studio
    look = None if asks or studio is None else studio.find_photographer(heights=heights)
    return (yield from _Seek(search, board, most, look, kept, reader=reader).run())


@dataclass
class _Seek:
    """One search that is running."""

    search: Search
    board: Board
    most: int
    look: Callable[[Picture | None], Seen] | None
    kept: Path
    misses: int = 0
    shots: list[Answered] = field(default_factory=list)
    belief: Belief | None = None
    reader: PictureReader | None = None
    reading: Reading | None = None  # of the newest photograph

    def run(self) -> Workflow[Sought]:
        search = self.search
        proposal = search.propose()
        series = yield from begin(
            Begin(
                "seek", search.whole, {"stage_s": search.wanted_s},
                flashes=search.build(proposal), repeated=True, warm_up=True,
            )
        )  # fmt: skip
        yield SearchBegun(self.most, search.begins_apart)
        try:
            yield from self._search(proposal, series)
        except KeyboardInterrupt:
            yield SearchStopped(search.shots, self._find_kept(), self.belief)
            raise
        truth = self._judge()
        found = search.found
        if self.look is not None:
            error_s = None if truth is None else truth.error_s
            found = found and error_s is not None and abs(error_s) <= search.near_s
        return Sought(
            search,
            series,
            tuple(self.shots),
            self._find_best(),
            found,
            truth,
            self._find_kept(),
            self.belief,
        )

    def _search(self, proposal: Proposal, series: int) -> Workflow[None]:
        search = self.search
        try:
            while True:
                yield from self._shoot(proposal)
                if search.found or search.shots >= self.most:
                    return
                proposal = search.propose()
        finally:  # also after Ctrl-C or a lost board: the pictures' evidence stays true
            self._keep(series)

    def _find_kept(self) -> Path | None:
        return self.kept if self.search.has_learned else None

    def _shoot(self, proposal: Proposal) -> Workflow[None]:
        search = self.search
        number = search.shots + 1
        aim = Aim(number, self.most, proposal.times_s, proposal.delay_s, search.by_beam)
        yield ShotAhead(aim)
        fired = yield from fire(search.build(proposal), {"seek": number})
        beam = search.rig.beams[0] if search.rig.beams else None
        outputs = {valve.output for valve in search.rig.list_drops()}
        shot = read_shot(fired.record, len(proposal.times_s), beam, outputs)
        if fired.record.state != "fired" or shot is None:
            self.misses += 1
            yield Misfired(fired, self.misses)
            if self.misses >= MISSES_MOST:
                raise NoProgress(self.misses, str(fired.record.cause), fired=False)
            return
        self.misses = 0
        answer: Answer | None = None
        useless = say_useless(fired.record, shot, sees_light=search.rig.fitted.flash_seen)
        if useless is not None:
            search.pass_over(useless)
            note = f"no information: {useless}"
        else:
            answer = yield from self._see(aim, fired)
            search.take(shot, answer)
            note = answer.said
            reading = self.reading
            if reading is not None and answer is reading.answer:
                note += ", read in its picture"
                if reading.measured is not None:
                    yield KeepMeasured(fired.shot, reading.measured)
        yield Remark(fired.shot, f"seek: {note}")
        answered = Answered(aim, fired, answer, useless, search.chance, search.misfit)
        told = [one.fired.shot for one in (*self.shots, answered) if one.teaches]
        chances = {told[number]: chance for number, chance in search.chances.items()}
        answered = replace(answered, chances=chances)
        self.shots.append(answered)
        yield answered
        search.stop_if_useless()

    def _see(self, aim: Aim, fired: Fired) -> Workflow[Answer]:
        photo, reader, self.reading = fired.photo, self.reader, None
        marks: dict[str, float] = {}
        while True:
            if photo is not None and reader is not None:
                self.reading = reader.read(photo.path, marks)
                yield PictureRead(fired, self.reading)
            if self.look is not None:  # the simulated photographer agrees if something was read
                read = None if self.reading is None else self.reading.answer
                return read or Answer(*self.look(fired.picture))
            seen = yield from ask(WhatIsSeen(aim, fired, self.reading))
            if isinstance(seen, Answer):
                return seen
            marks |= seen.marks

    def _find_best(self) -> Answered | None:
        if self.search.found:
            return [one for one in self.shots if one.teaches][self.search.best]
        return self.shots[-1] if self.shots else None

    def _judge(self) -> Truth | None:
        search, studio = self.search, self.board.traits.studio
        if studio is None:
            return None
        from beamfall.planning.openings import MEETING, find_gap  # numpy is slow to load

        assert search.wanted_s is not None
        pictures = [one.fired.picture for one in self.shots]
        kind = search.rig.aim.kind
        stages = tuple(None if one is None else one.find_stage(kind) for one in pictures)
        best = self._find_best()
        picture = None if best is None else best.fired.picture
        seen = None if picture is None else picture.find_stage(kind)
        edge = search.rig.beams[0].edge if search.rig.beams else "dark"
        valves = search.rig.list_drops()
        drops = [
            (Signal.of(valve.output).number, valve.opening_s, find_gap(valves, n) if n > 2 else 0.0)
            for n, valve in enumerate(valves, 1)
        ]
        return Truth(
            stages,
            None if seen is None else seen - search.wanted_s,
            studio.describe_needs(search.wanted_s, MEETING, edge, drops, kind),
        )

    def _keep(self, series: int) -> None:
        from beamfall.planning.learned import save_learned

        if self.search.has_learned:
            board = self.board
            self.belief = self.search.keep(
                board=board.info.unique_id.hex(),
                port=board.name,
                simulated=board.traits.brings_rig,
                series=series,
            )
            save_learned(self.kept, self.belief)
