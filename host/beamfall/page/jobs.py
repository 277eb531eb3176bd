"""What can be done with the board: shots, one drop, one flash, a rinse, a watch of the beam.

A job runs on the board's thread and drives the library as a command of the command line does. It
tells how far it is by `Work.tell` and asks people by `Work.ask`; both reach all open pages.
"""

from __future__ import annotations

import itertools
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, TypeVar

from beamfall.errors import Refused, UserError
from beamfall.page import words
from beamfall.page.front import PageFrontEnd
from beamfall.page.shown import show_shot
from beamfall.setup.units import parse_duration
from beamfall.workflows import service
from beamfall.workflows.run import Runner
from beamfall.workflows.shoot import shoot
from beamfall.workflows.steps import Fired
from beamfall.workflows.waits import flashes

if TYPE_CHECKING:
    from beamfall.page.bench import Bench
    from beamfall.page.listening import ListeningBoard
    from beamfall.setup.rig import Rig
    from beamfall.setup.sequence import Sequence as ShotSequence
    from beamfall.shots import ShotLog, ShotRecord
    from beamfall.workflows.series import Shooter
    from beamfall.workflows.steps import Workflow

T = TypeVar("T")
_COUNT_MOST = 1000
_ASKING_S = 0.05
_SHORT_S = 0.5  # more than this is not waited for but said: no shot shall come by surprise
_KEPT = ("sweep", "seek", "check", "calibrate")
_ids = itertools.count(1)  # a page must be able to tell jobs and questions of one server apart


@dataclass
class Job:
    """Something to be done: `kind` for programs, `title` for people, `run` on the board's thread."""

    kind: str
    title: str
    run: Callable[[Work], None]


class Work:
    """A job under way, and what it may use."""

    def __init__(self, bench: Bench, job: Job, board: ListeningBoard, log: ShotLog) -> None:
        self.bench = bench
        self.board = board
        self.log = log
        self.desk = bench.desk
        self.hub = bench.hub
        self.seed = bench.seed
        self._shown: dict[str, Any] = {
            "id": next(_ids), "kind": job.kind, "title": job.title, "state": "running", "text": "",
            "done": 0, "of": 0, "question": None, "lines": [], "rest_until": None, "result": None,
        }  # fmt: skip

    def begin(self) -> None:
        """Show that it has begun."""
        self.tell()

    def end(self, state: str, text: str) -> None:
        """Show how it ended: ended, aborted or failed."""
        self.tell(state=state, question=None, rest_until=None, **({"text": text} if text else {}))

    def tell(self, **values: Any) -> None:
        """Show more of it: `text`, `done`, `of`, `lines`, `result`."""
        self._shown.update(values)
        shown = dict(self._shown)
        # What a longer job brought stays on show while others come and go.
        kept = {f"job_{shown['kind']}": shown} if shown["kind"] in _KEPT else {}
        self.hub.set(job=shown, **kept)

    def add_line(self, **line: Any) -> None:
        """Add a line to its table."""
        self.tell(lines=[*self._shown["lines"], line])

    def ask(
        self,
        text: str,
        choices: Sequence[tuple[str, str]],
        *,
        hint: str = "",
        cautions: Sequence[str] = (),
        free: bool = False,
        shot: int | None = None,
        listen: Callable[[float], None] | None = None,
    ) -> str:
        """Ask people and wait, while the board is listened to; the first answer of any page counts.

        `choices` are (answer, words). `free`: an answer may also be typed. `shot`: its picture is shown.
        `listen`, of whoever wants what the board says meanwhile, takes it in for so many seconds and
        gives the board its signs of life.
        """
        question = {
            "id": next(_ids), "text": text, "hint": hint, "cautions": list(cautions), "free": free,
            "choices": [{"value": value, "words": words} for value, words in choices], "shot": shot,
        }  # fmt: skip
        self.tell(question=question)
        asked = time.monotonic()
        while True:
            answer = self.bench.take_answer(int(str(question["id"])))
            if answer is not None:
                self.tell(question=None)
                return answer
            if listen is not None:
                listen(_ASKING_S)
                continue
            self.board.pump(_ASKING_S)
            if time.monotonic() - asked > 0.5:
                asked = time.monotonic()
                self.board.status()

    def run(self, workflow: Workflow[T]) -> T:
        """Run a workflow on the board, with the page as its front end; return what came of it."""
        return Runner(
            self.board, self.log, PageFrontEnd(self), seed=self.seed, waits=self.bench.waits,
            open_series=self.bench.make_opener(self.board, self.log),
        ).run(workflow)  # fmt: skip

    # -- shots -----------------------------------------------------------------------------------------------
    def begin_series(self, kind: str, settings: Mapping[str, Any]) -> Shooter:
        """Begin a series, or go on with the one of single shots."""
        return self.bench.shooter_for(self.board, self.log, kind, self.desk.rig, settings)

    def fire(
        self,
        shooter: Shooter,
        sequence: ShotSequence,
        swept: Mapping[str, Any] | None = None,
        *,
        rest_s: float | None = None,
    ) -> ShotRecord:
        """Fire one shot and show it; not before the surface has rested (`rest_s`, else the rig's rest)
        and the flash, where the sequence has one, has recycled."""
        flashed = flashes(sequence)
        self._wait_until_ready(shooter.rig or self.desk.rig, rest_s, flashed)
        try:
            record = shooter.fire(sequence, swept=swept)
        except BaseException as error:
            # Refused, aborted, unknown: the log has a line of it all the same.
            if not isinstance(error, Refused):
                self._note_shot(flashed)
            self._show_newest(shooter)
            raise
        self._note_shot(flashed)
        fired = Fired(shooter.series, shooter.rig, sequence, record, swept, shooter.picture)
        show_shot(self, fired)
        self.bench.tell_line(self.log, record.shot or 0)
        return record

    def _note_shot(self, flashed: bool) -> None:
        self.bench.waits.note(self.board.transport.clock(), flashed=flashed)

    def _wait_until_ready(self, rig: Rig, rest_s: float | None, flashed: bool) -> None:
        now_s = self.board.transport.clock()
        left = self.bench.waits.find_left(now_s, rig, rest_s=rest_s)
        seconds = left.longest_s if flashed else left.rest_s
        if not seconds:
            return
        self.tell(rest_until=time.time() * 1e3 + seconds / self.pace * 1e3)
        self.board.sleep(seconds)
        self.tell(rest_until=None)

    @property
    def pace(self) -> float:
        """How fast the port's time passes."""
        return self.bench.pace if self.board.traits.is_virtual_time else 1.0

    def _show_newest(self, shooter: Shooter) -> None:
        newest = self.log.list_shots(limit=1, series=shooter.series)
        if newest:
            self.bench.tell_line(self.log, newest[0].shot)

    def rest(self, shooter: Shooter, seconds: float) -> None:
        """Rest between shots, and show until when."""
        from beamfall.workflows.series import jitter_span

        longest = (seconds + jitter_span(seconds)) / self.pace
        self.tell(rest_until=time.time() * 1e3 + longest * 1e3)
        shooter.rest(seconds)
        self.tell(rest_until=None)

    def warm_up(self, shooter: Shooter) -> None:
        """Let the rig's warm-up drops fall, where it asks for some."""
        from beamfall.planning.rows import build_warm_up
        from beamfall.workflows.series import WARM_UP

        aim = self.desk.rig.aim
        drops = build_warm_up(self.desk.rig, aim.warm_up)
        if drops is not None:
            self.tell(text=f"{aim.warm_up} drops to warm up, without flash")
            self.fire(shooter, drops, swept={WARM_UP: aim.warm_up})
            self.rest(shooter, aim.rest_s)


# -- jobs ----------------------------------------------------------------------------------------------------------
def make_arm() -> Job:
    """Put what is planned on the board, whole and checked."""

    def run(work: Work) -> None:
        try:
            # Timings that were just set: what is shown is what is armed. An abort gets in between.
            work.desk.wait(meanwhile=work.board.pump)
        except TimeoutError as error:
            raise UserError("the plan is still being made: arm once it is shown") from error
        sequence = work.desk.sequence
        work.board.arm(sequence)
        # The board's button may release it, and such a shot names its table by the digest only.
        work.log.keep_table(sequence.make_table(work.board.info))
        work.bench.arm(work.board, sequence)

    return Job("arm", "Arming", run)


def make_release(count: int, unrested: bool = False) -> Job:
    """Fire what is armed, `count` times; raises UserError where nothing is, or no more than it says.

    One shot goes out at once or not at all: while the surface rests or the flash recycles it is
    refused with what is left, since drops that fall seconds after the key come by surprise.
    `unrested` leaves the surface's rest out for it, deliberately; recycling never.
    """
    if not 1 <= count <= _COUNT_MOST:
        raise UserError(f"{count} shots: expected 1 to {_COUNT_MOST}")

    def run(work: Work) -> None:
        armed = work.bench.armed
        if armed is None:
            raise UserError("nothing is armed: arm first")
        try:
            # Of timings that were just set the plan is not made yet: what is armed may be what they are no more.
            work.desk.wait(_SHORT_S, work.board.pump)
        except TimeoutError as error:
            raise UserError("the plan is being made anew: arm again once it is shown") from error
        if armed.sequence != work.desk.sequence:
            work.bench.disarm()
            raise UserError("the timings have changed since: arm again")
        rest_s = 0.0 if unrested else None
        left = work.bench.waits.find_left(
            work.board.transport.clock(), work.desk.rig, rest_s=rest_s
        )
        if count == 1 and left.longest_s > _SHORT_S:
            raise UserError(words.say_left(left))
        rig = work.desk.rig
        work.run(shoot(rig, armed.sequence, count, warm_up=count > 1, settled=not unrested))

    return Job("release", "Release" if count == 1 else f"A series of {count} shots", run)


def make_drip(valve: int, opening: str) -> Job:
    """One drop; without an opening the rig's."""
    seconds = parse_duration(opening, key="opening", example="13 ms") if opening.strip() else None

    def run(work: Work) -> None:
        workflow = service.drip(work.desk.rig, work.board.info, valve, seconds)
        work.tell(text=words.say_dripped(work.run(workflow)))

    return Job("drip", f"One drop of valve {valve}", run)


def make_flash(flash: int, contact: str) -> Job:
    """One flash."""
    seconds = parse_duration(contact, key="contact", example="2 ms")

    def run(work: Work) -> None:
        workflow = service.flash_once(work.desk.rig, work.board.info, flash, seconds)
        work.tell(text=words.say_flashed(work.run(workflow)))

    return Job("flash", f"Flash {flash}, once", run)


def make_rinse(valve: int, duration: str) -> Job:
    """The valve held open, after a question."""
    seconds = parse_duration(duration, key="duration", example="2 s")

    def run(work: Work) -> None:
        if work.run(service.rinse(valve, seconds)) is None:
            work.tell(text="Nothing was opened.")

    return Job("rinse", f"Rinsing valve {valve}", run)


def make_watch() -> Job:
    """The beams watched, edge by edge, to align them."""

    def run(work: Work) -> None:
        work.board.watch(True)
        try:
            work.ask(
                "Pass something through the beam: every edge shows at once.",
                (("stop", "Stop watching"),),
            )
        finally:
            work.bench.stop_watch(work.board)

    return Job("watch", "Watching the beam", run)


def make_repeat(shot: int, count: int) -> Job:
    """A logged shot, again, and how its edges differ from that day's."""
    if not 1 <= count <= 100:
        raise UserError(f"{count} times: expected 1 to 100")

    def run(work: Work) -> None:
        from beamfall.setup.rig import Rig
        from beamfall.shots.repeat import compare_shots, find_peers, rebuild_sequence

        logged = work.log.read_shot(shot)
        rig = work.desk.rig if logged.rig is None else Rig.from_dict(logged.rig)
        shooter = work.bench.shooter_for(
            work.board, work.log, "repeat", rig, {"of_shot": shot, "count": count}
        )
        work.bench.disarm()
        sequence = rebuild_sequence(logged.table, f"shot {shot} again")
        records = []
        for number in range(count):
            if number:
                work.rest(shooter, rig.aim.rest_s)
            work.tell(done=number, of=count, text=f"shot {shot} again, {number + 1} of {count}")
            records.append(work.fire(shooter, sequence))
        changes = compare_shots(logged.record, records, find_peers(work.log, shot))
        work.tell(
            done=count, of=count, text="",
            result={"of_shot": shot, "edges": [change.to_json() for change in changes]},
        )  # fmt: skip

    return Job("repeat", f"Shot {shot} again", run)
