"""What is to happen in a shot: the sequence, in seconds, and the table a board runs, in ticks.

A `Sequence` is what people and the planner write: rows of anchor, count, output, delay and width,
times in seconds. A `Table` is the same on one clock, in whole ticks, in the order the board wants.
Seconds become ticks by rounding to the nearest tick, halves to the even one; a delay and a width
are each rounded by themselves.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from beamfall.errors import SequenceError
from beamfall.setup.limits import BoardLimits, check_table
from beamfall.setup.signals import OUTPUTS, Signal, SignalKind
from beamfall.setup.table import ANCHORS, BEAMS, Anchored, Table, TickRow
from beamfall.setup.units import to_ticks
from beamfall.text import list_words

if TYPE_CHECKING:
    from beamfall.link import Welcome

BEAM_EDGES = ("dark", "clear")
_TICKS_MAX = 2**32 - 1  # a u32 on the wire
# In any second: WCAG 2.2 (W3C, 2023), success criterion 2.3.1, for what a screen shows
SAFE_FLASHES = 3
_SECOND_S = 1.0
_ONE_S = 0.005  # flashes closer than this are one to the eye


@dataclass(frozen=True, slots=True)
class Row(Anchored):
    """An output is on for `width_s`, from `delay_s` after the anchor.

    `anchor` is release, beam1 or beam2; `count` is which counted edge of that beam, from 1, and 0
    for the release. `output` is the name of an output: valve or flash with its number, focus or shutter.
    Raises SequenceError for names and signs that no board knows.
    """

    delay_s: float
    width_s: float

    def __post_init__(self) -> None:
        if self.anchor not in ANCHORS:
            raise SequenceError(
                f"anchor is '{self.anchor}'; it must be {list_words(ANCHORS, 'or')}"
            )
        signal = Signal.find(self.output)
        if signal is None or not signal.is_output:
            names = [output.name for output in OUTPUTS]
            raise SequenceError(f"output is '{self.output}'; it must be {list_words(names, 'or')}")
        object.__setattr__(self, "output", signal.name)  # a former name ends here
        for name, value in (("delay", self.delay_s), ("width", self.width_s)):
            _check_time(f"{name} of {self.output}", value)


@dataclass(frozen=True, slots=True)
class Sequence:
    """A whole shot, times in seconds. Hashable; the order of the rows is the user's.

    `window_s` from the release: the awaited beam edges must come by then. `tail_s`: how long edges
    are recorded after the last row. `blanking_s`: after a counted edge, edges of that beam do not
    count for so long. `dwell_s`: an edge counts only if the beam then stays so for so long; delays
    still count from the edge. `beam1_edge`, `beam2_edge`: which edge counts, dark (the drop enters)
    or clear. `await1`, `await2`: counted edges awaited; None: as many as the rows need.
    """

    rows: tuple[Row, ...]
    window_s: float = 0.0
    tail_s: float = 0.05
    blanking_s: float = 0.0
    dwell_s: float = 0.0
    beam1_edge: str = "dark"
    beam2_edge: str = "dark"
    await1: int | None = None
    await2: int | None = None
    name: str = ""

    def __post_init__(self) -> None:
        for name in ("window_s", "tail_s", "blanking_s", "dwell_s"):
            _check_time(name.removesuffix("_s"), getattr(self, name))
        for beam, edge in zip(BEAMS, (self.beam1_edge, self.beam2_edge), strict=True):
            if edge not in BEAM_EDGES:
                raise SequenceError(
                    f"{beam}_edge is '{edge}'; it must be {list_words(BEAM_EDGES, 'or')}"
                )
        for name in ("await1", "await2"):
            count = getattr(self, name)
            if count is not None and not 0 <= count <= 255:
                raise SequenceError(f"{name} is {count}; it must be from 0 to 255")

    @property
    def awaits(self) -> tuple[int, int]:
        """Counted edges awaited of beam 1 and of beam 2."""
        needed = [
            max((row.count for row in self.rows if row.anchor == beam), default=0) for beam in BEAMS
        ]
        return (
            needed[0] if self.await1 is None else self.await1,
            needed[1] if self.await2 is None else self.await2,
        )

    def to_table(self, clock_hz: int) -> Table:
        """Put the sequence on a clock: whole ticks, rows in order. Checks no board's limits."""
        rows = [
            TickRow(
                row.anchor,
                row.count,
                row.output,
                _ticks(f"delay of {row.output}", row.delay_s, clock_hz),
                _ticks(f"width of {row.output}", row.width_s, clock_hz),
                origin,
            )
            for origin, row in enumerate(self.rows)
        ]
        rows.sort(key=TickRow.sort_key)
        return Table(
            clock_hz=clock_hz,
            rows=tuple(rows),
            window_ticks=_ticks("window", self.window_s, clock_hz),
            tail_ticks=_ticks("tail", self.tail_s, clock_hz),
            blanking_ticks=_ticks("blanking", self.blanking_s, clock_hz),
            dwell_ticks=_ticks("dwell", self.dwell_s, clock_hz),
            beam_edges=(self.beam1_edge, self.beam2_edge),
            awaits=self.awaits,
            name=self.name,
        )

    def make_table(self, welcome: Welcome) -> Table:
        """Return the table for the board of that welcome, checked against its limits.

        Raises SequenceError naming every row and limit that does not fit.
        """
        return self.make_table_within(BoardLimits.from_welcome(welcome))

    def make_table_within(self, limits: BoardLimits) -> Table:
        """Return the table checked against these limits; raises SequenceError."""
        table = self.to_table(limits.clock_hz)
        check_table(table, limits)
        return table

    def flash_row(self) -> Row | None:
        """The row whose delay is 'the' flash delay: the first flash, those at a beam before others."""
        return min(
            (row for row in self.rows if row.kind is SignalKind.FLASH),
            key=lambda row: (row.anchor == "release", row.output, row.count, row.delay_s),
            default=None,
        )

    def with_flash_delay(self, delay_s: float) -> Sequence:
        """The same sequence with another delay of `flash_row`; raises SequenceError if there is none."""
        flash = self.flash_row()
        if flash is None:
            raise SequenceError("the sequence has no flash whose delay could be changed")
        rows = tuple(replace(row, delay_s=delay_s) if row is flash else row for row in self.rows)
        return replace(self, rows=rows)


def warn_of_flicker(rows: Iterable[Row]) -> str:
    """Return a warning if one shot's flashes may come more than three to a second; otherwise an empty text.

    Flashes at the same anchor are counted in every second. Those at different anchors, whose distance
    in time depends on the drops, count as coming in the same second.
    """
    moments: dict[tuple[str, int], list[float]] = {}
    for row in rows:
        if row.kind is SignalKind.FLASH:
            moments.setdefault((row.anchor, row.count), []).append(row.delay_s)
    most = sum(_count_most(sorted(delays)) for delays in moments.values())
    if most <= SAFE_FLASHES:
        return ""
    return (
        f"up to {most} flashes within a second: more than {SAFE_FLASHES} can trigger seizures in "
        "people with photosensitive epilepsy; fire fewer, or make sure that nobody else "
        "is in the room and look away"
    )


def _count_most(delays: list[float]) -> int:
    """The most flashes within one second; flashes that the eye sees as one count once."""
    apart: list[float] = []
    for delay in delays:
        if not apart or delay - apart[-1] >= _ONE_S:
            apart.append(delay)
    return max(sum(begin <= one < begin + _SECOND_S for one in apart) for begin in apart)


def _check_time(name: str, seconds: float) -> None:
    if not 0.0 <= seconds < float("inf"):
        raise SequenceError(f"{name} is {seconds:g} s; it must be 0 or more")


def _ticks(name: str, seconds: float, clock_hz: int) -> int:
    ticks = to_ticks(seconds, clock_hz)
    if ticks > _TICKS_MAX:
        raise SequenceError(
            f"{name} is {seconds:g} s; the longest on a clock of {clock_hz} Hz is "
            f"{_TICKS_MAX / clock_hz:.4g} s; shorten it"
        )
    return ticks
