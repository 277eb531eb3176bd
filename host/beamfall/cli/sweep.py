"""`beamfall sweep`: walk one timing through its range."""

from __future__ import annotations

from pathlib import Path

import typer

from beamfall.board import Board
from beamfall.cli.front import SweepTerminal
from beamfall.cli.options import PICTURE_SHEET, PORT, RIG, check_whole, read_optional, read_rest
from beamfall.cli.output import print_json, print_table
from beamfall.cli.pictures import CAMERA, PHOTOS, PICTURE_WAIT, begin, hold, read_arrivals
from beamfall.cli.targets import PICTURES, check_target, refuse_picture
from beamfall.cli.words import say_frame
from beamfall.planning.sweep.progress import find_series
from beamfall.setup.rig import load_rig
from beamfall.setup.sequence_file import load_sequence
from beamfall.shots import ShotLog
from beamfall.text import show_text
from beamfall.workflows import sweep as workflow
from beamfall.workflows.run import run
from beamfall.workflows.sweep import Swept


def sweep(
    rig_file: Path | None = RIG,
    of: str = typer.Option(
        "flash",
        help="What to step: flash, spacing, opening, or a value of a row, such as row3.delay or row3.width.",
    ),
    sequence_file: Path | None = typer.Option(
        None, "--sequence", help="Step a value of this sequence file instead of a plan."
    ),
    first: str | None = typer.Option(None, "--from", help="First value, such as '180 ms'."),
    last: str | None = typer.Option(None, "--to", help="Last value."),
    step: str | None = typer.Option(None, help="Distance between values, such as '1 ms'."),
    repeat: int = typer.Option(1, min=1, max=100, help="How many times to fire every value."),
    shuffle: bool = typer.Option(False, "--shuffle", help="Fire each round in a random order."),
    interleave: bool = typer.Option(
        False, "--interleave", help="Fire every second value upwards, then the others downwards."
    ),
    port: str | None = PORT,
    seed: int = typer.Option(
        0, min=0, callback=check_whole, help="Random seed of a simulated rig and of --shuffle."
    ),
    rest: str | None = typer.Option(
        None, help="Pause between shots and after the warm-up; default: the rig file's aim.rest."
    ),
    resume: int | None = typer.Option(
        None,
        min=0,
        callback=check_whole,
        help="Resume this series with its own settings (0: the newest sweep).",
    ),
    as_json: bool = typer.Option(False, "--json", help="One JSON object per shot, then the table."),
    picture: Path | None = PICTURE_SHEET,
    camera: str | None = CAMERA,
    photos: Path | None = PHOTOS,
    picture_wait: str = PICTURE_WAIT,
) -> int:
    """Step one timing through a range, one shot per value.

    A table at the end gives the shot, value and photograph. Flash values count from the edge that the
    flash follows; spacing is from opening 1 to opening 2. Without --from and --to the range is the
    plan's 90 % interval; a sequence file and a row's value need both. Ctrl-C stops with all outputs
    off; --resume continues.
    """
    times = {
        "first_s": read_optional(first, "duration", key="--from"),
        "last_s": read_optional(last, "duration", key="--to"),
        "step_s": read_optional(step, "duration", key="--step"),
    }
    rest_s = read_rest(rest)
    check_target(picture, "--picture", PICTURES)
    base = None if sequence_file is None else load_sequence(sequence_file)
    with ShotLog.open() as log:
        found = None if resume is None else find_series(log, resume or None)
        if found is None:
            rig = load_rig(rig_file)
        else:  # a resumed series has its own rig, port and seed
            rig = workflow.choose_rig(found, lambda: load_rig(rig_file))
            port = port or found.settings.get("port")
            seed = seed if found.seed is None else found.seed
        arrivals = read_arrivals(camera, photos, picture_wait, rig)
        with hold(arrivals), Board.connect(port, rig=rig, seed=seed) as board:
            refuse_picture(board, picture)
            begin(arrivals, board)
            if found is None:
                steps = workflow.sweep(
                    rig, board, of, rig_file=rig_file, rest_s=rest_s, seed=seed, base=base, **times, repeat=repeat,
                    order="shuffle" if shuffle else "interleave" if interleave else "line",
                )  # fmt: skip
            else:
                steps = workflow.resume(rig, board, log, found, rest_s=rest_s)
            terminal = SweepTerminal(as_json=as_json)
            done = run(steps, board, log, terminal, seed=seed, arrivals=arrivals)
            if picture is not None:
                _draw(board, done, picture)
    if as_json:
        _print_json(done)
    else:
        _print_table(done, picture)
    return 0 if done.is_whole else 1


def _draw(board: Board, done: Swept, picture: Path) -> None:
    """The pictures of this run, lowest value first."""
    studio = board.traits.studio
    of = done.plan.of
    frames = [
        (fired.picture, say_frame(of, value_s, fired))
        for value_s, fired in sorted(done.shots, key=lambda one: one[0])
        if fired.picture is not None
    ]
    if studio is not None:
        studio.draw_sheet(frames, picture, title=f"{of} swept")


def _print_json(done: Swept) -> None:
    print_json(
        {
            "series": done.series,
            "of": done.plan.of,
            "steps": len(done.plan.steps),
            "fired": done.fired,
            "table": [entry.to_json() for entry in done.entries],
        }
    )


def _print_table(done: Swept, picture: Path | None) -> None:
    of = done.plan.of
    print()
    ordered = sorted(done.entries, key=lambda entry: (entry.value_ms, entry.repeat, entry.shot))
    print_table(
        (f"{of} ms", "round", "step", "shot", "frame", "state", "shows", "photograph"),
        [
            (
                f"{entry.value_ms:.3f}", str(entry.repeat), str(entry.step), str(entry.shot),
                "-" if entry.frame is None else str(entry.frame), entry.state,
                entry.shows or "-", entry.picture or "-",
            )
            for entry in ordered
        ],
        numeric=(f"{of} ms", "round", "step", "shot", "frame"),
    )  # fmt: skip
    print(
        f"\n{done.fired} of {len(done.plan.steps)} steps fired; series {done.series}. "
        "'frame' counts the camera's frames in this series."
    )
    if picture is not None:
        print(f"simulated pictures drawn in {show_text(picture)}")
