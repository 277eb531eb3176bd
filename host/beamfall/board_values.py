"""What a board reports about itself and what a release needs, as plain values; `beamfall.board` returns them."""

from __future__ import annotations

from dataclasses import dataclass

from beamfall.wire import WireEnum


@dataclass(frozen=True, slots=True)
class Status:
    """The board's status; fields as in messages.toml."""

    boot_id: int
    state: WireEnum
    cause: WireEnum
    activity: WireEnum
    table: WireEnum
    digest: bytes
    last_release: int
    beams_dark: int
    uptime_ms: int
    reports_kept: int
    reports_forgotten: int
    shots_forgotten: int
    frames_good: int
    frames_bad: int


@dataclass(frozen=True, slots=True)
class Ticket:
    """An armed shot: the table that is ready on the board and the release number it will use, once."""

    boot_id: int
    release: int
    digest: bytes


@dataclass(frozen=True, slots=True)
class Slot:
    """A slot that holds a table."""

    slot: int
    rows: int
    digest: bytes


@dataclass(frozen=True, slots=True)
class SlotList:
    """The board's slots; `chosen` is loaded at every start, 0: none."""

    chosen: int
    most: int
    slots: tuple[Slot, ...]


@dataclass(frozen=True, slots=True)
class EdgeConstant:
    """The delay through its pins that a board allows for, in ticks; `most` is 0 if it has no such constant."""

    ticks: int
    expected: int  # by the chip's data sheet
    most: int
