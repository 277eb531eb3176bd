"""Options and arguments that several commands have, and the bounds of their numbers."""

from __future__ import annotations

import typer

from beamfall.errors import UserError
from beamfall.setup.unit_words import format_duration
from beamfall.setup.units import parse_quantity
from beamfall.workflows.counts import check_count

WHOLE_MOST = 2**63 - 1  # an integer of SQLite, in which the shot log keeps seeds and counts
REST_MOST_S = 600.0  # as aim.rest of a rig file


def check_whole(number: int | None) -> int | None:
    """Return a number that the shot log can keep. A check of its own: a bound in `--help` would only puzzle people."""
    if number is not None and number > WHOLE_MOST:
        raise typer.BadParameter(f"{number} is too large; the largest is 2^63 - 1")
    return number


def check_shots(count: int) -> int:
    """`check_count` in the form that an option calls."""
    return check_count(count)


def read_optional(text: str | None, kind: str, *, key: str, example: str = "") -> float | None:
    """Return what an option says, as `parse_quantity` does; None if it was not given."""
    return None if text is None else parse_quantity(text, kind, key=key, example=example)


def read_rest(text: str | None) -> float | None:
    """Return the time between shots in s, None if none is given; raises UserError outside 0 to 10 minutes."""
    rest_s = read_optional(text, "duration", key="--rest", example="5 s")
    if rest_s is not None and not 0.0 <= rest_s <= REST_MOST_S:
        raise UserError(f"--rest = {text}: expected 0 s to {format_duration(REST_MOST_S)}")
    return rest_s


PORT_HELP = "Serial port or pyserial URL; sim for a simulated rig (or sim:micropython); default: the board on USB."

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
EXACT = typer.Option(
    False,
    "--exact",
    help="Let drop 2 meet the jet exactly as in the recipe; the first picture is then less certain.",
)
JSON_LINES = typer.Option(False, "--json", help="One JSON object per shot, one per line.")
