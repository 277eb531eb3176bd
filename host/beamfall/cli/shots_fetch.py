"""`beamfall shots fetch`: the shots of an evening without a laptop, out of the board and into the log."""

from __future__ import annotations

from beamfall.board import Board
from beamfall.cli.options import JSON_ONE, PORT
from beamfall.cli.output import print_json, print_table
from beamfall.shots import ShotLog
from beamfall.workflows.slots import fetch_shots


def fetch(
    port: str | None = PORT,
    as_json: bool = JSON_ONE,
) -> None:
    """Fetch the shots that the board's button has fired, and log them with their edges.

    The board keeps as many as fit into its memory, the newest, until it is switched off. Every command that fires
    does the same first.
    """
    with ShotLog.open() as log, Board.connect(port) as board:
        fetched = fetch_shots(board, log)
        records = [log.read_shot(shot).record for shot in fetched.shots]
    if as_json:
        print_json(
            {
                "shots": list(fetched.shots),
                "edges": [len(one.edges) for one in records],
                "edges_missing": [one.counts.get("edges_missing", 0) for one in records],
                "forgotten": fetched.forgotten,
            }
        )
        return
    if records:
        print_table(
            ("shot", "state", "edges", "lost edges"),
            [
                (
                    str(one.shot),
                    one.shown_state,
                    str(sum(edge.ticks is not None for edge in one.edges)),
                    str(one.counts.get("edges_missing") or ""),
                )
                for one in records
            ],
            numeric=("shot", "edges", "lost edges"),
        )
    print(fetched.say() or "Nothing to fetch: every shot on the board is in the log already.")
