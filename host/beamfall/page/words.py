"""Board, link and events as plain values with the words that people see."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any

from beamfall.board import Board
from beamfall.errors import BeamfallError, NoProgress
from beamfall.events import EdgesSeen
from beamfall.photos.arrival import Late
from beamfall.planning.calibration.describe import (
    START_AND_FALL,
    TIMES,
    describe_estimate,
    explain_combination,
)
from beamfall.setup.signals import Signal
from beamfall.text import show_text
from beamfall.wire import WireEnum
from beamfall.workflows.calibrate import Calibrated, DropsProgress
from beamfall.workflows.repeat import RepeatProgress
from beamfall.workflows.seek_steps import Aim, Answered, Sought, WhatIsSeen
from beamfall.workflows.series import UnclaimedShot
from beamfall.workflows.service import Dripped, Flashed
from beamfall.workflows.steps import NONE, AwaitingPicture, Pictured, Progress, WhichPicture
from beamfall.workflows.sweep import StepAhead
from beamfall.workflows.trend import Trend
from beamfall.workflows.waits import Left
from beamfall.workflows.words import (
    CHECK_AHEAD,
    DROP_SEEN,
    LIGHT_SEEN,
    MISFIT,
    NO_LIGHT_SEEN,
    say_much_depends,
)

ANOTHER_BOARD = "Another board is connected now. The page uses it; arm again before you release."
OPENED_AGAIN = "The page is reopening the port. Arm again before you release."
VALVE_STAYED_CLOSED = "The valve stayed closed."
# What a device did, as shown after its name.
_TIMINGS, _RIG, _TABLE = "changed the timings", "changed the rig", "changed the table"
ACTS = {
    "abort": "aborted", "arm": "armed", "release": "released", "drip": "requested one drop", "flash": "requested one "
    "flash", "rinse": "requested a rinse", "watch": "watched the beam", "repeat": "repeated a shot", "sweep": "started "
    "a sweep", "sweep_resume": "resumed a sweep", "seek": "started a search", "check": "started a check",
    "calibrate": "started a calibration", "shoot_recipe": "fired a recipe",
    "store_recipe": "stored a recipe on the board", "board_slots": "looked at the board's slots",
    "answer": "answered", "tune": _TIMINGS,
    "step": _TIMINGS, "untune": _TIMINGS, "use_found": "applied the search's timings",
    "correct": "corrected the timings", "edit": _RIG, "add_part": _RIG, "remove_part": _RIG,
    "reset_rig": _RIG, "save_rig": "saved the rig", "guide_done": _RIG, "undo_learned": "undid what was learned",
    "redo_learned": "restored what was learned", "reset_learned": "reset what was learned", "table_set": _TABLE,
    "table_step": _TABLE, "table_add": _TABLE, "table_copy": _TABLE, "table_remove": _TABLE, "table_undo": _TABLE,
    "table_redo": _TABLE, "table_use": "switched between plan and table", "table_read": _TABLE,
    "table_from_plan": _TABLE, "table_from_shot": _TABLE, "table_from_recipe": _TABLE,
    "pictures_from": "changed the source of pictures",
}  # fmt: skip
SET_BY_HAND, CORRECTED = "Set by hand", "Corrected for the drift"
EDGES_APPEAR = "Move something through the beam. Each edge appears on the Bench at once."
WHAT_IS_SEEN = "What does the picture show?"
WITH_HEIGHTS = "If you measured heights, type them too: before jet 31 mm drop 42 mm"
WITH_JET = "If you measured the jet's height, type it too: jet 31 mm"
LOOK_AGAIN = "Look at this picture again: what does it show?"
AGREE, AGREES = "agree", "I agree with what was read (Enter)"
MAY_CHECK = f"{CHECK_AHEAD} Has everyone been warned?"
CANNOT_DO, CANNOT_TELL = "I cannot do this", "I cannot tell"
CALCULATING = "calculating"
CORRECTION_CHOICES = (("yes", "Correct it"), ("no", "Fire it unchanged"))
CONTAINER_CHOICES = (("yes", "Yes: open the valve"), ("no", "No"))
HOT_COIL = "The coil warms up while the valve is open and can burn fingers."


def say_awaiting(event: AwaitingPicture) -> str:
    """A line that says which picture the page is waiting for."""
    return f"waiting for the picture of shot {event.shot}, at most {event.seconds:g} s"


def list_problems(event: Pictured) -> list[str]:
    """What is wrong with a shot's picture, or why there is none."""
    named = f"shot {event.fired.shot}: "
    problems = [] if event.problem is None else [f"{named}{event.problem}"]
    return problems + [f"{named}{remark}" for remark in event.remarks]


def say_late(late: Late) -> str:
    """The pictures that arrived between two shots."""
    parts = [] if late.arrived is None else [f"shot {late.arrived.shot}'s picture came late"]
    parts += [f"{show_text(file.name)} belongs to no shot" for file in late.strays]
    return "; ".join(parts)


def say_what_was_read(question: WhatIsSeen) -> str:
    """What was said of the picture in question, or read in it; how to add heights if there is neither."""
    if question.said is not None:
        return say_much_depends(question)
    if question.reading is None:
        return WITH_HEIGHTS if len(question.aim.times_s) > 1 else WITH_JET
    marks = (question.reading.measured or {}).get("marks", {}).values()
    by_hand = any(mark["by_hand"] for mark in marks)
    return f"Read in the picture{' with your marks' if by_hand else ''}: {question.reading.said}"


def list_agreements(question: WhatIsSeen) -> tuple[tuple[str, str], ...]:
    """The button that keeps what was said or read, if there is any."""
    if question.otherwise is None:
        return ()
    said = question.said
    return ((AGREE, AGREES if said is None else f"Keep '{said.said}' (Enter)"),)


def say_which(question: WhichPicture) -> str:
    """The question if several pictures could show a shot."""
    return f"Which picture shows shot {question.shot}?"


def say_choice(name: str) -> str:
    """One of the answers."""
    return "None of them" if name == NONE else show_text(name)


def describe_board(board: Board) -> dict[str, Any]:
    """What the board reports about itself."""
    info = board.info
    return {
        "name": info.name,
        "port": board.name,
        "firmware": info.firmware,
        "unique_id": info.unique_id.hex(),
        "boot_id": info.boot_id,
        "timing": info.timing.label,
        "clock_hz": info.clock_hz,
        "simulated": board.traits.brings_rig,
        "has_light": info.has(Signal.light1),
        "rinse_max_ms": info.rinse_max_ms,
        "valve_max_ms": info.valve_max_us / 1e3,
    }


def describe_link(board: Board, round_trip_ms: float | None) -> dict[str, Any]:
    """The state of the link. Good frames are not counted here: each would make the page update."""
    counters = board.counters
    bad = counters.frames_bad_total
    health = "good" if not bad and not counters.retransmissions else "mended"
    return {
        "state": "up",
        "health": health,
        "round_trip_ms": None if round_trip_ms is None else _coarse(round_trip_ms),
        "frames_bad": bad,
        "retransmissions": counters.retransmissions,
        "reconnections": counters.reconnections,
        "restarts": counters.restarts,
    }


def _coarse(milliseconds: float) -> float:
    """Rounded up to 1, 2 or 5 times a power of ten, so that the figure does not flicker."""
    for step in (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000):
        if milliseconds <= step:
            return step
    return 2000


def describe_cause(cause: WireEnum) -> dict[str, str] | None:
    """A cause with its meaning and cure; None if there is no cause."""
    if cause == 0:
        return None
    return {"word": cause.label, "meaning": cause.meaning, "cure": cause.cure}


def describe_unclaimed(shot: UnclaimedShot) -> str:
    """A shot that the page has not released, in a sentence."""
    if shot.shot is None:
        return (
            f"The board reports a shot ({shot.state}) from another program. It is not in this log."
        )
    text = f"Somebody pressed the board's button: {shot.state}. It is shot {shot.shot} in the log"
    return text + (
        "." if shot.planned else ", with measured edges only: its sequence is not known."
    )


def describe_edges(event: EdgesSeen, clock_hz: int) -> list[dict[str, Any]]:
    """Edges in ms from the release (of a watch: from its start)."""
    return [
        {"what": edge.signal.name, "word": edge.word, "ms": edge.ticks / clock_hz * 1e3}
        for edge in event.edges
    ]


# -- workflows -------------------------------------------------------------------------------------------------
def say_left(left: Left) -> str:
    """When the next shot can be fired, for somebody who asked too early."""
    if left.recycle_s >= left.rest_s:
        return f"Ready again in {left.recycle_s:.1f} s: the flash is recycling."
    return f"Ready again in {left.rest_s:.1f} s: the surface is settling. Shift+R releases anyway."


def say_progress(event: Progress) -> str:
    """The progress of a series."""
    if event.done >= event.of:
        return ""
    if isinstance(event, DropsProgress):
        return "two drops, without a flash"
    if isinstance(event, RepeatProgress):
        return f"shot {event.of_shot} again, {event.done + 1} of {event.of}"
    return f"shot {event.done + 1} of {event.of}"


def say_dripped(dripped: Dripped) -> str:
    """What one drop did."""
    if dripped.crossed_s is None:
        return "Nothing crossed the beam: find out why under Check."
    return f"{DROP_SEEN} {dripped.crossed_s * 1e3:.1f} ms after the opening."


def say_flashed(flashed: Flashed) -> str:
    """What one flash did."""
    if flashed.lit is None:
        return "The contact closed."
    return LIGHT_SEEN if flashed.lit else NO_LIGHT_SEEN


def say_trend(trend: Trend) -> dict[str, str]:
    """How the rig has drifted, and what corrects it."""
    correction = trend.correction
    begun = datetime.fromtimestamp(trend.since_us / 1e6).strftime("%H:%M")
    way = "later" if trend.later_s > 0.0 else "earlier"
    parts = [
        f"{what} {abs(by_s) * 1e3:.1f} ms {'later' if by_s > 0.0 else 'earlier'}"
        for what, by_s in (("the flash", correction.delay_s), ("drop 2", correction.spacing_s))
        if abs(by_s) >= 5e-5
    ]
    by = f"{abs(trend.later_s) * 1e3:.1f} ms {way}"
    return {
        "drift": f"The drops reach the beam {by} than in shot {trend.since} ({begun}).",
        "needs": f"The same picture now needs {' and '.join(parts)}.",
    }


def say_error(error: BeamfallError) -> str:
    """What went wrong, with the cure that the page offers."""
    if isinstance(error, NoProgress):
        return f"{error.describe()}: find out why under Check"
    return str(error)


def say_step_ahead(event: StepAhead) -> str:
    """The step of a sweep that is fired next."""
    plan, step = event.plan, event.step
    return f"step {step.index} of {len(plan.steps)}: {plan.of} {step.value_s * 1e3:.3f} ms"


def say_source(shot: int) -> str:
    """The source of timings that a search has found."""
    return f"From the search: shot {shot}"


def say_aim(aim: Aim) -> str:
    """The next shot of a search. Its place in the search is not its number in the log."""
    return f"{aim.number} of at most {aim.most}: {aim.describe()}"


def _to_ms(seconds: float | None) -> float | None:
    return None if seconds is None else seconds * 1e3


def describe_answered(one: Answered) -> dict[str, Any]:
    """A shot of a search as a line of the page's table."""
    answer = f"no information: {one.useless}" if one.answer is None else one.answer.said
    return {
        "shot": one.fired.shot,
        "number": one.aim.number,
        "answer": answer,
        "spacing_ms": _to_ms(one.aim.spacing_s),
        "delay_ms": one.aim.delay_s * 1e3,
        "chance": one.chance if one.teaches else None,
    }


def say_fit(one: Answered) -> str:
    """That the answers do not fit the rig file; empty if they do."""
    return MISFIT if one.misfit else ""


def renew_line(lines: Iterable[Mapping[str, Any]], one: Answered) -> list[dict[str, Any]]:
    """The lines of a search after a second look at a picture."""
    again = describe_answered(one)
    renewed = [again if line["shot"] == again["shot"] else dict(line) for line in lines]
    return renew_chances(renewed, one.chances)


def renew_chances(
    lines: Iterable[Mapping[str, Any]], chances: Mapping[int, float]
) -> list[dict[str, Any]]:
    """The lines of a search, updated with what a new answer says about earlier pictures."""
    return [{**line, "chance": chances.get(line["shot"], line["chance"])} for line in lines]


def say_anchor(beam: str, count: int, edge: str = "dark") -> str:
    """What the flash follows: `drop 2 at beam 1`."""
    if not count:
        return "the release"
    return f"drop {count} {'at' if edge == 'dark' else 'leaving'} {Signal.of(beam).label}"


def describe_sought(done: Sought) -> dict[str, Any] | None:
    """How a search ended."""
    search, best = done.search, done.best
    if best is None:
        return None
    return {
        "found": done.found,
        "shots": search.shots,
        "chance": search.best_chance,
        "shot": best.fired.shot,
        "source": say_source(best.fired.shot),
        "spacing_ms": _to_ms(best.aim.spacing_s),
        "delay_ms": best.aim.delay_s * 1e3,
        "by_beam": search.by_beam,
        "drops": len(best.aim.times_s),
        "learned": done.kept is not None,
    }


def describe_calibrated(done: Calibrated) -> dict[str, Any]:
    """What a calibration has found."""
    found = done.found
    return {
        "rows": [list(describe_estimate(one)) for one in found.estimates],
        "texts": [START_AND_FALL, *(explain_combination(one) for one in found.combinations)],
        "warnings": list(found.warnings),
        "effects": [
            {
                "name": TIMES[one.name],
                "before": [value * 1e3 for value in one.before],
                "after": [value * 1e3 for value in one.after],
            }
            for one in done.effects
            if one.name in TIMES
        ],
        "kept": None if done.kept is None else str(done.kept),
    }
