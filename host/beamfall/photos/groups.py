"""Splits pictures into groups: a camera's folder may hold several evenings, hours or weeks apart."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

_GAP_S = 3600.0  # a longer pause ends a group (our choice)


@dataclass(frozen=True)
class Group:
    """Pictures taken one after the other; times ascending, on the camera's clock."""

    pictures_s: Floats

    @property
    def first_s(self) -> float:
        return float(self.pictures_s[0])

    @property
    def last_s(self) -> float:
        return float(self.pictures_s[-1])

    @property
    def span_s(self) -> float:
        """From the first to the last."""
        return self.last_s - self.first_s

    @property
    def middle_s(self) -> float:
        """Halfway between the first and the last."""
        return 0.5 * (self.first_s + self.last_s)


def group_pictures(pictures_s: Floats) -> list[Group]:
    """Cut ascending times where more than an hour passes between two."""
    cuts = np.flatnonzero(np.diff(pictures_s) > _GAP_S) + 1
    return [Group(part) for part in np.split(pictures_s, cuts)]


def measure_busy_s(pictures_s: Floats) -> float:
    """The total time in which pictures were taken, in s, without the pauses between the groups."""
    return max(sum(group.span_s for group in group_pictures(pictures_s)), 1.0)


def count_within(pictures_s: Floats, expected_s: Floats) -> int:
    """How many shots, in the camera's time, lie within a group of pictures."""
    return sum(
        int(np.count_nonzero((expected_s >= group.first_s) & (expected_s <= group.last_s)))
        for group in group_pictures(pictures_s)
    )
