"""What a photographer should know about a shot beyond its state.

`fired` is the board's word: the beam edges came and the rows were played. That can be so even if no
light came, or if something other than the drops crossed the beam.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum

from beamfall.setup.signals import Signal, SignalKind
from beamfall.shots.coil_readings import list_odd
from beamfall.shots.pulses import find_times
from beamfall.shots.record import ShotRecord

NO_LIGHT = "no light was seen"
_SOON_S = 0.01  # light comes within this of its contact: flashes answer in well under a millisecond
_SAME_FLASH_S = 0.02  # contacts closer than this may give one light: the board's least spacing


class Oddity(Enum):
    """What is odd about a shot."""

    EDGES_FORGOTTEN = "the board forgot edges before they were read"
    EARLY_EDGE = "the beam's edge came before the valve opened"
    MORE_EDGES = "the beam counted more edges than drops"
    DARK = "a flash contact closed without light"
    COIL = "a coil's current or the supply was odd"


@dataclass(frozen=True)
class Remark:
    """What is odd, and a sentence about it without its full stop; `count` and `of` are the numbers in it, if any."""

    oddity: Oddity
    text: str
    count: int | None = None
    of: int | None = None


def list_remarks(record: ShotRecord, *, sees_light: bool = True) -> list[str]:
    """Return the sentences of `find_remarks`."""
    return [remark.text for remark in find_remarks(record, sees_light=sees_light)]


def find_remarks(record: ShotRecord, *, sees_light: bool = True) -> list[Remark]:
    """Return what is odd about a shot; empty for most.

    `sees_light`: a flash-seen sensor is fitted (`[fitted] flash_seen` of the rig file).
    """
    missing = record.counts.get("edges_missing", 0)
    if missing:  # missing edges are then no sign of anything
        text = f"the board had to forget {missing} of its edges before they were read"
        return [Remark(Oddity.EDGES_FORGOTTEN, text, missing)]
    remarks: list[Remark] = []
    if record.state == "fired" and record.anchor_beam is not None:
        remarks += _judge_beam(record)
    if sees_light:
        remarks += _judge_light(record)
    remarks += (Remark(Oddity.COIL, text) for text in list_odd(record.readings))
    return remarks


def _judge_beam(record: ShotRecord) -> Iterator[Remark]:
    """Edges that came before a drop could, or more edges than drops."""
    opened = find_times(record.edges, SignalKind.VALVE)
    assert record.anchor_beam is not None
    beam = Signal.of(record.anchor_beam)
    edges = find_times(record.edges, beam, level=int(record.anchor_edge == "dark"))
    if not opened or not edges:
        return
    if edges[0] < opened[0]:
        yield Remark(
            Oddity.EARLY_EDGE,
            f"{record.anchor_beam} turned {record.anchor_edge} before the valve opened: "
            "the flash followed something other than the drops",
        )
        return
    counted = record.counts.get(f"{record.anchor_beam}_counted", 0)
    if counted > len(opened):
        yield Remark(
            Oddity.MORE_EDGES,
            f"{record.anchor_beam} counted {counted} edges for {len(opened)} drops: "
            "perhaps satellites; set a longer `blanking`",
            counted,
            len(opened),
        )


def _judge_light(record: ShotRecord) -> Iterator[Remark]:
    """A contact that closed without any light."""
    hz = record.clock_hz
    groups: list[list[int]] = []
    for ticks in find_times(record.edges, SignalKind.FLASH):
        if groups and ticks - groups[-1][-1] < _SAME_FLASH_S * hz:
            groups[-1].append(ticks)
        else:
            groups.append([ticks])
    ended = record.counts.get("ended_ticks")
    if ended is not None:  # edges after the end were not recorded
        groups = [group for group in groups if group[-1] + _SOON_S * hz <= ended]
    lights = find_times(record.edges, SignalKind.LIGHT)
    dark = [
        group
        for group in groups
        if not any(group[0] <= ticks <= group[-1] + _SOON_S * hz for ticks in lights)
    ]
    if not dark:
        return
    if len(dark) == len(groups):
        which = "the flash's contact" if len(dark) == 1 else f"all {len(dark)} flash contacts"
    else:
        which = f"{len(dark)} of {len(groups)} flash contacts"
    yield Remark(Oddity.DARK, f"{which} closed and {NO_LIGHT}", len(dark), len(groups))
