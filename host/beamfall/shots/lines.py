"""What the log gives back: lines of lists, and a shot with everything known of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from beamfall.setup.sequence import Table
from beamfall.shots.record import ShotRecord

BEGUN = "begun"
# SQL of a shot that is not a series' warm-up: those drops fall because they are not like the ones to follow.
NOT_A_WARM_UP = "json_extract(coalesce(shot.swept, '{}'), '$.warm_up') IS NULL"
UNKNOWN = "outcome unknown"  # what people see of a shot that is begun and no more
NOT_RELEASED = "not-released"


@dataclass(frozen=True, slots=True)
class ShotLine:
    """A shot in a list. `begun_us` is UTC in microseconds since 1970; ticks are of `clock_hz`."""

    shot: int
    series: int
    number: int
    begun_us: int
    state: str
    cause: str | None
    rig_name: str | None
    port: str
    clock_hz: int
    anchor_beam: str | None
    anchor_count: int
    flash_delay_ticks: int | None
    spacing_ticks: int | None
    rating: int | None
    note: str

    @property
    def shown_state(self) -> str:
        """The state as people see it."""
        return UNKNOWN if self.state == BEGUN else self.state


@dataclass(frozen=True, slots=True)
class SeriesLine:
    """A series in a list, with how many shots it has and how many of them are not completed."""

    series: int
    kind: str
    name: str
    begun_us: int
    rig_name: str | None
    seed: int | None
    settings: Mapping[str, Any]
    note: str
    shots: int
    unknown: int


@dataclass(frozen=True, slots=True)
class LoggedShot:
    """A shot with everything the log knows of it. `rig` and `link` are plain values, or None."""

    line: ShotLine
    record: ShotRecord
    table: Table
    rig: Mapping[str, Any] | None
    board: Mapping[str, Any]
    boot_id: int
    release: int
    completed_us: int | None
    swept: Mapping[str, Any] | None
    link: Mapping[str, Any] | None
    picture: str | None
    picture_match: Mapping[str, Any] | None = None

    @property
    def sees_light(self) -> bool:
        """Whether its rig has a flash-seen sensor; also where the log does not say."""
        return bool(((self.rig or {}).get("fitted") or {}).get("flash_seen", True))
