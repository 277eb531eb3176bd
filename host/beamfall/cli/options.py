"""Options and arguments that several commands have."""

from __future__ import annotations

import typer

from beamfall.cli.numbers import check_shots, check_whole

PORT_HELP = "Serial port or pyserial URL, or sim (sim:micropython) to simulate; default: the board found over USB."

RIG = typer.Argument(None, metavar="RIG", help="Rig file (TOML); default: the example rig.")
PORT = typer.Option(None, "--port", help=PORT_HELP)
SEED = typer.Option(
    0, "--seed", min=0, callback=check_whole, help="Random seed of a simulated rig."
)
OPENING = typer.Option(
    None,
    "--opening",
    help="How long the valve opens, such as '13 ms'; default: the rig file's opening.",
)
COUNT = typer.Option(1, "--count", min=1, callback=check_shots, help="Number of shots.")
SERIES = typer.Option(None, "--series", help="Which series; default: the newest.")
SHOT = typer.Argument(..., min=1, callback=check_whole, help="The shot's number.")
PICTURE_SHEET = typer.Option(
    None, "--picture", help="Draw the pictures on one sheet (PNG; simulated ports only)."
)
JSON_ALL = typer.Option(False, "--json", help="Everything as one JSON object.")
JSON_ONE = typer.Option(False, "--json", help="One JSON object.")
JSON_LINES = typer.Option(False, "--json", help="One JSON object per shot, one per line.")
