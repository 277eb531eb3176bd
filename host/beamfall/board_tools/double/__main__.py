"""Prints the wires between a controller and its double: `python -m beamfall.board_tools.double pico`."""

from __future__ import annotations

import sys

from beamfall.board_tools.double.wiring import find_double_profile, make_table
from beamfall.errors import BeamfallError


def main() -> int:
    """Print the table for the named profile, by default `pico`, and the double's profile below it."""
    try:
        print(make_table(sys.argv[1] if len(sys.argv) > 1 else "pico"), end="")
        print(f"\ndouble: beamfall board install --board {find_double_profile().path}")
    except BeamfallError as error:
        print(error, file=sys.stderr)
        return error.exit_status
    return 0


if __name__ == "__main__":
    sys.exit(main())
