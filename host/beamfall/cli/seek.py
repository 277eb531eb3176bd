"""`beamfall seek`: find the wanted picture in a few shots."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import typer

from beamfall.board import Board
from beamfall.cli.options import EXACT, PICTURE_SHEET, PORT, RIG, SEED, check_shots
from beamfall.cli.output import print_json, say_command
from beamfall.cli.pictures import CAMERA, PHOTOS, PICTURE_WAIT, begin, hold, read_arrivals
from beamfall.cli.seek_front import SeekTerminal
from beamfall.cli.targets import PICTURES, check_target, refuse_picture
from beamfall.cli.words import list_sought, say_sought_frame
from beamfall.errors import UserError
from beamfall.planning.learned import find_file, load_learned
from beamfall.planning.stage import find_stage
from beamfall.recipes.events import find_start
from beamfall.recipes.find import find_recipe
from beamfall.setup.rig import load_rig
from beamfall.shots import ShotLog
from beamfall.text import show_text
from beamfall.workflows import seek as workflow
from beamfall.workflows.picture_reader import MeasuringReader
from beamfall.workflows.run import run
from beamfall.workflows.seek_steps import Sought


def seek(
    rig_file: Path | None = RIG,
    port: str | None = PORT,
    seed: int = SEED,
    stage: str | None = typer.Option(
        None,
        "--stage",
        help="The picture you want: time from contact to light, such as '2 ms', or 'umbrella 15 mm wide'.",
    ),
    recipe: str | None = typer.Option(
        None,
        "--recipe",
        help="Look for a recipe's picture (its name or file), starting at its spacing as calculated for this rig.",
    ),
    exact: bool = EXACT,
    shots_most: int = typer.Option(
        20, "--shots", min=1, callback=check_shots, help="Maximum shots."
    ),
    heights: bool = typer.Option(
        False, "--heights", help="The simulated photographer also measures heights."
    ),
    ask: bool = typer.Option(
        False,
        "--ask",
        help="Answer yourself on a simulated port too; --picture then draws each shot before you answer.",
    ),
    fresh: bool = typer.Option(
        False, "--fresh", help="Ignore what seek and calibrate have already learned."
    ),
    as_json: bool = typer.Option(
        False,
        "--json",
        help="One JSON object per shot and per second look, then one with the result.",
    ),
    picture: Path | None = PICTURE_SHEET,
    camera: str | None = CAMERA,
    photos: Path | None = PHOTOS,
    picture_wait: str = PICTURE_WAIT,
) -> int:
    """Find the picture you want: you say what each picture shows.

    `aim.kind` in the rig file says which picture: a collision, or the crown, cavity, jet or droplet of one drop.

    Each answer brings the next shot closer. Answer with a word; ? explains the words. For a collision they are
    before, contact, after, jet, nothing, missed, found and black. Add heights if you measured them:
    `before jet 31 mm drop 42 mm`. If a lot depends on an answer, Beamfall asks you to look at that picture again:
    Enter keeps the answer. When you have the picture, answer `found`. Black pictures teach the search nothing: after
    two in a row it stops, and `beamfall check` finds out why. On a simulated port Beamfall answers for you from the
    simulated picture, unless you give --ask. The result is saved beside the rig file; plan and shoot use it.
    """
    check_target(picture, "--picture", PICTURES)
    rig = load_rig(rig_file)
    learned = None if fresh else load_learned(find_file(rig_file))
    wanted_s = find_stage(stage, rig, key="--stage", learned=learned)
    start = None
    if recipe is not None:
        if stage is not None:
            raise UserError("--stage and --recipe both name the picture you want: give one of them")
        rig, start = find_start(find_recipe(recipe), rig, learned=learned, exact=exact)
    elif exact:
        raise UserError("--exact uses a recipe's moment: add --recipe")
    arrivals = read_arrivals(camera, photos, picture_wait, rig)
    with ShotLog.open() as log, hold(arrivals), Board.connect(port, rig=rig, seed=seed) as board:
        refuse_picture(board, picture)
        begin(arrivals, board)
        terminal = SeekTerminal(picture, as_json=as_json)
        done = run(
            workflow.seek(
                rig, board, rig_file=rig_file, stage_s=wanted_s, start=start, most=shots_most,
                fresh=fresh,
                asks=ask, heights=heights, seed=seed,
                reader=None if arrivals is None else MeasuringReader.make(rig),
            ),
            board, log, terminal, seed=seed, arrivals=arrivals,
        )  # fmt: skip
        if picture is not None:
            _draw(board, done, picture)
    if as_json:
        print_json(_to_json(done))
    else:
        for line in list_sought(done):
            print(line)
        if picture is not None:
            print(f"simulated pictures drawn in {show_text(picture)}")
        if done.found:
            file = () if rig_file is None else (rig_file,)
            on = () if port is None else ("--port", port)
            print(f"Next: `{say_command('shoot', *file, *on)}` fires this picture again")
    return 0 if done.found else 1


def _draw(board: Board, done: Sought, picture: Path) -> None:
    studio = board.traits.studio
    frames = [
        (one.fired.picture, say_sought_frame(one, done))
        for one in done.shots
        if one.fired.picture is not None
    ]
    if studio is not None and frames:
        studio.draw_sheet(frames, picture, title="seek")


def _to_json(done: Sought) -> dict[str, Any]:
    search, best, truth = done.search, done.best, done.truth
    error_s = None if truth is None else truth.error_s
    spacing_s = None if best is None else best.aim.spacing_s
    assert search.wanted_s is not None
    return {
        "shots": search.shots,
        "found": done.found,
        "stage_error_ms": None if error_s is None else round(error_s * 1e3, 4),
        "wanted_stage_ms": round(search.wanted_s * 1e3, 4),
        "shot": None if best is None else best.fired.shot,
        "spacing_ms": None if spacing_s is None else round(spacing_s * 1e3, 3),
        "flash_delay_ms": None if best is None else round(best.aim.delay_s * 1e3, 3),
        "chance": round(search.best_chance, 3),
        "series": done.series,
        "learned": None if done.kept is None else str(done.kept),
        "truth": None if truth is None else truth.to_json(),
    }
