"""How a photograph was exposed, and which settings spoil a shot by flash in the dark."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Self

from beamfall.setup.signals import Signal, SignalKind
from beamfall.shots.pulses import find_times
from beamfall.shots.record import ShotRecord

MANUAL, BULB = "manual", "bulb"
# Shorter, most shutters are never open as a whole (common practice, no source)
_SYNC_S = 1.0 / 200.0
_SHARE = 0.95  # cameras round the time that they write
_LOOK_ALIKE = 1.05  # two ISO figures within this factor are the same setting


@dataclass(frozen=True, slots=True)
class Exposure:
    """The settings of one picture; None if neither its EXIF nor the camera gives them.

    `mode`: manual, bulb, program, aperture priority, shutter priority or automatic. `iso_auto`: the camera chose it.
    """

    time_s: float | None = None
    aperture: float | None = None
    iso: int | None = None
    focal_length_m: float | None = None
    mode: str | None = None
    iso_auto: bool | None = None

    def to_json(self) -> dict[str, Any]:
        """Plain values, without those that are not known."""
        return {
            name: value for name, value in dataclasses.asdict(self).items() if value is not None
        }

    @classmethod
    def from_json(cls, content: object) -> Self | None:
        """The exposure in a record; None if it has none."""
        if not isinstance(content, Mapping):
            return None
        names = {one.name for one in dataclasses.fields(cls)}
        return cls(**{name: value for name, value in content.items() if name in names})

    def or_else(self, other: Exposure | None) -> Exposure:
        """The same exposure, with missing values taken from another source."""
        if other is None:
            return self
        return Exposure(**{**other.to_json(), **self.to_json()})

    def describe(self) -> str:
        """In words: `1/125 s, f/16, ISO 100, 105 mm, manual`; empty if nothing is known."""
        parts = [
            None if self.time_s is None else say_time(self.time_s),
            None if self.aperture is None else f"f/{self.aperture:g}",
            None if self.iso is None else f"ISO {self.iso}",
            None if self.focal_length_m is None else f"{self.focal_length_m * 1e3:g} mm",
            self.mode,
        ]
        return ", ".join(part for part in parts if part)


def describe_exposure(record: ShotRecord) -> str:
    """A shot's exposure in one line, with any setting that spoils the shot; empty if nothing is known."""
    exposure = Exposure.from_json(record.exposure)
    if exposure is None:
        return ""
    return "; ".join([exposure.describe(), *list_exposure_remarks(record)])


def say_time(seconds: float) -> str:
    """A shutter time as cameras show it: `1/125 s`, `2.5 s`."""
    return f"{seconds:.2g} s" if seconds >= 0.3 else f"1/{round(1.0 / seconds)} s"


def list_exposure_remarks(
    record: ShotRecord, *, lag_s: float = 0.0, before: Exposure | None = None
) -> list[str]:
    """Return sentences (no full stop) on settings that spoil a shot; empty for most.

    `lag_s`: from the shutter's contact to the open shutter (`[camera] shutter_lag`). `before`: the exposure of
    the shot before, since a picture does not always say that its ISO was chosen by the camera.
    """
    exposure = Exposure.from_json(record.exposure)
    return [] if exposure is None else list(_judge(exposure, record, lag_s, before))


def _judge(
    exposure: Exposure, record: ShotRecord, lag_s: float, before: Exposure | None
) -> Iterator[str]:
    if exposure.mode not in (None, MANUAL, BULB):
        yield f"the camera was not in manual mode ({exposure.mode}): set it to manual or bulb"
    if exposure.iso_auto:
        yield "the camera chose the ISO: set a fixed one"
    elif before is not None and before.iso and exposure.iso and _differ(before.iso, exposure.iso):
        yield (
            f"the ISO changed from {before.iso} to {exposure.iso}: if you did not change it, "
            "switch automatic ISO off"
        )
    flashed = find_times(record.edges, SignalKind.FLASH)
    if exposure.time_s is None or not flashed:
        return
    opened = find_times(record.edges, Signal.shutter)
    need_s = (flashed[-1] - opened[0]) / record.clock_hz - lag_s if opened else 0.0
    if exposure.time_s < _SHARE * need_s:
        yield (
            f"the shutter closed after {say_time(exposure.time_s)}, before the flash fired "
            f"{need_s * 1e3:.0f} ms after it opened: set it to bulb, or open it later"
        )
    elif exposure.time_s < _SYNC_S:
        yield (
            f"the shutter time {say_time(exposure.time_s)} is shorter than the flash sync of most cameras "
            "(1/200 s): part of the picture may be dark"
        )


def _differ(one: float, other: float) -> bool:
    return max(one, other) > _LOOK_ALIKE * min(one, other)
