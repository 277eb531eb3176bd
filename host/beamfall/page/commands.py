"""The commands that a page may send: each is a function, and its annotations check the arguments.

The functions only call the library; what they return goes back to the page.
"""

from __future__ import annotations

import inspect
import math
from collections.abc import Callable, Mapping
from typing import Any

from beamfall.errors import NoSuchShot, UserError
from beamfall.page import guided
from beamfall.page.board_thread import BoardThread
from beamfall.page.by_hand import round_times
from beamfall.page.desk import Desk
from beamfall.page.hub import Hub, mark_shot
from beamfall.page.jobs import (
    make_arm,
    make_calibrate,
    make_check,
    make_drip,
    make_flash,
    make_recipe_shot,
    make_release,
    make_repeat,
    make_rinse,
    make_seek,
    make_sweep,
    make_sweep_resume,
    make_watch,
)
from beamfall.page.slots import make_slots, make_store
from beamfall.planning.belief import Belief
from beamfall.recipes.make import make_recipe
from beamfall.recipes.shelf import Shelf
from beamfall.shots import ShotLog, find_log
from beamfall.shots.repeat import rebuild_sequence
from beamfall.workflows.picture_measure import measure_shot
from beamfall.workflows.picture_reader import describe_measured
from beamfall.workflows.reading import read_marks

Command = Callable[..., dict[str, Any] | None]
FileText = str  # of a whole file
_NOTE_MOST = 2000
_TEXT_MOST = {"str": 4000, "FileText": 60_000}
_NUMBER_MOST = 2**53 - 1  # beyond it JSON's numbers are not exact everywhere (RFC 8259, section 6)
_TYPES: Mapping[str, type] = {"str": str, "FileText": str, "int": int, "bool": bool, "float": float}


# -- the board -------------------------------------------------------------------------------------------------
def abort(hub: Hub, desk: Desk, bench: BoardThread, press: str = "") -> None:
    bench.abort(press)


def arm(hub: Hub, desk: Desk, bench: BoardThread) -> None:
    bench.submit(make_arm())


def release(
    hub: Hub, desk: Desk, bench: BoardThread, count: int = 1, unrested: bool = False
) -> None:
    bench.submit(make_release(count, unrested))


def drip(hub: Hub, desk: Desk, bench: BoardThread, valve: int = 1, opening: str = "") -> None:
    bench.submit(make_drip(valve, opening))


def flash(hub: Hub, desk: Desk, bench: BoardThread, flash: int = 1, contact: str = "2 ms") -> None:
    bench.submit(make_flash(flash, contact))


def rinse(hub: Hub, desk: Desk, bench: BoardThread, valve: int = 1, duration: str = "2 s") -> None:
    bench.submit(make_rinse(valve, duration))


def watch(hub: Hub, desk: Desk, bench: BoardThread) -> None:
    bench.submit(make_watch())


def repeat(hub: Hub, desk: Desk, bench: BoardThread, shot: int, count: int = 1) -> None:
    bench.submit(make_repeat(shot, count))


def sweep(
    hub: Hub, desk: Desk, bench: BoardThread, of: str = "flash", first: str = "", last: str = "",
    step: str = "", repeat: int = 1, order: str = "line", rest: str = "",
) -> None:  # fmt: skip
    bench.submit(make_sweep(of, first, last, step, repeat, order, rest))


def sweep_resume(hub: Hub, desk: Desk, bench: BoardThread, series: int = 0) -> None:
    bench.submit(make_sweep_resume(series))


def seek(
    hub: Hub, desk: Desk, bench: BoardThread, stage: str = "", shots: int = 20, fresh: bool = False,
    simulated_person: bool = False, recipe: str = "",
) -> None:  # fmt: skip
    kept = Shelf.open(bench.log_path).load(recipe) if recipe else None
    bench.submit(make_seek(stage, shots, fresh, simulated_person, kept))


def pictures_from(
    hub: Hub, desk: Desk, bench: BoardThread, kind: str = "none", camera: str = ""
) -> None:
    bench.require_idle()
    bench.camera.choose(kind, camera)


def shoot_recipe(
    hub: Hub, desk: Desk, bench: BoardThread, name: str, as_then: bool = False
) -> None:
    bench.submit(make_recipe_shot(Shelf.open(bench.log_path).load(name), as_then))


def check(hub: Hub, desk: Desk, bench: BoardThread, simulated_person: bool = False) -> None:
    bench.submit(make_check(simulated_person))


def calibrate(
    hub: Hub, desk: Desk, bench: BoardThread, count: int = 20, gap_error: str = "0.3 mm"
) -> None:
    bench.submit(make_calibrate(count, gap_error))


def answer(hub: Hub, desk: Desk, bench: BoardThread, question: int, value: str) -> None:
    bench.answers.give(question, value)


# -- the desk --------------------------------------------------------------------------------------------------
def tune(hub: Hub, desk: Desk, bench: BoardThread, spacing: str = "", delay: str = "") -> None:
    desk.tune(spacing or None, delay or None)


def step(hub: Hub, desk: Desk, bench: BoardThread, of: str, by: str) -> None:
    desk.step(of, by)


def use_found(hub: Hub, desk: Desk, bench: BoardThread) -> None:
    found = (hub.get("job_seek") or {}).get("result")
    if found is None:
        raise UserError("no search has found timings yet")
    spacing_ms = found["spacing_ms"]  # none with one drop
    spacing_s = None if spacing_ms is None else spacing_ms / 1e3
    desk.take_timings(spacing_s, found["delay_ms"] / 1e3, found["source"])


def untune(hub: Hub, desk: Desk, bench: BoardThread) -> None:
    desk.untune()


def correct(hub: Hub, desk: Desk, bench: BoardThread, shot: int) -> None:
    bench.trends.correct(shot)


def edit(hub: Hub, desk: Desk, bench: BoardThread, path: str, text: str) -> None:
    desk.edit(path, text)


def add_part(hub: Hub, desk: Desk, bench: BoardThread, part: str) -> None:
    desk.add(part)


def remove_part(hub: Hub, desk: Desk, bench: BoardThread, path: str) -> None:
    desk.remove(path)


def reset_rig(hub: Hub, desk: Desk, bench: BoardThread) -> None:
    desk.reset()


def save_rig(hub: Hub, desk: Desk, bench: BoardThread) -> None:
    desk.save()


def guide(
    hub: Hub, desk: Desk, bench: BoardThread, answers: str = "", key: str = "", text: str = "", back: bool = False
) -> dict[str, Any]:  # fmt: skip
    return guided.take_step(answers, key, text, back=back)


def guide_done(hub: Hub, desk: Desk, bench: BoardThread, answers: str) -> None:
    desk.take_guided(guided.finish(answers))


# -- the table by hand -----------------------------------------------------------------------------------------
def table_set(hub: Hub, desk: Desk, bench: BoardThread, row: int, field: str, text: str) -> None:
    desk.by_hand.set(row, field, text)


def table_look(
    hub: Hub, desk: Desk, bench: BoardThread, row: int, field: str, text: str
) -> dict[str, Any]:
    return desk.by_hand.look(row, field, text)


def table_step(hub: Hub, desk: Desk, bench: BoardThread, row: int, field: str, by: str) -> None:
    desk.by_hand.step(row, field, by)


def table_add(hub: Hub, desk: Desk, bench: BoardThread, output: str) -> None:
    desk.by_hand.add(output)


def table_copy(hub: Hub, desk: Desk, bench: BoardThread, row: int) -> None:
    desk.by_hand.copy(row)


def table_remove(hub: Hub, desk: Desk, bench: BoardThread, row: int) -> None:
    desk.by_hand.remove(row)


def table_undo(hub: Hub, desk: Desk, bench: BoardThread) -> None:
    desk.by_hand.move(-1)


def table_redo(hub: Hub, desk: Desk, bench: BoardThread) -> None:
    desk.by_hand.move(1)


def table_use(hub: Hub, desk: Desk, bench: BoardThread, on: bool) -> None:
    desk.by_hand.use(on)


def table_read(hub: Hub, desk: Desk, bench: BoardThread, text: FileText) -> None:
    desk.by_hand.read(text)


def table_from_plan(hub: Hub, desk: Desk, bench: BoardThread) -> None:
    desk.by_hand.take(round_times(desk.planned_sequence))


def table_from_shot(hub: Hub, desk: Desk, bench: BoardThread, shot: int) -> None:
    with _open_log(bench) as log:
        desk.by_hand.take(rebuild_sequence(log.read_shot(shot).table, f"shot {shot}"))


def table_from_recipe(hub: Hub, desk: Desk, bench: BoardThread, name: str) -> None:
    desk.by_hand.take(Shelf.open(bench.log_path).load(name).sequence)


# -- what seeking and calibrating have taught ------------------------------------------------------------------
def undo_learned(hub: Hub, desk: Desk, bench: BoardThread) -> None:
    _change_learned(desk, bench, Belief.undo)


def redo_learned(hub: Hub, desk: Desk, bench: BoardThread) -> None:
    _change_learned(desk, bench, Belief.redo)


def reset_learned(hub: Hub, desk: Desk, bench: BoardThread) -> None:
    _change_learned(desk, bench, Belief.reset)


def _change_learned(desk: Desk, bench: BoardThread, change: Callable[[Belief], Belief]) -> None:
    bench.require_idle()  # a search that is under way would write over it at its end
    desk.change_learned(change)


def dismiss(hub: Hub, desk: Desk, bench: BoardThread, notice: int) -> None:
    hub.dismiss(notice)


# -- the log ---------------------------------------------------------------------------------------------------
def rate(hub: Hub, desk: Desk, bench: BoardThread, shot: int, rating: int) -> None:
    with _open_log(bench) as log:
        log.set_rating(shot, rating or None)
        bench.tell_line(log, shot)
    mark_shot(hub, shot, rating=rating or None)


def note(hub: Hub, desk: Desk, bench: BoardThread, shot: int, text: str) -> None:
    if len(text) > _NOTE_MOST:
        raise UserError(f"the note has {len(text)} characters; at most {_NOTE_MOST}")
    with _open_log(bench) as log:
        log.set_note(shot, text)
        bench.tell_line(log, shot)
    mark_shot(hub, shot, note=text)


def measure(hub: Hub, desk: Desk, bench: BoardThread, shot: int, marks: str = "") -> dict[str, Any]:
    """Measure a shot's photograph, with marks that a person has dragged: `tip 512 left 310`, in pixels."""
    given = read_marks(marks) if marks else {}
    if marks and not given:
        raise UserError(
            f"measure: {marks[:40]!a} names no marks; expected such as: tip 512 left 310"
        )
    with _open_log(bench) as log:
        measured = measure_shot(log, shot, given)
    return {"measured": measured.describe(), "said": describe_measured(measured)}


# -- recipes ---------------------------------------------------------------------------------------------------
def keep_recipe(hub: Hub, desk: Desk, bench: BoardThread, shot: int, name: str) -> None:
    shelf = Shelf.open(bench.log_path)
    shelf.refuse_taken(name)
    with _open_log(bench) as log:
        shelf.save(make_recipe(log, shot, name, learned=desk.learned, rig_file=desk.rig_file))
    hub.tell("recipes")


def rename_recipe(hub: Hub, desk: Desk, bench: BoardThread, name: str, new: str) -> None:
    Shelf.open(bench.log_path).rename(name, new)
    hub.tell("recipes")


def remove_recipe(hub: Hub, desk: Desk, bench: BoardThread, name: str) -> None:
    Shelf.open(bench.log_path).remove(name)
    hub.tell("recipes")


def store_recipe(hub: Hub, desk: Desk, bench: BoardThread, name: str, slot: int) -> None:
    bench.submit(make_store(Shelf.open(bench.log_path).load(name), slot))


def board_slots(hub: Hub, desk: Desk, bench: BoardThread, do: str = "read", slot: int = 0) -> None:
    if do not in ("read", "choose", "load", "erase"):
        raise UserError(f"board_slots: {do[:40]!a} is not an action")
    bench.submit(make_slots(do, slot))


def _open_log(bench: BoardThread) -> ShotLog:

    path = bench.log_path or find_log()
    if not path.exists():
        raise NoSuchShot("no shot has been logged yet")
    return ShotLog.open(path)


COMMANDS: Mapping[str, Command] = {
    command.__name__: command
    for command in (
        abort, arm, release, drip, flash, rinse, watch, repeat, sweep, sweep_resume, seek,
        pictures_from, check, calibrate, shoot_recipe, keep_recipe, rename_recipe, remove_recipe,
        store_recipe, board_slots,
        answer, tune, step, use_found, untune, correct, edit, add_part, remove_part, reset_rig, save_rig, guide,
        guide_done, undo_learned, redo_learned, reset_learned, dismiss, rate, note, measure, table_set, table_look,
        table_step, table_add, table_copy, table_remove, table_undo, table_redo, table_use, table_read, table_from_plan,
        table_from_shot, table_from_recipe,
    )
}  # fmt: skip


def read_arguments(command: Command, body: Mapping[str, Any]) -> dict[str, Any]:
    """Return the arguments of a command from a body; raises UserError for those that do not fit.

    Unknown arguments are refused: a page of another version must not be half understood.
    """
    wanted = list(inspect.signature(command).parameters.values())[3:]
    unknown = set(body) - {one.name for one in wanted}
    if unknown:
        raise UserError(f"{command.__name__}: unknown {ascii(', '.join(sorted(unknown)))[:80]}")
    values: dict[str, Any] = {}
    for one in wanted:
        if one.name not in body:
            if one.default is inspect.Parameter.empty:
                raise UserError(f"{command.__name__}: {one.name} is missing")
            continue
        value, kind = body[one.name], _TYPES[str(one.annotation)]
        fits = isinstance(value, kind) and (kind is bool or not isinstance(value, bool))
        if not fits or (isinstance(value, str) and len(value) > _TEXT_MOST[str(one.annotation)]):
            raise UserError(f"{command.__name__}: {one.name} must be {kind.__name__}")
        if isinstance(value, float) and not math.isfinite(value):
            raise UserError(f"{command.__name__}: {one.name} must be a number")
        if isinstance(value, int) and abs(value) > _NUMBER_MOST:
            raise UserError(f"{command.__name__}: {one.name} is too large")
        if isinstance(value, str) and not holds_characters(value):
            raise UserError(
                f"{command.__name__}: {one.name} contains a broken character: {value[:40]!a}"
            )
        values[one.name] = value
    return values


def holds_characters(text: str) -> bool:
    """Whether a text has only whole characters. JSON can also write halves, which no file can hold."""
    try:
        text.encode()
    except UnicodeEncodeError:
        return False
    return True
