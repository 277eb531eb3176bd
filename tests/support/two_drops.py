"""The sequence that most tests fire: two drops of one valve, and a flash that follows the second at beam 1."""

from __future__ import annotations

from typing import Any

from beamfall.setup.sequence import Row, Sequence


def make_two_drops(second_s: float = 0.185, flash_s: float = 0.19, **settings: Any) -> Sequence:
    rows = (
        Row("release", 0, "valve1", 0.1, 0.013),
        Row("release", 0, "valve1", second_s, 0.013),
        Row("beam1", 2, "flash1", flash_s, 0.002),
    )
    return Sequence(rows, **{"window_s": 1.0, **settings})
