"""`beamfall shots repeat`: the very same sequence again, and how its edges differ from that day's."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import typer

from beamfall.cli.numbers import WHOLE_MOST
from beamfall.cli.open_log import open_log
from beamfall.cli.shoot import PORT_HELP

if TYPE_CHECKING:
    from beamfall.board import Board
    from beamfall.shots import LoggedShot, ShotRecord
    from beamfall.shots.repeat import EdgeChange


def repeat(
    shot: int = typer.Argument(..., min=1, max=WHOLE_MOST, help="The shot's number."),
    port: str | None = typer.Option(
        None,
        "--port",
        help=f"{PORT_HELP} Without it: the simulated port of that day, or the board.",
    ),
    count: int = typer.Option(1, "--count", min=1, help="How many times."),
    as_json: bool = typer.Option(False, "--json", help="The comparison as one JSON object."),
) -> int:
    """Fire exactly that sequence again and compare the measured edges with that day's."""
    from beamfall.board import Board
    from beamfall.cli.cautions import warn_of_flashes
    from beamfall.setup.rig import Rig
    from beamfall.shots.repeat import compare_shots, find_peers, rebuild_sequence
    from beamfall.workflows.series import Shooter

    with open_log(to_write=True) as log:
        logged = log.read_shot(shot)
        rig = None if logged.rig is None else Rig.from_dict(logged.rig)
        if port is None and logged.line.port.startswith("sim"):
            port = logged.line.port
        sequence = rebuild_sequence(logged.table, f"shot {shot} again")
        with Board.connect(port, rig=rig, seed=logged.record.seed or 0) as board:
            board.traits.renew_chance(log.count_shots())
            differences = _compare_boards(board, logged)
            shooter = Shooter.begin(
                board, log, "repeat", rig=rig, seed=logged.record.seed,
                settings={"of_shot": shot, "count": count},
            )  # fmt: skip
            warn_of_flashes(sequence, repeated=count > 1, quiet=as_json)
            records: list[ShotRecord] = []
            for number in range(count):
                if number and rig is not None:
                    shooter.rest(rig.aim.rest_s)
                records.append(shooter.fire(sequence))
        changes = compare_shots(logged.record, records, find_peers(log, shot))
    if as_json:
        from beamfall.cli.output import print_json

        print_json(_to_json(shot, records, changes, differences))
    else:
        _print_changes(logged, records, changes, differences)
    return 0 if all(record.state == logged.record.state for record in records) else 1


def _compare_boards(board: Board, logged: LoggedShot) -> list[str]:
    """In words, what is not as on that day."""
    info, then = board.info, logged.board
    pairs = (
        ("board", then["unique_id"], info.unique_id.hex()),
        ("firmware", then["firmware"], info.firmware),
        ("timing class", then["timing"], info.timing.label),
        ("clock", f"{logged.record.clock_hz} Hz", f"{info.clock_hz} Hz"),
    )
    differences = [f"{name}: {old} then, {new} now" for name, old, new in pairs if old != new]
    if logged.record.clock_hz != info.clock_hz:
        differences.append("the clocks differ: times are the same to half a tick of this board")
    return differences


def _to_json(
    shot: int, records: list[ShotRecord], changes: list[EdgeChange], differences: list[str]
) -> dict[str, Any]:
    return {
        "of_shot": shot,
        "shots": [record.shot for record in records],
        "states": [record.state for record in records],
        "differences": differences,
        "edges": [change.to_json() for change in changes],
    }


def _print_changes(
    logged: LoggedShot,
    records: list[ShotRecord],
    changes: list[EdgeChange],
    differences: list[str],
) -> None:
    from beamfall.cli.output import print_pairs, print_table
    from beamfall.cli.shots import say_time

    ids = [str(record.shot) for record in records]
    today = f"shot {ids[0]}" if len(ids) == 1 else f"shots {ids[0]} to {ids[-1]}"
    print_pairs(
        [
            ("that day", f"shot {logged.line.shot}, {say_time(logged.line.begun_us)}, {logged.record.state}"),
            ("today", f"{today}: {', '.join(sorted({record.state for record in records}))}"),
            *(("differs", text) for text in differences),
        ]
    )  # fmt: skip
    print()
    print_table(
        ("line", "edge", "that day", "today", "difference", "scatter", ""),
        [_describe(change, len(records)) for change in changes],
        numeric=("that day", "today", "difference", "scatter"),
    )
    moved = [change for change in changes if change.moved]
    known = [change for change in changes if change.moved is not None]
    print()
    if moved:
        print(f"{len(moved)} of {len(known)} edges moved more than the scatter of shots explains.")
    elif known:
        print("No edge moved more than the scatter of shots explains.")
    else:
        print(
            "Whether edges moved cannot be said: there is no scatter to compare with. "
            "Fire at least 5: --count 5"
        )


def _describe(change: EdgeChange, count: int) -> tuple[str, ...]:
    def say(seconds: float | None, scale: float, form: str) -> str:
        return "-" if seconds is None else form.format(seconds * scale)

    words = {True: "moved", False: "as then", None: ""}[change.moved]
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
