"""`beamfall photos`: what photographs themselves say."""

from __future__ import annotations

import contextlib
import math
import sys
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import typer

from beamfall.cli.loading import make_app
from beamfall.cli.options import JSON_ALL
from beamfall.cli.output import print_json, print_table
from beamfall.errors import LogError, UserError
from beamfall.files import explain_write
from beamfall.photos.measure import Measured, Scene, measure_series
from beamfall.photos.measure.overlay import say_value, write_overlay
from beamfall.setup.rig import Rig, load_rig
from beamfall.setup.units import parse_quantity
from beamfall.shots import LoggedShot, ShotLog
from beamfall.text import show_text
from beamfall.workflows.picture_measure import expect_shots, find_lights, find_rig, find_shots
from beamfall.workflows.picture_scene import make_picture_scene

app = make_app("Measure pictures: drop, jet, umbrella, time since contact.")


@app.command("measure")
def measure_photos(
    files: list[Path] = typer.Argument(..., help="Pictures of one camera that did not move."),
    rig_file: Path | None = typer.Option(
        None,
        "--rig",
        help="Rig file: gives the scale ([camera]) and the size of its drops; default: the rig logged with "
        "the pictures' shots.",
    ),
    scale: float | None = typer.Option(None, help="Pixels per millimetre."),
    ruler: str | None = typer.Option(
        None,
        metavar="X1,Y1,X2,Y2,MM",
        help="Two points on a ruler in a picture of the same size, and the millimetres between them.",
    ),
    volume: str | None = typer.Option(
        None, "--drop-volume", help="Scale by a drop of this volume in flight, such as '45 uL'."
    ),
    background: Path | None = typer.Option(
        None, help="A picture from the same camera before the first drop."
    ),
    marks: list[str] = typer.Option(
        [],
        "--set",
        metavar="MARK=PIXEL",
        help="Set a mark by hand, one picture at a time: surface, tip or drop to a row, left or right (of the "
        "umbrella) to a column.",
    ),
    overlay: Path | None = typer.Option(
        None, help="Write a copy of each picture with its marks into this folder."
    ),
    as_json: bool = JSON_ALL,
) -> int:
    """Measure what pictures show, in mm, each with its standard error.

    It finds the surface by the reflection, then the drop, the jet, the umbrella or the crown, and works out the
    time since the drops met. If a picture's shot is in the log, the shot's beam edges help. If a picture does
    not show something clearly, it says 'not sure'. Pictures are never altered. What it measures in a
    shot's photograph is saved in the log.
    """
    logged = _find_logged(files)
    rig = load_rig(rig_file) if rig_file is not None else None
    if rig is None and len(logged) == len(files):
        rig = find_rig(logged)
    scene = _read_scene(rig, scale, ruler, background, marks, len(files))
    lights, expected = find_lights(logged), expect_shots(logged)
    made = measure_series(files, scene, lights, expected)
    if volume is not None:
        by_drop = _scale_by_drop([one for one in made if isinstance(one, Measured)], volume)
        made = measure_series(
            files,
            replace(scene, scale_px_m=by_drop[0], scale_width_px=by_drop[1]),
            lights,
            expected,
        )
    good = [one for one in made if isinstance(one, Measured)]
    kept = _keep(good, logged)
    if overlay is not None:
        with explain_write(overlay):
            overlay.mkdir(parents=True, exist_ok=True)
        for one in good:
            assert one.path is not None
            write_overlay(one, overlay / f"{one.path.stem}.measured.jpg")
    if as_json:
        print_json(
            {
                "pictures": [
                    one.to_json()
                    if isinstance(one, Measured)
                    else {"file": str(path), "error": str(one)}
                    for path, one in zip(files, made, strict=True)
                ]
            }
        )
    else:
        if good:
            _print(good)
        for failed in made:
            if not isinstance(failed, Measured):
                print(f"left out: {show_text(failed)}")
        if kept:
            print(
                f"saved in the log with {'shot' if len(kept) == 1 else 'shots'} {', '.join(map(str, kept))}"
            )
        if overlay is not None:
            print(f"overlays in {show_text(overlay)}")
    return 0 if len(good) == len(files) else 1


def _find_logged(files: Sequence[Path]) -> dict[Path, LoggedShot]:
    """The shots that the pictures belong to. Without a readable log the pictures belong to no shot."""
    try:
        with ShotLog.open_existing() or contextlib.nullcontext() as log:
            return {} if log is None else find_shots(log, files)
    except LogError as error:
        print(f"the log was not changed: {show_text(error)}", file=sys.stderr)
        return {}


def _keep(measured: Sequence[Measured], logged: Mapping[Path, LoggedShot]) -> list[int]:
    """Keep what was measured with the shots; return their numbers."""
    shots = [
        (one, logged[one.path].line.shot)
        for one in measured
        if one.path is not None and one.path in logged
    ]
    if shots:
        with ShotLog.open() as log:
            for one, shot in shots:
                log.set_picture_measured(shot, one.describe())
    return sorted(shot for _, shot in shots)


def _read_scene(
    rig: Rig | None,
    scale: float | None,
    ruler: str | None,
    background: Path | None,
    marks: Sequence[str],
    files: int,
) -> Scene:
    if scale is not None and ruler is not None:
        raise UserError("give --scale or --ruler, not both")
    if background is not None and not background.is_file():
        raise UserError(f"--background {background}: there is no such picture; check the path")
    if marks and files > 1:
        raise UserError("--set applies to one picture: name only that one")
    scene = Scene() if rig is None else make_picture_scene(rig)
    if scale is not None:
        if not 0.1 <= scale <= 10_000.0:
            raise UserError(f"--scale = {scale}: expected 0.1 to 10000 pixels per millimetre")
        scene = replace(scene, scale_px_m=1e3 * scale)
    if ruler is not None:
        scene = replace(scene, scale_px_m=_read_ruler(ruler))
    return replace(scene, background=background, marks=dict(_read_mark(one) for one in marks))


def _read_ruler(text: str) -> float:
    """Pixels per metre."""
    expected = "five numbers: the column and row of two points, and the millimetres between them"
    try:
        x1, y1, x2, y2, mm = (float(part) for part in text.split(","))
    except ValueError:
        raise UserError(f"--ruler {text}: expected {expected}") from None
    apart = math.hypot(x2 - x1, y2 - y1)
    if not (mm > 0.0 and apart >= 10.0):
        raise UserError(f"--ruler {text}: the points must be at least 10 pixels apart; {expected}")
    return 1e3 * apart / mm


def _read_mark(text: str) -> tuple[str, float]:
    name, _, value = text.partition("=")
    try:
        return name.strip(), float(value)
    except ValueError:
        raise UserError(f"--set {text}: expected a mark and a pixel, such as surface=812") from None


def _scale_by_drop(measured: list[Measured], volume: str) -> tuple[float, int]:
    """Pixels per metre of pictures that wide, from whole drops in flight."""
    diameter_m = (6.0 / math.pi * parse_quantity(volume, "volume", key="--drop-volume")) ** (
        1.0 / 3.0
    )
    if not 5e-4 <= diameter_m <= 0.01:
        raise UserError(f"--drop-volume {volume}: a drop has 0.07 to 500 microlitres")
    seen = [
        (one.drop_width_px / one.width, one.width)
        for one in measured
        if one.drop_width_px is not None
    ]
    if not seen:
        raise UserError(
            "--drop-volume: no picture shows a whole drop in flight; give --scale or --ruler"
        )
    share = sorted(share for share, _ in seen)[len(seen) // 2]
    return share * seen[0][1] / diameter_m, seen[0][1]


def _print(measured: list[Measured]) -> None:
    def cell(one: Measured, *names: str) -> str:
        values = [value for name in names if (value := getattr(one, name)) is not None]
        return say_value(values[0]) if values else "-"

    print_table(
        ("picture", "shows", "sure", "height mm", "width mm", "drop at mm", "since contact ms"),
        [
            (
                show_text(one.path.name if one.path else ""),
                one.stage or "not sure",
                f"{100 * one.confidence:.0f} %",
                cell(one, "jet_height", "umbrella_height", "crown_height"),
                cell(one, "umbrella_diameter", "crown_diameter", "jet_width"),
                cell(one, "drop_height"),
                cell(one, "since_contact_ms"),
            )
            for one in measured
        ],
        numeric=("sure", "height mm", "width mm", "drop at mm", "since contact ms"),
    )
    for one in measured:
        for doubt in one.doubts:
            print(f"{show_text(one.path.name if one.path else '')}: {show_text(doubt)}")
    if any(one.px_per_mm is None for one in measured):
        print("No scale is known: give --rig, --scale, --ruler or --drop-volume.")
