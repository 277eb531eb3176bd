"""Measures the photographs of logged shots, and keeps in the log what was found."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from beamfall.errors import UserError
from beamfall.photos.measure import Measured, Scene, date_series, measure
from beamfall.photos.measure.series import share_offset, share_surface
from beamfall.physics.expected_drop import ExpectedDrop
from beamfall.setup.rig import Rig
from beamfall.shots import LoggedShot, ShotLog, ShotRecord
from beamfall.workflows.picture_scene import expect_logged, make_picture_scene


def measure_shot(log: ShotLog, shot: int, marks: Mapping[str, float]) -> Measured:
    """Measure a shot's photograph with the marks that a person has set, in pixels, and keep the result in the log.

    The beam edges of the shot say where its drops would be. Photographs of its series that were measured before give it
    their surface and how far drops are from there and, if the spacing is the same, its age.
    Raises UserError for a shot without a photograph, PictureError for one that cannot be read.
    """
    logged = log.read_shot(shot)
    record = logged.record
    if record.picture is None:
        raise UserError(f"shot {shot} has no photograph in the log, so there is nothing to measure")
    rig = logged.make_rig()
    others = _recall_series(log, record)
    scene = Scene()
    if rig is not None:
        scene = replace(make_picture_scene(rig), expected=expect_logged(rig, record))
        others = [(_add_expected(one, expect_logged(rig, other)), other) for one, other in others]
    seen = [one for one, _ in others]
    scene = replace(
        scene,
        surface_row=share_surface(seen),
        drop_offset_m=share_offset(seen, scene),
        marks=dict(marks),
    )
    made = measure(Path(record.picture), scene)
    light_ms = find_light(record)
    if light_ms is not None:
        same = [
            (one, other_ms)
            for one, other in others
            if _setting(other) == _setting(record) and (other_ms := find_light(other)) is not None
        ]
        made = date_series([(made, light_ms), *same], scene)[0]
    log.set_picture_measured(shot, made.describe())
    return made


def _add_expected(measured: Measured, expected: Sequence[ExpectedDrop | None]) -> Measured:
    return replace(measured, expected=expected[-1]) if expected else measured


def expect_shots(shots: Mapping[Path, LoggedShot]) -> dict[Path, tuple[ExpectedDrop | None, ...]]:
    """Where the drops of each picture's shot would be at its flash, for shots whose rig is known."""
    return {
        path: expect_logged(rig, one.record)
        for path, one in shots.items()
        if (rig := one.known_rig) is not None
    }


def find_light(record: ShotRecord) -> float | None:
    """When the flash fired, in ms after its anchor; None if nothing was anchored."""
    return (
        None
        if record.flash_delay_ticks is None
        else 1e3 * record.flash_delay_ticks / record.clock_hz
    )


def find_lights(shots: Mapping[Path, LoggedShot]) -> dict[Path, float]:
    """Times of the flashes in ms by picture, of the shots with the commonest spacing and anchor."""
    usual = Counter(_setting(one.record) for one in shots.values()).most_common(1)
    return {
        path: light_ms
        for path, one in shots.items()
        if usual
        and _setting(one.record) == usual[0][0]
        and (light_ms := find_light(one.record)) is not None
    }


def find_shots(log: ShotLog, files: Sequence[Path]) -> dict[Path, LoggedShot]:
    """The shots that these photographs belong to in the log, by file; those without a shot are left out."""
    wanted = {file.resolve(): file for file in files}
    found: dict[Path, LoggedShot] = {}
    for shot, picture in log.find_pictures().items():
        file = wanted.get(Path(picture).resolve())
        if file is not None:
            found[file] = log.read_shot(shot)
    return found


def find_rig(shots: Mapping[Path, LoggedShot]) -> Rig | None:
    """The rig that the log has of all these shots; None if it has none, or several."""
    rigs = [one.known_rig for one in shots.values()]
    return rigs[0] if rigs and all(rig == rigs[0] for rig in rigs) else None


def _setting(record: ShotRecord) -> tuple[Any, ...]:
    """What pictures must share for the times of their flashes to be comparable."""
    anchor = record.anchor_beam, record.anchor_edge, record.anchor_count
    return record.series, record.spacing_ticks, record.clock_hz, anchor


def _recall_series(log: ShotLog, record: ShotRecord) -> list[tuple[Measured, ShotRecord]]:
    """The other measured photographs of a shot's series."""
    found = []
    for other in log.read_shots(series=record.series):
        described = other.record.picture_measured
        if described is None or other.record.shot == record.shot:
            continue
        try:
            found.append((Measured.recall(described), other.record))
        except (LookupError, TypeError, ValueError, AttributeError):
            continue  # another version wrote it: measure that picture again to use it
    return found
