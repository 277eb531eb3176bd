"""SI quantities as people read them: `62 cm`, `3.2 ms`, `40 µL`. The way back is in `units`."""

from __future__ import annotations

from collections.abc import Callable

from beamfall.setup.unit_kinds import KINDS


def format_ms(seconds: float, digits: int = 3) -> str:
    """Seconds as milliseconds with unit: `3.200 ms`."""
    return f"{seconds * 1e3:.{digits}f} ms"


def format_ticks(ticks: int | None, clock_hz: int) -> str:
    """Ticks of a clock as milliseconds with unit; `-` for None."""
    return "-" if ticks is None else format_ms(ticks / clock_hz)


_TIME_SCALES = ((1.0, "s"), (1e-3, "ms"), (1e-6, "µs"), (1e-9, "ns"))


def format_duration(seconds: float) -> str:
    """A time in the unit that reads best, four figures: `3.2 ms`, `250 µs`, `12.5 s`."""
    return _format_scaled(seconds, _TIME_SCALES)


def format_two_durations(one_s: float, other_s: float) -> tuple[str, str]:
    """Two times as `format_duration` writes them, with enough digits to show the difference."""
    for digits in range(4, 16):
        shown = tuple(_format_scaled(value, _TIME_SCALES, digits) for value in (one_s, other_s))
        if shown[0] != shown[1]:
            break
    return shown[0], shown[1]


def format_length(metres: float) -> str:
    """A length in the unit that reads best, four figures: `62 cm`, `2 mm`, `4 µm`."""
    return _format_scaled(metres, ((1.0, "m"), (1e-2, "cm"), (1e-3, "mm"), (1e-6, "µm")))


def format_volume(cubic_metres: float) -> str:
    """A volume in the unit that reads best, four figures: `33.5 µL`."""
    return _format_scaled(cubic_metres, ((1e-3, "L"), (1e-6, "mL"), (1e-9, "µL"), (1e-12, "nL")))


def format_quantity(value: float, kind: str) -> str:
    """A quantity of `kind` in SI (angles in degrees) as people read it, with unit."""
    formats: dict[str, Callable[[float], str]] = {
        "length": format_length,
        "duration": format_duration,
        "volume": format_volume,
        "temperature": lambda value: f"{value - 273.15:.4g} °C",
        "pressure": lambda value: f"{value / 100:.5g} hPa",
        "angle": lambda value: f"{value:.5g}°",
        "fraction": lambda value: f"{value * 100:.4g} %",
        "viscosity": lambda value: f"{value * 1e3:.4g} mPa·s",
        "surface_tension": lambda value: f"{value * 1e3:.4g} mN/m",
    }
    if kind in formats:
        return formats[kind](value)
    return f"{value:.4g} {KINDS[kind].si_unit}"


def _format_scaled(value: float, scales: tuple[tuple[float, str], ...], digits: int = 4) -> str:
    for factor, unit in scales:
        if abs(value) >= factor * (1 - 1e-9):
            return f"{value / factor:.{digits}g} {unit}"
    factor, unit = scales[-1]
    return f"{value / factor:.{digits}g} {unit}" if value else f"0 {scales[0][1]}"
