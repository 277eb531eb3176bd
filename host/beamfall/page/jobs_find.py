"""Jobs that look for something: a sweep through one timing, what is wrong, what the beam's edges say."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from beamfall.errors import UserError
from beamfall.page.jobs import Job, Work
from beamfall.page.pictures import simulated_file
from beamfall.setup.units import parse_duration, parse_length

if TYPE_CHECKING:
    from beamfall.faults.checks import Check
    from beamfall.faults.finder import Step as FaultStep
    from beamfall.faults.questions import Listen, Person, Question
    from beamfall.faults.setup import Setup
    from beamfall.workflows.series import Shooter


# -- sweep -----------------------------------------------------------------------------------------------------
def make_sweep(
    of: str, first: str, last: str, step: str, repeat: int, order: str, rest: str
) -> Job:
    """One timing through its range; empty texts leave the range to the planner."""
    rest_s = _read_time("rest", rest)
    times = {
        name: _read_time(key, text)
        for name, key, text in (
            ("first_s", "from", first),
            ("last_s", "to", last),
            ("step_s", "step", step),
        )
    }

    def run(work: Work) -> None:
        from beamfall.planning.sweep import make

        rig = work.desk.tuned_rig(of)
        sweep = make.make_sweep(
            rig, work.board, of, rig_file=work.desk.rig_file, **times,
            repeat=repeat, order=order, seed=work.seed,
        )  # fmt: skip
        settings = make.make_settings(sweep, rig, work.board)
        work.bench.disarm()
        shooter = work.begin_series("sweep", settings)
        _fire_sweep(work, shooter, sweep, rig.aim.rest_s if rest_s is None else rest_s)

    return Job("sweep", f"Sweep of the {of}", run)


def _read_time(key: str, text: str) -> float | None:
    """A duration in s; None where the field was left empty."""
    return parse_duration(text, key=key) if text.strip() else None


def make_sweep_resume(series: int) -> Job:
    """Go on with a sweep that was stopped; its own settings hold. Series 0: the newest sweep."""

    def run(work: Work) -> None:
        from beamfall.planning.sweep.make import resume_sweep
        from beamfall.planning.sweep.progress import find_series
        from beamfall.setup.rig import Rig

        found = find_series(work.log, series or None)
        rig = Rig.from_dict(found.settings["rig"]) if "rig" in found.settings else work.desk.rig
        work.bench.disarm()
        sweep, shooter = resume_sweep(work.board, work.log, rig, found)
        _fire_sweep(work, shooter, sweep, rig.aim.rest_s)

    return Job("sweep", "The sweep, gone on with", run)


def _fire_sweep(work: Work, shooter: Shooter, sweep: Any, rest_s: float) -> None:
    from beamfall.planning.sweep.progress import list_entries, list_open

    series, total = shooter.series, len(sweep.steps)
    work.tell(of=total, result={"series": series, "of": sweep.of})
    left = list_open(sweep, list_entries(work.log, series))
    if left:
        work.warm_up(shooter)
    first = True
    while left:
        for step in left:
            if not first:
                work.rest(shooter, rest_s)
            first = False
            value = f"{sweep.of} {step.value_s * 1e3:.3f} ms"
            work.tell(text=f"step {step.index} of {total}: {value}")
            work.fire(shooter, sweep.build(step.value_s), step.to_swept(sweep.of), rest_s=rest_s)
            _show_entries(work, series, sweep.of)
        left = list_open(sweep, list_entries(work.log, series))
    work.tell(text="")


def _show_entries(work: Work, series: int, of: str) -> None:
    from beamfall.planning.sweep.progress import list_entries

    entries = sorted(list_entries(work.log, series), key=lambda e: (e.value_ms, e.repeat, e.shot))
    fired = {entry.step for entry in entries if entry.state == "fired"}
    work.tell(
        done=len(fired),
        lines=[
            {
                "value": f"{of} {entry.value_ms:.3f} ms",
                "drawn": entry.picture is not None
                or simulated_file(work.log.path, entry.shot).exists(),
                **entry.to_json(),
            }
            for entry in entries
        ],
    )


# -- check -----------------------------------------------------------------------------------------------------
_CANNOT_TELL = "cannot-tell"
_CANNOT = "It cannot be done"


def make_check(simulated_person: bool) -> Job:
    """Fault finding: tests by the board, questions to the person beside the rig."""

    def run(work: Work) -> None:
        from beamfall.faults.bench import Bench
        from beamfall.faults.catalogue import load_catalogue
        from beamfall.faults.session import begin_finder

        setup = _set_up(work)
        person = _PagePerson(work, _simulate_person(work, setup), simulated_person)
        work.bench.disarm()

        def tell(step: FaultStep) -> None:
            work.add_line(
                test=step.check.what, showed=step.describe(), asked=step.asked,
                chances=[
                    {"cause": name, "chance": chance} for name, chance in finder.belief.rank()[:4]
                ],
            )  # fmt: skip

        def begins(check: Check) -> None:
            work.tell(text=check.say_what_begins())

        finder = begin_finder(work.board, setup, tell, begins)
        finder.note_connection("opened")
        person.begin(load_catalogue().cautions_first)
        finding = finder.run(Bench(work.board, setup, person))
        work.board.settle()
        work.tell(text="", result={**finding.to_json(), "tests": len(finding.steps)})

    return Job("check", "Finding out what is wrong", run)


def _set_up(work: Work) -> Setup:
    """The rig on the desk with the timings that are there, which are what this page fires."""
    from beamfall.faults.setup import make_setup

    desk = work.desk
    if not desk.rig.flashes:
        return make_setup(desk.rig)
    said = "those on this page"
    setup = make_setup(desk.rig, desk.sequence, timings=said, learned=desk.learned)
    return replace(setup, sequence=work.board.traits.as_set(setup.sequence))


def _simulate_person(work: Work, setup: Setup) -> Person | None:
    """Who can see and touch the rig that the port brings; None beside a real one."""
    studio = work.board.traits.studio
    if studio is None:
        return None
    return studio.find_helper(
        valve=setup.valve_number, beam=setup.beam_number, flash=setup.flash_number
    )


class _PagePerson:
    """Whoever sits before the page. Behind a simulated port `hands` do what is asked in the simulated room
    and say what is to be seen there; `alone`: they answer, too."""

    def __init__(self, work: Work, hands: Person | None, alone: bool) -> None:
        self._work = work
        self._hands = hands
        self._alone = alone and hands is not None
        self._told: set[str] = {""}

    def begin(self, cautions: tuple[str, ...]) -> None:
        if not self._alone:
            self._work.ask(
                "The check will open the valve and fire the flash, once and again. Is everybody warned?",
                (("ready", "Begin"),),
                cautions=cautions,
            )
        self._told.update(cautions)

    def prepare(self, question: Question) -> None:
        if question.before and not self._alone:
            self._ask(question.before, question, (("ready", "Ready"),), _CANNOT)
        if self._hands is not None:
            self._hands.prepare(question)

    def act(self, question: Question, listen: Listen) -> None:
        if not self._alone:
            # What the board reports meanwhile belongs to the test.
            self._ask(question.text, question, (("done", "Done"),), _CANNOT, listen=listen)
        if self._hands is not None:
            self._hands.act(question, listen)

    def answer(self, question: Question) -> str:
        seen = None if self._hands is None else self._hands.answer(question)
        if self._alone and seen is not None:
            return seen
        hint = "" if seen is None else f"At the simulated rig: {question.answers[seen]}"
        return self._ask(
            question.text, question, tuple(question.answers.items()), "Cannot tell", hint=hint
        )

    def finish(self, question: Question) -> None:
        if question.after and not self._alone:
            self._work.ask(question.after, (("done", "Done"),))
        if self._hands is not None:
            self._hands.finish(question)

    def _ask(
        self,
        text: str,
        question: Question,
        choices: tuple[tuple[str, str], ...],
        cannot: str,
        *,
        hint: str = "",
        listen: Listen | None = None,
    ) -> str:
        """Ask, with what of the question's caution was not told yet; raises CannotTell."""
        from beamfall.faults.questions import CannotTell, leave_out

        caution = leave_out(question.caution, self._told)
        self._told.add(caution)
        answer = self._work.ask(
            text, (*choices, (_CANNOT_TELL, cannot)), hint=hint, listen=listen,
            cautions=(caution,) if caution else (),
        )  # fmt: skip
        if answer == _CANNOT_TELL:
            raise CannotTell
        return answer


# -- calibrate -------------------------------------------------------------------------------------------------
def make_calibrate(count: int, gap_error: str) -> Job:
    """What the beam's edges say of the rig; kept for the planner, as `beamfall calibrate` does."""
    error_m = parse_length(gap_error, key="gap error", example="0.3 mm")
    if not 8 <= count <= 500:
        raise UserError(f"{count} shots: expected 8 to 500")

    def run(work: Work) -> None:
        from beamfall.planning.calibration import calibrate, measure_drops
        from beamfall.planning.calibration.describe import (
            START_AND_FALL,
            TIMES,
            describe_estimate,
            explain_combination,
        )
        from beamfall.planning.calibration.drops import check_request, make_drops
        from beamfall.planning.calibration.effect import compare_plans, keep_for_plan
        from beamfall.planning.calibration.measure import put_own_first
        from beamfall.planning.learned import find_file, load_learned, save_learned

        rig, board = work.desk.rig, work.board
        check_request(rig, gap_error_m=error_m)
        work.bench.disarm()
        sequence = make_drops(rig)
        shooter = work.begin_series("calibrate", {"count": count})
        for number in range(count):
            if number:
                work.rest(shooter, min(rig.aim.rest_s, 2.0))  # no surface has to calm down for this
            work.tell(done=number, of=count, text="two drops, without flash")
            work.fire(shooter, sequence, rest_s=0.0)
        work.tell(done=count, text="reckoning")
        found = calibrate(
            put_own_first(measure_drops(work.log, [shooter.series]), rig), gap_error_m=error_m
        )
        board_id, kept = board.info.unique_id.hex(), find_file(work.desk.rig_file)
        earlier = load_learned(kept, board_id)
        learned = keep_for_plan(
            found, board=board_id, port=board.name,
            simulated=board.traits.studio is not None, earlier=earlier, series=(shooter.series,),
        )  # fmt: skip
        effects = compare_plans(found, learned, earlier)
        work.log.add_calibration(found.shots, found.to_json())
        save_learned(kept, learned)
        work.desk.use_board(board_id)
        work.tell(
            text="",
            result={
                "rows": [list(describe_estimate(one)) for one in found.estimates],
                "texts": [START_AND_FALL, *(explain_combination(one) for one in found.combinations)],
                "warnings": list(found.warnings),
                "effects": [
                    {"name": TIMES[one.name], "before": [v * 1e3 for v in one.before],
                     "after": [v * 1e3 for v in one.after]}
                    for one in effects
                    if one.name in TIMES
                ],
                "kept": str(kept),
            },
        )  # fmt: skip

    return Job("calibrate", "Calibrating by the beam's edges", run)
