"""What is said before flashes fire, on standard error: results stay alone on standard output."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

from beamfall.setup.signals import SignalKind

if TYPE_CHECKING:
    from beamfall.setup.sequence import Sequence


def warn_of_flashes(sequence: Sequence, *, repeated: bool, quiet: bool = False) -> None:
    """Say whom to warn where the sequence flashes, and how fast it does where that is not safe.

    `repeated`: more than one shot is coming. `quiet`: only what is not safe.
    """
    if not any(row.kind is SignalKind.FLASH for row in sequence.rows):
        return
    from beamfall.setup.flicker import warn_of_flicker

    if not quiet:
        what = "flashes are about to repeat" if repeated else "a flash is about to fire"
        print(
            f"Caution: {what}. Flashes can trigger photosensitive epilepsy: warn everybody in the "
            "room. Ctrl-C puts all outputs off.",
            file=sys.stderr,
        )
    fast = warn_of_flicker(sequence.rows)
    if fast:
        print(f"Caution: {fast}", file=sys.stderr)
