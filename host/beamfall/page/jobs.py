"""The page's jobs: each checks what the user typed and runs a workflow on the board's thread."""

from __future__ import annotations

from beamfall.errors import UserError
from beamfall.faults.origin import Origin, Source
from beamfall.page import words
from beamfall.page.front import run_on_page
from beamfall.page.work import Job, Work
from beamfall.planning.stage import find_stage, read_stage, read_width
from beamfall.planning.sweep.progress import find_series
from beamfall.planning.sweep.schedule import check_swept, read_row_value, say_swept
from beamfall.recipes.day import set_day
from beamfall.recipes.events import find_start
from beamfall.recipes.recipe import Recipe
from beamfall.setup.units import parse_duration, parse_length
from beamfall.workflows import calibrate, check, repeat, seek, service, sweep
from beamfall.workflows.counts import check_count
from beamfall.workflows.picture_reader import MeasuringReader
from beamfall.workflows.recipe import shoot_recipe
from beamfall.workflows.shoot import shoot
from beamfall.workflows.watch import watch

_SHORT_S = 0.5  # a longer wait is refused with a message: no shot may come by surprise

# Why nothing was armed or released.
NOT_PLANNED = "the plan is not ready yet: arm again in a moment"
TIMINGS_CHANGED = "the timings have changed since arming: arm again"


def make_arm() -> Job:
    """Upload what is planned to the board, complete and checked."""

    def run(work: Work) -> None:
        try:
            # Timings that were just set: what is shown is what is armed. An abort gets in between.
            work.desk.wait(meanwhile=work.board.pump)
        except TimeoutError as error:
            raise UserError(NOT_PLANNED) from error
        sequence = work.desk.sequence
        table = sequence.make_table(work.board.info)
        work.board.arm(table)
        # The board's button may release it, and such a shot names its table by the digest only.
        work.log.keep_table(table)
        work.bench.arm(sequence, table.digest)

    return Job("arm", "Arming", run)


def make_release(count: int = 1, unrested: bool = False) -> Job:
    """Fire what is armed, `count` times; raises UserError if nothing is armed or it is no longer the planned shot.

    One shot goes out at once or not at all: while the surface settles or the flash recycles it is
    refused with what is left, since drops that fall seconds after the key come by surprise.
    `unrested` leaves the surface's rest out for it, deliberately; recycling never.
    """
    check_count(count)

    def run(work: Work) -> None:
        armed = work.bench.armed
        if armed is None:
            raise UserError("nothing is armed: press Arm (A) first")
        try:
            # Timings may just have been set: then the plan is not ready, and what is armed is out of date.
            work.desk.wait(_SHORT_S, work.board.pump)
        except TimeoutError as error:
            raise UserError(NOT_PLANNED) from error
        if armed.sequence != work.desk.sequence:
            work.bench.disarm()
            raise UserError(TIMINGS_CHANGED)
        rest_s = 0.0 if unrested else None
        left = work.bench.waits.find_left(
            work.board.transport.clock(), work.desk.rig, rest_s=rest_s
        )
        if count == 1 and left.longest_s > _SHORT_S:
            raise UserError(words.say_left(left))
        rig = work.desk.rig
        steps = shoot(rig, armed.sequence, count, warm_up=count > 1, settled=not unrested)
        run_on_page(work, steps, pictures=True)

    return Job("release", "Release" if count == 1 else f"Series of {count} shots", run)


def make_drip(valve: int = 1, opening: str = "") -> Job:
    """One drop; without an opening the rig's."""
    seconds = parse_duration(opening, key="opening", example="13 ms") if opening.strip() else None

    def run(work: Work) -> None:
        workflow = service.drip(work.desk.rig, work.board.info, valve, seconds)
        work.tell(text=words.say_dripped(run_on_page(work, workflow)))

    return Job("drip", f"One drop from valve {valve}", run)


def make_flash(flash: int = 1, contact: str = "2 ms") -> Job:
    """One flash."""
    seconds = parse_duration(contact, key="contact", example="2 ms")

    def run(work: Work) -> None:
        workflow = service.flash_once(work.desk.rig, work.board.info, flash, seconds)
        work.tell(text=words.say_flashed(run_on_page(work, workflow)))

    return Job("flash", f"One flash of flash {flash}", run)


def make_rinse(valve: int = 1, duration: str = "2 s") -> Job:
    """The valve held open, after a question."""
    seconds = parse_duration(duration, key="duration", example="2 s")

    def run(work: Work) -> None:
        if run_on_page(work, service.rinse(valve, seconds)) is None:
            work.tell(text=words.VALVE_STAYED_CLOSED)

    return Job("rinse", f"Rinsing valve {valve}", run)


def make_watch() -> Job:
    """The beams watched, edge by edge, to align them."""

    def run(work: Work) -> None:
        run_on_page(work, watch(work.board))

    return Job("watch", "Watching the beam", run)


def make_repeat(shot: int, count: int = 1) -> Job:
    """A logged shot, again, and how its edges differ from that day's."""
    check_count(count)

    def run(work: Work) -> None:
        work.bench.disarm()
        done = run_on_page(work, repeat.repeat(work.board, work.log, shot, count), pictures=True)
        work.tell(
            text="",
            result={"of_shot": shot, "edges": [change.to_json() for change in done.changes]},
        )

    return Job("repeat", f"Repeating shot {shot}", run)


def make_sweep(
    of: str = "flash", first: str = "", last: str = "", step: str = "", repeat: int = 1, order: str = "line",
    rest: str = "",
) -> Job:  # fmt: skip
    """One timing through its range, or a value of a row of the table by hand (`row3.delay`).

    Empty texts leave the range to the planner, which knows none for a row.
    """
    check_swept(of)
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
        work.bench.disarm()
        run_on_page(
            work,
            sweep.sweep(
                work.desk.tuned_rig(of), work.board, of, rig_file=work.desk.rig_file, rest_s=rest_s,
                seed=work.seed, base=work.desk.by_hand.sequence if read_row_value(of) else None,
                **times, repeat=repeat, order=order,
            ),
            pictures=True,
        )  # fmt: skip
        work.tell(text="")

    return Job("sweep", f"Sweep of {say_swept(of)}", run)


def _read_time(key: str, text: str) -> float | None:
    """A duration in s; None if the field was left empty."""
    return parse_duration(text, key=key) if text.strip() else None


def make_sweep_resume(series: int = 0) -> Job:
    """Resume a sweep that was stopped, with its own settings. Series 0: the newest sweep."""

    def run(work: Work) -> None:
        work.bench.disarm()
        found = find_series(work.log, series or None)
        rig = sweep.choose_rig(found, lambda: work.desk.rig)
        run_on_page(work, sweep.resume(rig, work.board, work.log, found), pictures=True)
        work.tell(text="")

    return Job("sweep", "Resuming the sweep", run)


def make_seek(
    stage: str, most: int, fresh: bool, simulated_person: bool, recipe: Recipe | None = None
) -> Job:
    """The search for the picture of the rig's aim, or of a recipe: a shot, a question, a better shot."""
    wanted = stage.strip() or None
    if wanted is None or read_width(wanted) is None:
        read_stage(wanted)  # refuses what is neither
    check_count(most)

    def run(work: Work) -> None:
        work.bench.disarm()
        rig, start = work.desk.rig, None
        learned = None if fresh else work.desk.learned
        wanted_s = find_stage(wanted, rig, learned=learned)
        if recipe is not None:
            rig, start = find_start(recipe, rig, learned=learned)
        try:
            done = run_on_page(
                work,
                seek.seek(
                    rig, work.board, rig_file=work.desk.rig_file, stage_s=wanted_s, start=start,
                    most=most, fresh=fresh, asks=not simulated_person, seed=work.seed,
                    reader=MeasuringReader.make(rig),
                ),
                pictures=True,
            )  # fmt: skip
        finally:  # also where it was stopped it may have learned something
            work.desk.use_board(work.board.info.unique_id.hex())
        work.tell(text="", result=words.describe_sought(done))

    title = "Seeking the picture" if recipe is None else f"Seeking the picture of {recipe.name}"
    return Job("seek", title, run)


def make_check(simulated_person: bool = False) -> Job:
    """Fault finding: tests by the board, questions to the person beside the rig."""

    def run(work: Work) -> None:
        desk = work.desk
        # The timings on the page, which are what it fires.
        setup = check.set_up(
            work.board, desk.rig, desk.sequence if desk.rig.flashes else None,
            timings=Origin(Source.PAGE), learned=desk.learned,
        )  # fmt: skip
        work.bench.disarm()
        hands = check.find_hands(work.board, setup)
        finding = run_on_page(
            work, check.check(work.board, setup, hands=hands, alone=simulated_person)
        )
        work.board.settle()
        work.tell(text="", result={**finding.to_json(), "tests": len(finding.steps)})

    return Job("check", "Finding out what is wrong", run)


def make_recipe_shot(recipe: Recipe, as_then: bool) -> Job:
    """A recipe again: two drops compared with its day, the correction offered, then one shot."""

    def run(work: Work) -> None:
        desk = work.desk
        work.bench.disarm()
        recipe.sequence.make_table(work.board.info)  # refused before a drop falls
        now = set_day(recipe, rig=desk.rig if desk.rig.beams == recipe.rig.beams else None)
        run_on_page(
            work, shoot_recipe(recipe, now, learned=desk.learned, as_then=as_then), pictures=True
        )
        work.tell(text="")

    return Job("recipe", f"Recipe {recipe.name}", run)


def make_calibrate(count: int = 20, gap_error: str = "0.3 mm") -> Job:
    """What the beam's edges say about the rig; kept for the planner, as `beamfall calibrate` does."""
    error_m = parse_length(gap_error, key="gap error", example="0.3 mm")
    check_count(count, calibrate.SHOTS_LEAST)

    def run(work: Work) -> None:
        work.bench.disarm()
        done = run_on_page(
            work,
            calibrate.calibrate(
                work.desk.rig, work.log, count=count, gap_error_m=error_m,
                rig_file=work.desk.rig_file,
            )
        )  # fmt: skip
        work.desk.use_board(work.board.info.unique_id.hex())
        work.tell(text="", result=words.describe_calibrated(done))

    return Job("calibrate", "Calibrating with the beam", run)
