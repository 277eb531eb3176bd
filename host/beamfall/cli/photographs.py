"""`beamfall shots match` and `beamfall shots sheet`: photographs and their shots."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from beamfall.cli.open_log import choose_series, open_log
from beamfall.cli.options import JSON_ALL, SERIES
from beamfall.cli.output import print_json, print_table
from beamfall.errors import NoSuchShot, UserError
from beamfall.photos.catalogue import ExchangedAll, exchange_all, is_by_clock
from beamfall.photos.clock_fit import ClockFit
from beamfall.photos.folder import Folder, read_folder
from beamfall.photos.keep import copy_pictures, write_sidecars
from beamfall.photos.sheet import write_sheet
from beamfall.shots import ShotLog
from beamfall.shots.record import DAMAGED, NOT_RELEASED, WARM_UP
from beamfall.text import say_count, show_text

if TYPE_CHECKING:
    from beamfall.photos.match import CameraMatch, Pair, TakenShot

_NEWEST = 3000  # shots considered if no series is named


def match(
    folder: Path = typer.Argument(..., help="Folder with the pictures; subfolders count too."),
    series: list[int] = typer.Option(
        [], help=f"Only shots of this series; may be repeated. Without it: the newest {_NEWEST}."
    ),
    store: bool = typer.Option(True, help="Write the pictures' names into the log."),
    copies: Path | None = typer.Option(
        None, help="Also copy the matched pictures into this folder, named by shot."
    ),
    sidecars: bool = typer.Option(
        False, "--sidecars", help="Also write PICTURE.shot.json beside each matched picture."
    ),
    xmp: bool = typer.Option(
        False, "--xmp", help="Also write an XMP sidecar for photo catalogues beside each."
    ),
    embed: bool = typer.Option(
        False, "--embed", help="Put the XMP into the copies too (JPEG; needs --copies)."
    ),
    as_json: bool = JSON_ALL,
) -> int:
    """Match photographs to shots by their capture times.

    The camera's clock may be wrong, even by years.

    If two offsets of the clock fit equally well, nothing is paired. Pictures are never altered.
    """
    from beamfall.photos.match import match_pictures

    if embed and copies is None:
        raise UserError("--embed changes copies only: name a folder for them with --copies")
    if xmp and not store:
        raise UserError("--xmp writes what the log has about a picture: remove --no-store")
    with open_log(to_write=store) as log:
        shots = _read_shots(log, series)
        found = read_folder(folder)
        cameras = match_pictures(found.pictures, shots)
        pairs = _choose_pairs(cameras)
        stored = _store(log, pairs, cameras) if store and pairs else 0
        wrote = write_sidecars(log, pairs) if sidecars and pairs else 0
        copied = copy_pictures(log, pairs, copies, embed) if copies is not None and pairs else 0
        exchanged = exchange_all(log, [pair.shot for pair in pairs]) if xmp else None
    if as_json:
        print_json(
            {
                "folder": str(folder),
                "pictures": len(found.pictures),
                "twins": found.twins,
                "problems": list(found.problems),
                "shots": len(shots),
                "stored": stored,
                **({} if exchanged is None else {"xmp": exchanged.to_json()}),
                "cameras": [camera.to_json() for camera in cameras],
            }
        )
    else:
        _print(found, cameras, len(shots))
        if stored:
            print(
                f"\n{stored} pictures linked in the log; look at them: beamfall shots sheet --out sheet.html"
            )
        if wrote:
            print(f"{wrote} sidecars written beside the pictures")
        if copied:
            print(f"{copied} copies in {show_text(copies)}")
        if exchanged is not None:
            _print_exchanged(exchanged)
    return 0 if pairs else 1


def _read_shots(log: ShotLog, series: list[int]) -> list[TakenShot]:
    from beamfall.photos.match import TakenShot

    chosen = [choose_series(log, one) for one in series]
    lines = (
        [line for one in chosen for line in log.list_shots(limit=None, series=one)]
        if chosen
        else log.list_shots(limit=_NEWEST)
    )
    shots = [
        TakenShot(line.shot, line.begun_us / 1e6)
        for line in sorted(lines, key=lambda line: line.shot)
        if line.state not in (NOT_RELEASED, DAMAGED) and WARM_UP not in (line.swept or {})
    ]
    if not shots:
        raise NoSuchShot(
            "the log has no shot to match these pictures with; `beamfall shots list` lists its shots"
        )
    return shots


def _choose_pairs(cameras: list[CameraMatch]) -> list[Pair]:
    """Choose one picture per shot: if there are two cameras, the one with the most pairs."""
    chosen: dict[int, Pair] = {}
    for camera in cameras:
        for pair in camera.pairs:
            chosen.setdefault(pair.shot, pair)
    return [chosen[shot] for shot in sorted(chosen)]


def _store(log: ShotLog, pairs: list[Pair], cameras: list[CameraMatch]) -> int:
    known = {one.record.shot: one.record for one in log.read_these(pair.shot for pair in pairs)}
    surer = {shot for shot, one in known.items() if one.picture and not is_by_clock(one)}
    clocks = {str(pair.picture.path): camera.clock for camera in cameras for pair in camera.pairs}
    entries: dict[int, Any] = {}
    for pair in pairs:
        clock = clocks[str(pair.picture.path)]
        if pair.shot not in known or pair.shot in surer or clock is None:
            continue
        how = {
            "taken": pair.picture.taken,
            "offset_s": round(clock.best.offset_s, 3),
            "drift_ppm": round(clock.best.drift * 1e6, 1),
            "probability": round(pair.probability, 6),
        }
        entries[pair.shot] = (str(pair.picture.path.resolve()), how)
    log.set_pictures(entries)
    return len(entries)


def _print(found: Folder, cameras: list[CameraMatch], shots: int) -> None:
    twins = f", {found.twins} of them also in another format" if found.twins else ""
    print(f"{len(found.pictures)} pictures{twins}, {shots} shots")
    for problem in found.problems[:10]:
        print(f"  left out: {show_text(problem)}")
    if len(found.problems) > 10:
        print(f"  left out: {len(found.problems) - 10} more")
    edited = sum(one.edited for one in found.pictures)
    if edited:
        print(
            f"  {edited} have no capture time, only a time of modification: edited files may not match"
        )
    for camera in cameras:
        print()
        _print_camera(camera)


def _print_camera(camera: CameraMatch) -> None:
    name = show_text(camera.camera) or "unnamed camera"
    clock = camera.clock
    if camera.refusal is not None or clock is None:
        print(f"{name}: not matched: {camera.refusal}.")
        print(
            "  Nothing was paired, because a guess could pair wrong pictures. More shots, a camera that "
            "records fractions of a\n  second, or fewer other pictures in the folder would help. Evenly spaced "
            "shots can never be told apart."
        )
        return

    rival = clock.rival
    print(
        f"{name}: its clock is {_say_offset(clock.best.offset_s)} from the log's, "
        f"{_say_drift(clock.best)};\n  that fits {clock.best.pairs} shots"
        + (f", the next best offset fits {rival.pairs}" if rival is not None else "")
        + f"; confidence {_say_share(clock.confidence)}"
    )
    certain = sum(pair.is_certain for pair in camera.pairs)
    likely = len(camera.pairs) - certain
    print(
        f"  {certain} pairs certain, {likely} likely; {len(camera.extra)} pictures show no shot, "
        f"{len(camera.unclear)} fit more than one, {len(camera.missing)} shots have no picture\n"
    )
    print_table(
        ("shot", "picture", "taken", "sure"),
        [
            (str(pair.shot), show_text(pair.picture.path.name), pair.picture.taken,
             "certain" if pair.is_certain else _say_share(pair.probability))
            for pair in camera.pairs
        ],
        numeric=("shot",),
    )  # fmt: skip


def _say_share(share: float) -> str:
    return "above 99.99 %" if share > 0.9999 else f"{100 * share:.2f} %"


def _say_drift(fit: ClockFit) -> str:
    if fit.drift_error > 3e-5:
        return "drift too small to measure in so short a time"
    return f"drift {fit.drift * 1e6:+.0f} ± {max(1.0, fit.drift_error * 1e6):.0f} ppm"


def _say_offset(seconds: float) -> str:
    sign = "-" if seconds < 0 else "+"
    rest = abs(seconds)
    days, rest = divmod(rest, 86400.0)
    hours, rest = divmod(rest, 3600.0)
    minutes, rest = divmod(rest, 60.0)
    text = f"{int(hours)}:{int(minutes):02d}:{rest:04.1f}"
    return f"{sign}{int(days)} days {text}" if days else f"{sign}{text}"


def catalogue(
    series: int | None = SERIES,
    as_json: bool = typer.Option(False, "--json", help="The result as one JSON object."),
) -> int:
    """Exchange ratings and keywords with a photo catalogue (XMP).

    Reads what your catalogue program has written beside or into the pictures of a series, then writes each picture's
    XMP sidecar again. If a rating changed on both sides, the catalogue's counts. Picture files are not changed.
    """
    with open_log(to_write=True) as log:
        chosen = choose_series(log, series)
        shots = [line.shot for line in log.list_shots(limit=None, series=chosen) if line.picture]
        if not shots:
            raise NoSuchShot(
                f"no shot of series {chosen} has a picture; pair them: beamfall shots match FOLDER"
            )
        done = exchange_all(log, sorted(shots))
    if as_json:
        print_json({"series": chosen, **done.to_json()})
    else:
        _print_exchanged(done)
    return 1 if done.problems else 0


def _print_exchanged(done: ExchangedAll) -> None:
    print(f"{len(done.done)} XMP sidecars written")
    for one in done.done:
        if one.has_rating:
            before = "" if one.overruled is None else f"; the log had {one.overruled}"
            rated = "no rating" if one.rating is None else f"rated {one.rating}"
            print(f"  shot {one.shot}: {rated} in the catalogue{before}")
        if one.keywords is not None:
            print(f"  shot {one.shot}: keywords: {show_text(', '.join(one.keywords)) or 'none'}")
    for problem in done.problems:
        print(f"  left out: {show_text(problem)}")


def sheet(
    out: Path = typer.Option(..., help="HTML file to write."),
    series: int | None = SERIES,
    width: int = typer.Option(320, min=80, max=1200, help="Width of a thumbnail in pixels."),
) -> None:
    """Write a contact sheet as one HTML file.

    It shows thumbnails, timings and ratings, and sorts by the swept timing."""
    with open_log() as log:
        made = write_sheet(log, choose_series(log, series), out, width)
    print(f"{say_count(made.shots, 'shot')}, {made.pictures} with a picture: {show_text(out)}")
    for problem in made.problems[:10]:
        print(f"  no thumbnail: {show_text(problem)}")
