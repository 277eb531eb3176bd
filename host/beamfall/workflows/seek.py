"""The search for a picture: a shot, a question below it, a better shot."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

from beamfall.board import Board
from beamfall.errors import NoProgress
from beamfall.link.traits import Picture, Seen, Studio
from beamfall.planning.belief import Belief
from beamfall.planning.learned import find_file, load_learned, save_learned
from beamfall.planning.seek.aims import Start
from beamfall.planning.seek.answer import Answer, read_last_drop, read_shot, say_useless
from beamfall.setup.rig import Rig
from beamfall.setup.signals import Signal
from beamfall.workflows.reading import PictureReader, Reading
from beamfall.workflows.seek_steps import (
    Aim,
    Answered,
    LookedAgain,
    Misfired,
    PictureRead,
    SearchBegun,
    SearchStopped,
    ShotAhead,
    Sought,
    Truth,
    WhatIsSeen,
)
from beamfall.workflows.steps import (
    Begin,
    Fired,
    KeepMeasured,
    Remark,
    Workflow,
    ask,
    begin,
    fire,
    let_drops_fall,
)

if TYPE_CHECKING:
    from beamfall.planning.seek.choose import Proposal
    from beamfall.planning.seek.search import Search

MISSES_MOST = 3  # shots in a row that did not fire
_DROPS_FIRST = 2  # without a flash, where the beam sees in them what no picture has shown yet


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
    readings: dict[int, Reading] = field(default_factory=dict)  # of photographs, by their shots

    def run(self) -> Workflow[Sought]:
        search = self.search
        proposal = search.propose()
        series = yield from begin(
            Begin(
                "seek", search.whole, {"stage_s": search.wanted_s},
                flashes=search.build(proposal), repeated=True,
            )
        )  # fmt: skip
        if (yield from self._let_drops_fall(proposal)):
            proposal = search.propose()
        yield SearchBegun(self.most, search.begins_apart)
        try:
            yield from self._search(proposal, series)
        except KeyboardInterrupt:
            answers = sum(one.answer is not None for one in self.shots)
            yield SearchStopped(answers, self._find_kept(), self.belief)
            raise
        best = self._find_best()
        truth = _judge(search, self.shots, best, self.board.traits.studio)
        found = search.found
        if self.look is not None:
            error_s = None if truth is None else truth.error_s
            found = found and error_s is not None and abs(error_s) <= search.near_s
        return Sought(
            search, series, tuple(self.shots), best, found, truth, self._find_kept(), self.belief
        )

    def _let_drops_fall(self, proposal: Proposal) -> Workflow[bool]:
        """Let the warm-up's drops fall, or two where the beam then tells much about the first shot.

        Returns whether the search has learned from them. The first drop after a rest differs: the last one counts.
        """
        search, rig = self.search, self.search.whole
        wants = search.wants_drops(proposal)
        count = max(rig.aim.warm_up, _DROPS_FIRST if wants else 0)
        fired = yield from let_drops_fall(rig, count)
        if not wants or fired is None or fired.record.state != "fired":
            return False
        valve = search.rig.list_drops()[0].output
        dropped = read_last_drop(fired.record, search.rig.beams[0], valve)
        if dropped is None:
            return False
        search.see_drop(dropped)
        return True

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
            yield Remark(fired.shot, f"seek: no information: {useless}")
        else:
            answer = yield from self._see(aim, fired)
            search.take(shot, answer)
            yield from self._note(fired, answer)
        self.shots.append(Answered(aim, fired, answer, useless, search.chance, search.misfit))
        self.shots[-1] = answered = replace(self.shots[-1], chances=self._list_chances())
        yield answered
        search.stop_if_useless()
        if answered.teaches:
            yield from self._look_again()

    def _list_chances(self) -> dict[int, float]:
        told = [one.fired.shot for one in self.shots if one.teaches]
        return {told[number]: chance for number, chance in self.search.chances.items()}

    def _look_again(self) -> Workflow[None]:
        """Have somebody look again at the pictures whose answers matter most: that costs no shot."""
        search = self.search
        while (number := search.find_doubtful()) is not None:
            place = [n for n, one in enumerate(self.shots) if one.teaches][number]
            first = self.shots[place]
            assert first.answer is not None
            answer = yield from self._see(first.aim, first.fired, first.answer)
            search.look_again(number, answer)
            self.shots[place] = replace(first, answer=answer, misfit=search.misfit)
            chances = self._list_chances()
            shot = first.fired.shot
            again = replace(self.shots[place], chance=chances.get(shot, 0.0), chances=chances)
            self.shots[place] = again
            if answer != first.answer:
                yield from self._note(first.fired, answer, f"; at first {first.answer.said}")
            yield LookedAgain(again, first.answer)

    def _see(self, aim: Aim, fired: Fired, said: Answer | None = None) -> Workflow[Answer]:
        """Ask what a picture shows; `said`: what was said of it before, if this is a second look."""
        photo, shot = fired.photo, fired.shot
        marks: dict[str, float] = {}
        while True:
            if photo is not None and self.reader is not None and (said is None or marks):
                self.readings[shot] = self.reader.read(photo.path, marks, fired.record)
                yield PictureRead(fired, self.readings[shot])
            reading = self.readings.get(shot)
            if self.look is not None:  # the simulated photographer agrees, and makes no slips
                read = None if reading is None else reading.answer
                return said or read or Answer(*self.look(fired.picture))
            # With marks set by hand the new reading is what an empty answer agrees with.
            seen = yield from ask(WhatIsSeen(aim, fired, reading, None if marks else said))
            if isinstance(seen, Answer):
                return seen
            marks |= seen.marks

    def _note(self, fired: Fired, answer: Answer, more: str = "") -> Workflow[None]:
        """Write an answer into the log, and what was measured if it was read in the picture.

        `more`: what a second look adds. If it denies what was read, the measurement goes too.
        """
        reading = self.readings.get(fired.shot)
        read = None if reading is None else reading.answer
        is_read = read is not None and answer is read
        if reading is not None and is_read and reading.measured is not None:
            yield KeepMeasured(fired.shot, reading.measured)
        elif more and read is not None and answer.word not in (read.word, "found"):
            yield KeepMeasured(fired.shot, None)
        yield Remark(
            fired.shot, f"seek: {answer.said}{', read in its picture' if is_read else ''}{more}"
        )

    def _find_best(self) -> Answered | None:
        if self.search.found:
            return [one for one in self.shots if one.teaches][self.search.best]
        return self.shots[-1] if self.shots else None

    def _keep(self, series: int) -> None:
        if self.search.has_learned:
            board = self.board
            self.belief = self.search.keep(
                board=board.info.unique_id.hex(),
                port=board.name,
                simulated=board.traits.brings_rig,
                series=series,
            )
            save_learned(self.kept, self.belief)


def _judge(
    search: Search, shots: Sequence[Answered], best: Answered | None, studio: Studio | None
) -> Truth | None:
    """The truth about a search; None on a rig that is not simulated. `best`: the shot that it names."""
    if studio is None:
        return None
    from beamfall.planning.openings import MEETING, find_gap  # numpy is slow to load

    assert search.wanted_s is not None
    pictures = [one.fired.picture for one in shots]
    kind = search.rig.aim.kind
    stages = tuple(None if one is None else one.find_stage(kind) for one in pictures)
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
