"""One check for every quantity that enters the physics: inside its range, or a clear refusal."""

from __future__ import annotations

from beamfall.errors import PhysicsRangeError


def check_range(key: str, value: float, low: float, high: float, unit: str = "") -> float:
    """Return `value` when low <= value <= high; NaN and infinities never pass.

    `key` is the name the caller knows the quantity by; `unit` is printed after the numbers.
    Raises PhysicsRangeError, whose message names the key, the value and the range.
    """
    if low <= value <= high:
        return value
    raise PhysicsRangeError(describe_range_error(key, value, low, high, unit))


def describe_range_error(key: str, value: float, low: float, high: float, unit: str = "") -> str:
    """The message of a refusal: key, value, range and cure."""
    tail = f" {unit}" if unit else ""
    return (
        f"{key} = {value:.6g}{tail} is out of range: it must lie between {low:.6g} and "
        f"{high:.6g}{tail}; give a value inside this range (SI units)"
    )
