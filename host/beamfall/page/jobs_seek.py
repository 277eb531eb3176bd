"""The search for the collision, as a job: a shot, a question under its picture, a better shot."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from beamfall.errors import ShotError, UserError
from beamfall.page.jobs import Job, Work
from beamfall.page.shown import mark_shot
from beamfall.planning.seek.answer import BLACK

if TYPE_CHECKING:
    from beamfall.planning.seek.answer import Answer
    from beamfall.shots import ShotRecord
    from beamfall.workflows.series import Shooter

_MISSES_MOST = 3


def make_seek(stage: str, shots_most: int, fresh: bool, simulated_person: bool) -> Job:
    """The search for the collision: a shot, a question, a better shot."""
    from beamfall.planning.stage import read_stage

    wanted_s = read_stage(stage.strip() or None)
    if not 1 <= shots_most <= 100:
        raise UserError(f"{shots_most} shots: expected 1 to 100")

    def run(work: Work) -> None:
        _Seek(work, wanted_s, shots_most, fresh, simulated_person).run()

    return Job("seek", "Seeking the collision", run)


class _Seek:
    """One search under way; goes as `beamfall seek` does, with the page in the terminal's place."""

    def __init__(
        self, work: Work, wanted_s: float | None, most: int, fresh: bool, simulated_person: bool
    ) -> None:
        from beamfall.planning.seek.search import Search

        self.work = work
        self.most = most
        self.rig = work.desk.rig
        self.search = Search(
            self.rig, wanted_s=wanted_s, learned=work.desk.learned, fresh=fresh, seed=work.seed
        )
        studio = work.board.traits.studio
        self.person = studio.find_photographer() if simulated_person and studio else None

    def run(self) -> None:
        work, search = self.work, self.search
        work.bench.disarm()
        shooter = work.begin_series("seek", {"stage_s": search.wanted_s})
        work.tell(of=self.most)
        work.warm_up(shooter)
        misses, last = 0, None
        try:
            while not search.found and search.shots < self.most:
                if last is not None:
                    work.rest(shooter, self.rig.aim.rest_s)
                last = search.propose()
                work.tell(
                    text=f"shot {search.shots + 1}: spacing {last.spacing_s * 1e3:.2f} ms, "
                    f"flash {last.delay_s * 1e3:.2f} ms after its edge"
                )
                record = work.fire(shooter, search.build(last), {"seek": search.shots + 1})
                misses = 0 if self._take(shooter, last, record) else misses + 1
                search.stop_if_useless("under Check")
                if misses >= _MISSES_MOST:
                    raise ShotError(
                        f"{misses} shots running did not fire ({record.cause}): find out why under Check"
                    )
        finally:
            if search.has_learned:
                self._keep()
        if last is not None:
            work.tell(
                text="",
                result={
                    "found": search.found, "shots": search.shots, "chance": search.chance,
                    "spacing_ms": last.spacing_s * 1e3, "delay_ms": last.delay_s * 1e3,
                    "by_beam": search.by_beam, "learned": search.has_learned,
                },
            )  # fmt: skip

    def _take(self, shooter: Shooter, proposal: Any, record: ShotRecord) -> bool:
        from beamfall.planning.seek.answer import read_shot, say_useless

        shot = read_shot(record, self.rig.beams[0].edge if self.rig.beams else "dark")
        if record.state != "fired" or shot is None or record.shot is None:
            return False
        useless = say_useless(record, shot, sees_light=self.rig.fitted.flash_seen)
        if useless is None:
            answer = self._ask(shooter, record.shot)
            self.search.take(shot, answer)
            word = answer.word
        else:
            self.search.pass_over(useless)
            word = f"told nothing: {useless}"
        note = f"seek: {word}"
        self.work.log.set_note(record.shot, note)
        mark_shot(self.work.hub, record.shot, note=note)
        self.work.bench.tell_line(self.work.log, record.shot)
        self.work.add_line(
            shot=record.shot, number=self.search.shots, answer=word,
            spacing_ms=proposal.spacing_s * 1e3, delay_ms=proposal.delay_s * 1e3,
            chance=self.search.chance if useless is None and word != BLACK else None,
        )  # fmt: skip
        self.work.tell(done=self.search.shots)
        return True

    def _ask(self, shooter: Shooter, shot: int) -> Answer:
        from beamfall.planning.seek.answer import WORDS, read_answer

        if self.person is not None:
            return Answer(*self.person(shooter.picture))
        problem = ""
        while True:
            text = self.work.ask(
                "What does the picture show?",
                tuple(WORDS.items()),
                hint=problem or "With heights where you measured them: before jet 31 mm drop 42 mm",
                free=True,
                shot=shot,
            )
            try:
                return read_answer(text)
            except UserError as error:
                problem = str(error)

    def _keep(self) -> None:
        from beamfall.planning.learned import find_file, save_learned

        board = self.work.board
        board_id = board.info.unique_id.hex()
        learned = self.search.keep(
            board=board_id, port=board.name, simulated=board.traits.studio is not None
        )
        save_learned(find_file(self.work.desk.rig_file), learned)
        self.work.desk.use_board(board_id)
