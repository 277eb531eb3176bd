"""The commands that a page may send. Their annotations say what arguments each takes."""

from __future__ import annotations

import inspect
import math
from collections.abc import Callable, Mapping
from functools import partial, wraps
from typing import Any

from beamfall.errors import NoSuchShot, UserError
from beamfall.page import guided, jobs
from beamfall.page.board_thread import BoardThread
from beamfall.page.by_hand import round_times
from beamfall.page.hub import mark_shot
from beamfall.page.slots import make_slots, make_store
from beamfall.page.work import Job
from beamfall.planning.belief import Belief
from beamfall.recipes.make import make_recipe
from beamfall.recipes.recipe import Recipe
from beamfall.recipes.shelf import Shelf
from beamfall.shots import ShotLog, find_log
from beamfall.shots.repeat import rebuild_sequence
from beamfall.workflows.picture_measure import measure_shot
from beamfall.workflows.picture_reader import describe_measured
from beamfall.workflows.reading import read_marks

Command = Callable[..., dict[str, Any] | None]
_NOTE_MOST = 2000
_TEXT_MOST = {"str": 4000, "FileText": 60_000}
_NUMBER_MOST = 2**53 - 1  # beyond it JSON's numbers are not exact everywhere (RFC 8259, section 6)
_TYPES: Mapping[str, type] = {"str": str, "FileText": str, "int": int, "bool": bool, "float": float}


def list_commands(bench: BoardThread) -> Mapping[str, Command]:
    """Every command by its name; what it returns goes back to the page."""
    desk, table = bench.desk, bench.desk.by_hand
    makers = (
        jobs.make_arm, jobs.make_release, jobs.make_drip, jobs.make_flash, jobs.make_rinse, jobs.make_watch,
        jobs.make_repeat, jobs.make_sweep, jobs.make_sweep_resume, jobs.make_check, jobs.make_calibrate,
    )  # fmt: skip
    own = (
        seek, shoot_recipe, store_recipe, board_slots, pictures_from, use_found, guide_done, table_from_plan,
        table_from_shot, table_from_recipe, rate, note, measure, keep_recipe, rename_recipe, remove_recipe,
    )  # fmt: skip
    return {
        **{make.__name__.removeprefix("make_"): _submit(bench, make) for make in makers},
        **{command.__name__: partial(command, bench) for command in own},
        "abort": bench.abort,
        "answer": bench.answers.give,
        "dismiss": bench.hub.dismiss,
        "correct": bench.trends.correct,
        "tune": desk.tune,
        "step": desk.step,
        "untune": desk.untune,
        "edit": desk.edit,
        "add_part": desk.add,
        "remove_part": desk.remove,
        "reset_rig": desk.reset,
        "save_rig": desk.save,
        "guide": guided.take_step,
        "undo_learned": partial(_change_learned, bench, Belief.undo),
        "redo_learned": partial(_change_learned, bench, Belief.redo),
        "reset_learned": partial(_change_learned, bench, Belief.reset),
        "table_set": table.set,
        "table_look": table.look,
        "table_step": table.step,
        "table_add": table.add,
        "table_copy": table.copy,
        "table_remove": table.remove,
        "table_undo": partial(table.move, -1),
        "table_redo": partial(table.move, 1),
        "table_use": table.use,
        "table_read": table.read,
    }


def _submit(bench: BoardThread, make: Callable[..., Job]) -> Command:
    @wraps(make)
    def submit(**arguments: Any) -> None:
        bench.submit(make(**arguments))

    return submit


# -- the board -------------------------------------------------------------------------------------------------
def seek(
    bench: BoardThread, stage: str = "", shots: int = 20, fresh: bool = False, simulated_person: bool = False,
    recipe: str = "",
) -> None:  # fmt: skip
    kept = _load_recipe(bench, recipe) if recipe else None
    bench.submit(jobs.make_seek(stage, shots, fresh, simulated_person, kept))


def shoot_recipe(bench: BoardThread, name: str, as_then: bool = False) -> None:
    bench.submit(jobs.make_recipe_shot(_load_recipe(bench, name), as_then))


def store_recipe(bench: BoardThread, name: str, slot: int) -> None:
    bench.submit(make_store(_load_recipe(bench, name), slot))


def board_slots(bench: BoardThread, do: str = "read", slot: int = 0) -> None:
    bench.submit(make_slots(do, slot))


def pictures_from(bench: BoardThread, kind: str = "none", camera: str = "") -> None:
    bench.require_idle()
    bench.camera.choose(kind, camera)


# -- the desk --------------------------------------------------------------------------------------------------
def use_found(bench: BoardThread) -> None:
    found = (bench.hub.get("job_seek") or {}).get("result")
    if found is None:
        raise UserError("no search has found timings yet")
    spacing_ms = found["spacing_ms"]  # none with one drop
    spacing_s = None if spacing_ms is None else spacing_ms / 1e3
    bench.desk.take_timings(spacing_s, found["delay_ms"] / 1e3, found["source"])


def guide_done(bench: BoardThread, answers: str) -> None:
    bench.desk.take_guided(guided.finish(answers))


def table_from_plan(bench: BoardThread) -> None:
    bench.desk.by_hand.take(round_times(bench.desk.planned_sequence))


def table_from_shot(bench: BoardThread, shot: int) -> None:
    with _open_log(bench) as log:
        bench.desk.by_hand.take(rebuild_sequence(log.read_shot(shot).table, f"shot {shot}"))


def table_from_recipe(bench: BoardThread, name: str) -> None:
    bench.desk.by_hand.take(_load_recipe(bench, name).sequence)


def _change_learned(bench: BoardThread, change: Callable[[Belief], Belief]) -> None:
    bench.require_idle()  # a search that is under way would write over it at its end
    bench.desk.change_learned(change)


# -- the log ---------------------------------------------------------------------------------------------------
def rate(bench: BoardThread, shot: int, rating: int) -> None:
    with _open_log(bench) as log:
        log.set_rating(shot, rating or None)
        bench.tell_line(log, shot)
    mark_shot(bench.hub, shot, rating=rating or None)


def note(bench: BoardThread, shot: int, text: str) -> None:
    if len(text) > _NOTE_MOST:
        raise UserError(f"the note has {len(text)} characters; at most {_NOTE_MOST}")
    with _open_log(bench) as log:
        log.set_note(shot, text)
        bench.tell_line(log, shot)
    mark_shot(bench.hub, shot, note=text)


def measure(bench: BoardThread, shot: int, marks: str = "") -> dict[str, Any]:
    """Measure a shot's photograph, with marks that a person has dragged: `tip 512 left 310`, in pixels."""
    given = read_marks(marks) if marks else {}
    if marks and not given:
        raise UserError(
            f"measure: {marks[:40]!a} names no marks; expected marks such as: tip 512 left 310"
        )
    with _open_log(bench) as log:
        measured = measure_shot(log, shot, given)
    return {"measured": measured.describe(), "said": describe_measured(measured)}


# -- recipes ---------------------------------------------------------------------------------------------------
def keep_recipe(bench: BoardThread, shot: int, name: str) -> None:
    desk, shelf = bench.desk, Shelf.open(bench.log_path)
    shelf.refuse_taken(name)
    with _open_log(bench) as log:
        shelf.save(make_recipe(log, shot, name, learned=desk.learned, rig_file=desk.rig_file))
    bench.hub.tell("recipes")


def rename_recipe(bench: BoardThread, name: str, new: str) -> None:
    Shelf.open(bench.log_path).rename(name, new)
    bench.hub.tell("recipes")


def remove_recipe(bench: BoardThread, name: str) -> None:
    Shelf.open(bench.log_path).remove(name)
    bench.hub.tell("recipes")


def _load_recipe(bench: BoardThread, name: str) -> Recipe:
    return Shelf.open(bench.log_path).load(name)


def _open_log(bench: BoardThread) -> ShotLog:
    path = bench.log_path or find_log()
    if not path.exists():
        raise NoSuchShot("no shot has been logged yet")
    return ShotLog.open(path)


# -- what a page sends -----------------------------------------------------------------------------------------
def read_arguments(name: str, command: Command, body: Mapping[str, Any]) -> dict[str, Any]:
    """Return the arguments of a command from a body; raises UserError for those that do not fit.

    Unknown arguments are refused: a page of another version must not be half understood.
    """
    wanted = inspect.signature(command).parameters
    unknown = set(body) - set(wanted)
    if unknown:
        raise UserError(f"{name}: unknown {ascii(', '.join(sorted(unknown)))[:80]}")
    values: dict[str, Any] = {}
    for key, one in wanted.items():
        if key in body:
            values[key] = body[key]
            _check_argument(f"{name}: {key}", str(one.annotation), body[key])
        elif one.default is inspect.Parameter.empty:
            raise UserError(f"{name}: {key} is missing")
    return values


def _check_argument(said: str, annotation: str, value: Any) -> None:
    kind = _TYPES[annotation]
    fits = isinstance(value, kind) and (kind is bool or not isinstance(value, bool))
    if not fits or (isinstance(value, str) and len(value) > _TEXT_MOST[annotation]):
        raise UserError(f"{said} must be {kind.__name__}")
    if isinstance(value, float) and not math.isfinite(value):
        raise UserError(f"{said} must be a number")
    if isinstance(value, int) and abs(value) > _NUMBER_MOST:
        raise UserError(f"{said} is too large")
    if isinstance(value, str) and not holds_characters(value):
        raise UserError(f"{said} contains a broken character: {value[:40]!a}")


def holds_characters(text: str) -> bool:
    """Whether a text has only whole characters. JSON can also write halves, which no file can hold."""
    try:
        text.encode()
    except UnicodeEncodeError:
        return False
    return True
