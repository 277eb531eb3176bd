"""Refusals of the physics, judged by what they tell about the quantity and not by their words."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from beamfall.errors import PhysicsRangeError

Bounds = tuple[float | None, float | None]
ANY: Bounds = (None, None)


@contextmanager
def refuses(
    quantity: str, found: object, bounds: Bounds = ANY
) -> Iterator[pytest.ExceptionInfo[PhysicsRangeError]]:
    """What runs inside is refused: the quantity has this value, outside these bounds (SI units)."""
    with pytest.raises(PhysicsRangeError) as caught:
        yield caught
    error = caught.value
    assert error.quantity == quantity
    number = isinstance(found, int | float)
    assert error.found == (pytest.approx(found, rel=1e-4, nan_ok=True) if number else found)
    for told, bound in zip((error.low, error.high), bounds, strict=True):
        assert bound is None or told == pytest.approx(bound, rel=1e-3)
