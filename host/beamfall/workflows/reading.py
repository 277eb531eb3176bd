"""What was read in the photograph of a search: an answer that a person can accept, or correct with a word or a mark."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

from beamfall.planning.seek.answer import Answer
from beamfall.shots import ShotRecord

#: Marks that a person may set: rows of the picture in pixels; left and right, the umbrella's ends, are columns.
MARKS = ("surface", "tip", "drop", "left", "right")


@dataclass(frozen=True)
class Reading:
    """What was read in a picture: `answer` is None if it is not sure. `said`: in a line, for people.

    `measured`: what was measured, as `photos.measure.Measured.describe` has it; None if nothing could be.
    """

    path: Path
    answer: Answer | None
    said: str
    measured: Mapping[str, Any] | None = None


class PictureReader(Protocol):
    """Reads the pictures of one search, taken by one camera that does not move."""

    def read(self, path: Path, marks: Mapping[str, float], record: ShotRecord) -> Reading:
        """Read the picture of a shot, with the marks that a person has set. A picture that cannot be read has no
        answer."""


def read_marks(text: str) -> dict[str, float]:
    """Return marks in pixels that a person typed, such as `tip 512` or `left=310 right=450`; empty for another text."""
    parts = re.split(r"[\s,=]+", text.strip())
    names, values = parts[::2], parts[1::2]
    if len(names) != len(values) or not set(names) <= set(MARKS):
        return {}
    try:
        return {name: float(value) for name, value in zip(names, values, strict=True)}
    except ValueError:
        return {}
