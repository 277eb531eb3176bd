"""Three flashes in a second are what WCAG 2.2 (W3C Recommendation, 5 October 2023), criterion 2.3.1, allows."""

from __future__ import annotations

import re

import pytest

from beamfall.setup.sequence import Row, warn_of_flicker


def flashes(*delays: float, anchor: str = "release", count: int = 0) -> list[Row]:
    return [
        Row(anchor, count, f"flash{1 + number % 3}", delay, 0.001)
        for number, delay in enumerate(delays)
    ]


@pytest.mark.parametrize(
    "rows",
    [
        [],
        flashes(0.1, 0.4, 0.7),
        flashes(0.1, 0.5, 0.9, 1.3, 1.7),  # never four in one second
        flashes(0.1, 0.101, 0.102, 0.5, 0.501, 0.9),  # together they are one to the eye
        [Row("release", 0, "valve1", 0.02 * n, 0.005) for n in range(1, 9)],
    ],
)
def test_up_to_three_a_second_pass(rows: list[Row]) -> None:
    assert warn_of_flicker(rows) == ""


def count(rows: list[Row]) -> int:
    """How many flashes a second are warned of: the first number of the warning."""
    number = re.search(r"\d+", warn_of_flicker(rows))
    assert number is not None
    return int(number[0])


def test_more_are_counted_and_warned_of() -> None:
    assert count(flashes(0.1, 0.3, 0.6, 1.0)) == 4
    many = flashes(*(0.06 * n for n in range(16)))
    assert count(many) == 16
    # Nobody knows how far drop 1's edge is from drop 2's: they may come in the same second.
    apart = flashes(0.1, 0.2, anchor="beam1", count=1) + flashes(0.1, 0.2, anchor="beam1", count=2)
    assert count(apart) == 4
