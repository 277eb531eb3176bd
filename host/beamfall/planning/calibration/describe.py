"""What a calibration has found, in words and rounded figures, for the terminal and the page."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from beamfall.planning.calibration.estimate import Combination, Estimate

#: The quantities of a calibration as people call them.
NAMES = {
    "latency_s": "start of the fall",
    "distance_m": "fall to the beam",
    "speed_m_s": "speed at the beam",
    "diameter_m": "drop diameter",
    "width_m": "beam width",
}
#: What start and fall mean, for below the table.
START_AND_FALL = (
    "A drop is already moving when it leaves the nozzle. 'Start of the fall' and 'fall to the beam' describe the same\n"
    "motion as a fall from rest. Such a fall begins a little higher and earlier; if it begins before the valve's\n"
    "command, its start is below 0. The column 'rig file' shows latency and heights converted in the same way."
)
#: The plan's times that beam edges say something about.
TIMES = {
    "nozzle_to_beam": "nozzle to beam",
    "beam_to_surface": "beam to surface",
    "spacing": "required spacing",
    "flash_delay": "required flash delay",
    "flash_after_first_edge": "flash after the first edge",
}
_UNITS = {
    "latency_s": (1e3, "ms"),
    "distance_m": (1e3, "mm"),
    "speed_m_s": (1.0, "m/s"),
    "diameter_m": (1e3, "mm"),
    "width_m": (1e3, "mm"),
}


def describe_estimate(one: Estimate) -> tuple[str, str, str, str, str]:
    """Return a quantity as a line of a table.

    Name; by the rig file; with the edges; 95 % interval; whether the edges tell it. Figures are in
    ms, mm or m/s with their standard errors.
    """
    factor, unit = _UNITS[one.name]

    def say(value: float, error: float) -> str:
        digits = _digits(error * factor)
        return f"{value * factor:.{digits}f} ± {error * factor:.{digits}f} {unit}"

    share = f"({100 * one.told:.0f} %)"
    before = say(one.before, one.before_error)
    if not one.is_told:
        return NAMES[one.name], before, "-", "-", f"no {share}"
    low, high = one.interval
    digits = _digits(one.error * factor)
    return (
        NAMES[one.name],
        before,
        say(one.value, one.error),
        f"{low * factor:.{digits}f} to {high * factor:.{digits}f}",
        f"yes {share}",
    )


def explain_combination(one: Combination) -> str:
    """Return in sentences what the edges fix about two quantities that they cannot separate."""
    first, second = NAMES[one.first], NAMES[one.second]
    factor, unit = _UNITS[one.first]
    other_factor, other_unit = _UNITS[one.second]
    slope = one.slope * factor / other_factor
    sign = "+" if slope >= 0.0 else "-"
    return (
        f"These edges cannot tell {first} and {second} apart. They determine only\n"
        f"  {first} {sign} {abs(slope):.3f} {unit}/{other_unit} × ({second} - {one.at * other_factor:.2f} {other_unit})"
        f" = {one.value * factor:.3f} ± {one.error * factor:.3f} {unit}.\n"
        f"The rig file gives {second} to ± {one.second_error * other_factor:.2f} {other_unit}, "
        f"which leaves {first} uncertain by ± {one.first_error * factor:.2f} {unit}."
    )


def _digits(error: float) -> int:
    """Decimals that show two figures of an error."""
    magnitude = 0 if error <= 0.0 else math.floor(math.log10(error)) + 1
    return max(0, min(4, 2 - magnitude))
