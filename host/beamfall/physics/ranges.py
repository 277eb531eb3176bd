"""One check for every quantity that enters the physics: inside its range, or a clear refusal."""

from __future__ import annotations

from beamfall.errors import PhysicsRangeError


def check_range(quantity: str, value: float, low: float, high: float, unit: str = "") -> float:
    """Return `value` when low <= value <= high; NaN and infinities never pass.

    `quantity` is its name for the caller; `unit` is printed after the numbers.
    Raises PhysicsRangeError, which tells the quantity, the value and the range.
    """
    if low <= value <= high:
        return value
    raise make_range_error(quantity, value, low, high, unit)


def make_range_error(
    quantity: str, value: float, low: float, high: float, unit: str = "", more: str = ""
) -> PhysicsRangeError:
    """The refusal of a value outside its range; `more` goes behind the message."""
    tail = f" {unit}" if unit else ""
    return PhysicsRangeError(
        f"{quantity} = {value:.6g}{tail} is out of range: it must lie between {low:.6g} and "
        f"{high:.6g}{tail}; give a value inside this range (SI units){more}",
        quantity=quantity, found=value, low=low, high=high,
    )  # fmt: skip
