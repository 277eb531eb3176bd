"""`beamfall shots repeat`: the same sequence again, and how its edges differ from that day's."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import typer

from beamfall.board import Board
from beamfall.cli.front import Terminal
from beamfall.cli.open_log import open_log
from beamfall.cli.options import SHOT, check_shots
from beamfall.cli.output import print_json, print_pairs, print_table, say_time
from beamfall.cli.pictures import CAMERA, PHOTOS, PICTURE_WAIT, begin, hold, read_arrivals
from beamfall.cli.words import list_differences
from beamfall.shots.repeat import EdgeChange, rebuild_sequence
from beamfall.workflows import repeat as workflow
from beamfall.workflows.repeat import Repeated
from beamfall.workflows.run import run


def repeat(
    shot: int = SHOT,
    port: str | None = typer.Option(
        None,
        help="Serial port or pyserial URL, or sim; default: the simulated port of that shot, or the board.",
    ),
    count: int = typer.Option(1, min=1, callback=check_shots, help="How many times."),
    as_json: bool = typer.Option(False, "--json", help="The comparison as one JSON object."),
    camera: str | None = CAMERA,
    photos: Path | None = PHOTOS,
    picture_wait: str = PICTURE_WAIT,
) -> int:
    """Fire a shot's sequence again and compare its edges."""
    with open_log(to_write=True) as log:
        logged = log.read_shot(shot)
        rebuild_sequence(logged.table)  # before a port is opened
        rig = logged.make_rig()
        if port is None and logged.is_simulated:
            port = logged.line.port
        seed = logged.record.seed
        arrivals = read_arrivals(camera, photos, picture_wait, rig)
        with hold(arrivals), Board.connect(port, rig=rig, seed=seed or 0) as board:
            begin(arrivals, board)
            done = run(
                workflow.repeat(board, log, shot, count),
                board,
                log,
                Terminal(quiet=as_json),
                seed=seed,
                arrivals=arrivals,
            )
    if as_json:
        print_json(_to_json(done))
    else:
        _print_changes(done)
    return 0 if done.is_same else 1


def _to_json(done: Repeated) -> dict[str, Any]:
    return {
        "of_shot": done.logged.line.shot,
        "shots": [one.shot for one in done.shots],
        "states": [one.record.state for one in done.shots],
        "differences": list_differences(done.differences),
        "edges": [change.to_json() for change in done.changes],
    }


def _print_changes(done: Repeated) -> None:
    logged, changes, count = done.logged, done.changes, len(done.shots)
    ids = [str(one.shot) for one in done.shots]
    today = f"shot {ids[0]}" if len(ids) == 1 else f"shots {ids[0]} to {ids[-1]}"
    print_pairs(
        [
            ("that day", f"shot {logged.line.shot}, {say_time(logged.line.begun_us)}, {logged.record.state}"),
            ("today", f"{today}: {', '.join(sorted({one.record.state for one in done.shots}))}"),
            *(("differs", text) for text in list_differences(done.differences)),
        ]
    )  # fmt: skip
    print()
    print_table(
        ("line", "edge", "that day", "today", "difference", "scatter", ""),
        [_describe(change, count) for change in changes],
        numeric=("that day", "today", "difference", "scatter"),
    )
    moved = [change for change in changes if change.moved]
    known = [change for change in changes if change.moved is not None]
    print()
    if moved:
        print(f"{len(moved)} of {len(known)} edges moved by more than the normal scatter.")
    elif known:
        print("Matches the original: no edge moved by more than the normal scatter.")
    else:
        print("Too few shots to tell whether edges moved. Fire at least 5: --count 5")


def _describe(change: EdgeChange, count: int) -> tuple[str, ...]:
    def say(seconds: float | None, scale: float, form: str) -> str:
        return "-" if seconds is None else form.format(seconds * scale)

    words = {True: "moved", False: "same", None: ""}[change.moved]
    if change.then_s is None:
        words = "new today"
    elif change.now_s is None:
        words = "not seen today"
    elif change.seen < count:
        words = f"{words} (seen in {change.seen} of {count})".strip()
    return (
        change.what,
        f"{change.edge} {change.ordinal}",
        say(change.then_s, 1e3, "{:.4f} ms"),
        say(change.now_s, 1e3, "{:.4f} ms"),
        say(change.difference_s, 1e6, "{:+.3f} µs"),
        say(change.scatter_s, 1e6, "{:.3f} µs"),
        words,
    )
