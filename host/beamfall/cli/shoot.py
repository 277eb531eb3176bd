"""`beamfall shoot`: plan, upload, arm, release, record. The main job."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import typer

from beamfall.board import Board
from beamfall.cli.front import ShootTerminal
from beamfall.cli.options import COUNT, JSON_LINES, PORT, RIG, SEED
from beamfall.cli.output import print_pairs
from beamfall.cli.pictures import CAMERA, PHOTOS, PICTURE_WAIT, begin, hold, read_arrivals
from beamfall.cli.targets import DRAWINGS, PICTURES, check_target, refuse_picture
from beamfall.cli.words import say_end
from beamfall.link.traits import Picture
from beamfall.planning.learned import find_file, load_learned
from beamfall.planning.make import make_plan
from beamfall.planning.result import Plan
from beamfall.plot.draw import draw_chart
from beamfall.plot.timeline import describe_timeline
from beamfall.setup.rig import Rig, load_rig
from beamfall.setup.sequence import Sequence
from beamfall.setup.sequence_file import load_sequence
from beamfall.setup.unit_words import format_ms
from beamfall.shots import ShotLog
from beamfall.text import show_text
from beamfall.workflows import shoot as workflow
from beamfall.workflows.run import run
from beamfall.workflows.steps import Fired


def shoot(
    rig_file: Path | None = RIG,
    port: str | None = PORT,
    count: int = COUNT,
    seed: int = SEED,
    sequence_file: Path | None = typer.Option(
        None, "--sequence", help="Fire this sequence file instead of a plan."
    ),
    warm_up: bool = typer.Option(
        True,
        "--warm-up/--no-warm-up",
        help="Release the rig file's aim.warm_up drops first, without flash.",
    ),
    as_json: bool = JSON_LINES,
    plot: Path | None = typer.Option(None, help="Draw the last shot's timeline (PNG)."),
    picture: Path | None = typer.Option(
        None, help="Draw what the camera would have seen (PNG; simulated ports only)."
    ),
    camera: str | None = CAMERA,
    photos: Path | None = PHOTOS,
    picture_wait: str = PICTURE_WAIT,
) -> int:
    """Plan, upload and fire shots, and log every edge.

    If the rig file sets aim.warm_up, that many drops fall first: drops after a pause differ from the
    rest. The log keeps them as one shot of the series. Ctrl-C switches all outputs off; the log keeps
    what happened.
    """
    check_target(plot, "--plot", DRAWINGS)
    check_target(picture, "--picture", PICTURES)
    rig = load_rig(rig_file)
    arrivals = read_arrivals(camera, photos, picture_wait, rig)
    with ShotLog.open() as log, hold(arrivals), Board.connect(port, rig=rig, seed=seed) as board:
        plan, sequence = _choose(rig, rig_file, board, sequence_file)
        if not as_json:
            _print_start(rig, rig_file, board, plan, log.path)
        refuse_picture(board, picture)
        begin(arrivals, board)
        awaited = arrivals is not None
        with ShootTerminal(count, as_json=as_json, with_pictures=awaited) as terminal:
            shots = run(
                workflow.shoot(rig, sequence, count, warm_up=warm_up),
                board,
                log,
                terminal,
                seed=seed,
                arrivals=arrivals,
            )
        last = {**shots[-1].record.to_json(), "remarks": shots[-1].remarks}
        _draw(board, last, [one.picture for one in shots if one.picture is not None], plot, picture)
    if not as_json:
        _print_end(shots, plot, picture)
        if rig_file is None and sequence_file is None:
            print(
                "Next: `beamfall rig new my_rig.toml` makes a rig file from your own measurements"
            )
    return 0 if all(one.record.state == "fired" for one in shots) else 1


def _choose(
    rig: Rig, rig_file: Path | None, board: Board, sequence_file: Path | None
) -> tuple[Plan | None, Sequence]:
    if sequence_file is not None:
        return None, load_sequence(sequence_file)

    learned = load_learned(find_file(rig_file), board.info.unique_id.hex())
    plan = make_plan(rig, learned=learned)
    return plan, plan.sequence


def _print_start(
    rig: Rig, rig_file: Path | None, board: Board, plan: Plan | None, log: Path
) -> None:
    info = board.info
    named = f"{rig.name} ({rig_file})" if rig_file is not None else f"{rig.name} (the example rig)"
    pairs = [
        ("rig", named),
        ("board", f"{info.name} on {board.name}, firmware {info.firmware}"),
        ("timing", f"{info.timing.label}: {info.timing.meaning}"),
    ]
    if plan is not None:
        spacing_s = plan.spacing_s
        apart = "" if spacing_s is None else f"{format_ms(spacing_s)} between the drops"
        flash = f"{format_ms(plan.flash_delay_s)} after {plan.anchor.describe()}"
        pairs += [("spacing", apart), ("flash", flash)]
        pairs += [("warning", caution.text) for caution in plan.warnings]
    print_pairs([*pairs, ("log", str(log))])


def _draw(
    board: Board,
    last: dict[str, Any],
    pictures: list[Picture],
    plot: Path | None,
    picture: Path | None,
) -> None:
    if plot is not None:
        draw_chart(describe_timeline(last), plot)
    studio = board.traits.studio
    if picture is not None and studio is not None:
        studio.draw_pictures(pictures, picture)


def _print_end(shots: list[Fired], plot: Path | None, picture: Path | None) -> None:
    fired = sum(one.record.state == "fired" for one in shots)
    series = shots[-1].series
    print(
        f"{fired} of {len(shots)} shots fired; series {series}: `beamfall shots list --series {series}`"
    )
    if plot is not None:
        print(f"timeline of shot {shots[-1].shot} drawn in {show_text(plot)}")
    if picture is not None:
        print(f"simulated picture drawn in {show_text(picture)}")
    if end := say_end(shots, len(shots)):
        print(end)
