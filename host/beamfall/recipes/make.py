"""A recipe from a shot of the log."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from statistics import mean
from typing import Any

from beamfall.errors import PhysicsRangeError, PictureError, RecipeError, RigFileError
from beamfall.photos.find import load_picture
from beamfall.planning.belief import Belief
from beamfall.planning.seek.answer import list_dark, read_shot
from beamfall.recipes.package import PICTURE_WIDTH
from beamfall.recipes.recipe import (
    NOTE_MOST,
    DropSeen,
    Events,
    Home,
    Label,
    Looks,
    Measured,
    Recipe,
    check_name,
    find_partners,
)
from beamfall.setup.rig import Rig
from beamfall.setup.signals import Signal
from beamfall.shots import LoggedShot, ShotLog, ShotRecord
from beamfall.shots.pulses import find_times
from beamfall.shots.repeat import find_peers, rebuild_sequence

_FIRED = "fired"


def make_recipe(
    log: ShotLog,
    shot: int | None,
    name: str,
    *,
    learned: Belief | None = None,
    rig_file: Path | None = None,
) -> Recipe:
    """Return a recipe from a shot, the newest fired one when None, with its picture if there is one.

    `learned` is what is known about its rig. Raises NoSuchShot, RecipeError for a shot that is not worth keeping.
    """
    name = check_name(name)
    logged = log.read_shot(_find_newest(log) if shot is None else shot)
    record = logged.record
    if record.state != _FIRED:
        raise RecipeError(
            f"shot {record.shot} did not fire ({record.shown_state}): a recipe needs one that did"
        )
    rig = logged.make_rig()
    if rig is None:
        raise RecipeError(
            f"shot {record.shot} has no rig in the log: a recipe needs one; fire it with a rig file"
        )
    sequence = rebuild_sequence(logged.table, name)
    if sequence.flash_row() is None:
        raise RecipeError(
            f"shot {record.shot} fires no flash, so it has no picture to save; choose another shot: "
            "`beamfall shots list`"
        )
    measured = read_measured(record.picture_measured)
    events, looks = _read_events(log, logged, rig, learned, measured)
    try:
        picture = load_picture(log.path, logged, PICTURE_WIDTH)
    except PictureError:
        picture = None
    begun = record.begun_us or 0
    return Recipe(
        Label(
            name=name, note=record.note[:NOTE_MOST], rating=record.rating,
            made=datetime.fromtimestamp(begun / 1e6, UTC).strftime("%Y-%m-%d"),
            board=str(logged.board.get("name", ""))[:80],
        ),
        rig, sequence, events, looks,
        drops=measure_drops([record, *find_peers(log, logged.line.shot)], rig),
        picture=picture,
        home=Home(shot=record.shot, rig_file="" if rig_file is None else str(rig_file.resolve())),
        measured=measured,
    )  # fmt: skip


def read_measured(described: Mapping[str, Any] | None) -> Measured | None:
    """Return what a shot's record says was measured in its photograph; None if nothing was."""

    def value(name: str, least: float, most: float) -> float | None:
        found = (described or {}).get(name)
        number = found.get("value") if isinstance(found, Mapping) else None
        if not isinstance(number, int | float) or not least <= number * 1e-3 <= most:
            return None
        return round(number * 1e-3, 6)

    made = Measured(
        jet_m=value("jet_height", 0.0, 1.0),
        drop_m=value("drop_height", -0.1, 1.0),
        umbrella_m=value("umbrella_diameter", 0.0, 1.0),
        umbrella_height_m=value("umbrella_height", 0.0, 1.0),
        crown_m=value("crown_height", 0.0, 1.0),
        since_s=value("since_contact_ms", -0.2, 0.5),
    )
    return None if made == Measured() else made


def _find_newest(log: ShotLog) -> int:
    fired = log.list_shots(limit=1, state=_FIRED)
    if not fired:
        raise RecipeError("no shot has fired yet: fire one, then save it")
    return fired[0].shot


def _read_events(
    log: ShotLog, logged: LoggedShot, rig: Rig, learned: Belief | None, measured: Measured | None
) -> tuple[Events | None, Looks | None]:
    """What the physics says about the shot; nothing if it lies outside what the physics covers."""
    from beamfall.recipes.events import read_events

    near = {one.output for one in find_partners(rig)}
    drops = sum(row.output in near for row in logged.table.rows)
    shot = read_shot(logged.record, drops, rig.beams[0] if rig.beams else None, near)
    if shot is None:
        return None, None
    try:
        said_s = _find_said(log, logged)
        if said_s is None and measured is not None:
            said_s = measured.since_s
        return read_events(rig, shot, drops, learned=learned, said_s=said_s)
    except (PhysicsRangeError, RigFileError, RecipeError):
        return None, None


def _find_said(log: ShotLog, logged: LoggedShot) -> float | None:
    """The stage of a picture that ended a search: somebody has said so, or all answers have."""
    series = log.read_series(logged.line.series)
    stage = series.settings.get("stage_s") if series.kind == "seek" else None
    newest = log.list_shots(limit=1, series=logged.line.series)[0].shot
    return float(stage) if isinstance(stage, int | float) and newest == logged.line.shot else None


def measure_drops(records: list[ShotRecord], rig: Rig) -> tuple[DropSeen, ...]:
    """Return what the first beam saw of the drops, means over all these shots.

    Empty without a beam, and where several valves share it: whose drop it saw is then not known.
    """
    if not rig.beams or len(rig.valves) > 1:
        return ()
    valve = rig.valves[0].output
    arrivals: list[float] = []
    dwells: list[float] = []
    for record in records:
        opened = [at / record.clock_hz for at in find_times(record.edges, Signal.of(valve))]
        drops = list_dark(record, rig.beams[0].input)
        if len(drops) != len(opened):
            continue
        for at, drop in zip(opened, drops, strict=True):
            if drop.start is not None and drop.start > at:
                arrivals.append(drop.start - at)
                dwells += [] if drop.length is None else [drop.length]
    if not arrivals:
        return ()
    return (
        DropSeen(
            valve=valve, drops=len(arrivals), arrival_s=mean(arrivals),
            dwell_s=mean(dwells) if dwells else None,
        ),
    )  # fmt: skip
