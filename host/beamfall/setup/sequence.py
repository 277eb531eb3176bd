"""What is to happen in a shot: the sequence, in seconds, and the table a board runs, in ticks.

A `Sequence` is what people and the planner write: rows of anchor, count, output, delay and width,
times in seconds. A `Table` is the same on one clock, in whole ticks, in the order the board wants.
Seconds become ticks by rounding to the nearest tick, halves to the even one; a delay and a width
are each rounded by themselves.
"""

from __future__ import annotations

from collections.abc import Mapping
from collections.abc import Sequence as SequenceOf
from dataclasses import dataclass, field, fields
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING, Any, Self

from beamfall.errors import SequenceError
from beamfall.setup.limits import BEAMS, BoardLimits, check_table
from beamfall.setup.signals import OUTPUTS, Signal, SignalKind
from beamfall.setup.units import format_ticks, to_ticks

if TYPE_CHECKING:
    from beamfall.link import Welcome
    from beamfall.wire import Message

ANCHORS = ("release", *BEAMS)
BEAM_EDGES = ("dark", "clear")
_TICKS_MAX = 2**32 - 1  # a u32 on the wire


@dataclass(frozen=True, slots=True)
class Row:
    """An output is on for `width_s`, from `delay_s` after the anchor.

    `anchor` is release, beam1 or beam2; `count` is which counted edge of that beam, from 1, and 0
    for the release. `output` is the name of an output: valve1-3, flash1-3, focus or shutter.
    Raises SequenceError for names and signs that no board knows.
    """

    anchor: str
    count: int
    output: str
    delay_s: float
    width_s: float

    def __post_init__(self) -> None:
        if self.anchor not in ANCHORS:
            raise SequenceError(f"anchor is '{self.anchor}'; it must be {_list(ANCHORS)}")
        signal = Signal.find(self.output)
        if signal is None or not signal.is_output:
            names = [output.name for output in OUTPUTS]
            raise SequenceError(f"output is '{self.output}'; it must be {_list(names)}")
        object.__setattr__(self, "output", signal.name)  # a former name ends here
        for name, value in (("delay", self.delay_s), ("width", self.width_s)):
            _check_time(f"{name} of {self.output}", value)

    @property
    def kind(self) -> SignalKind:
        """The kind of the output."""
        return Signal.of(self.output).kind

    @property
    def where(self) -> str:
        """The anchor in words: `release`, `beam1 edge 2`."""
        return self.anchor if self.anchor == "release" else f"{self.anchor} edge {self.count}"


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
                raise SequenceError(f"{beam}_edge is '{edge}'; it must be {_list(BEAM_EDGES)}")
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
        )

    def make_table(self, welcome: Welcome) -> Table:
        """Return the table for the board of that welcome, checked against its limits.

        The same sequence and welcome give the same table back at no cost.
        Raises SequenceError naming every row and limit that does not fit.
        """
        return _make_checked(self, welcome)

    def make_table_within(self, limits: BoardLimits) -> Table:
        """Return the table for limits got otherwise, checked; raises SequenceError."""
        table = self.to_table(limits.clock_hz)
        check_table(table, limits)
        return table

    def flash_row(self) -> Row | None:
        """The row whose delay is 'the' flash delay: the first flash, those at a beam before others."""
        flashes = [row for row in self.rows if row.kind is SignalKind.FLASH]
        flashes.sort(key=lambda row: (row.anchor == "release", row.output, row.count, row.delay_s))
        return flashes[0] if flashes else None

    def with_flash_delay(self, delay_s: float) -> Sequence:
        """The same with the delay of `flash_row` changed; raises SequenceError where there is none."""
        from dataclasses import replace

        flash = self.flash_row()
        if flash is None:
            raise SequenceError("the sequence has no flash whose delay could be changed")
        rows = tuple(replace(row, delay_s=delay_s) if row is flash else row for row in self.rows)
        return replace(self, rows=rows)


@dataclass(frozen=True, slots=True)
class TickRow:
    """A row on one clock. `origin` is its place in the sequence as written, from 0."""

    anchor: str
    count: int
    output: str
    delay_ticks: int
    width_ticks: int
    origin: int = field(default=0, compare=False)

    @property
    def kind(self) -> SignalKind:
        """The kind of the output."""
        return Signal.of(self.output).kind

    def sort_key(self) -> tuple[int, int, int, int]:
        """The board's order: anchor, count, delay, output."""
        return (
            ANCHORS.index(self.anchor),
            self.count,
            self.delay_ticks,
            Signal.of(self.output),
        )

    @property
    def where(self) -> str:
        """The anchor in words: `release`, `beam1 edge 2`."""
        return self.anchor if self.anchor == "release" else f"{self.anchor} edge {self.count}"

    def describe(self, clock_hz: int) -> str:
        """The row in words, for messages: `row 3 (flash1, beam1 edge 2 + 85.000 ms)`."""
        delay = format_ticks(self.delay_ticks, clock_hz)
        return f"row {self.origin + 1} ({self.output}, {self.where} + {delay})"


@dataclass(frozen=True)
class Table:
    """A sequence table on one clock, as a board runs it; all times in ticks of `clock_hz`."""

    clock_hz: int
    rows: tuple[TickRow, ...]
    window_ticks: int = 0
    tail_ticks: int = 0
    blanking_ticks: int = 0
    dwell_ticks: int = 0
    beam_edges: tuple[str, str] = ("dark", "dark")
    awaits: tuple[int, int] = (0, 0)

    @cached_property
    def _messages(self) -> Any:
        from beamfall.wire import get_codec
        from beamfall.wire.table import make_table_messages

        codec = get_codec()
        anchors, edges = (codec.definition.enum(name) for name in ("anchor", "beam_edge"))
        settings = {
            "window_ticks": self.window_ticks,
            "tail_ticks": self.tail_ticks,
            "blanking_ticks": self.blanking_ticks,
            "dwell_ticks": self.dwell_ticks,
            "beam1_edge": edges[self.beam_edges[0]],
            "beam2_edge": edges[self.beam_edges[1]],
            "await1": self.awaits[0],
            "await2": self.awaits[1],
        }
        rows = [
            {
                "anchor": anchors[row.anchor],
                "count": row.count,
                "output": Signal.of(row.output),
                "spare": 0,
                "delay_ticks": row.delay_ticks,
                "width_ticks": row.width_ticks,
            }
            for row in self.rows
        ]
        return make_table_messages(codec, settings, rows)

    @property
    def digest(self) -> bytes:
        """The 16 bytes that name the table on the wire (protocol/SPEC.md)."""
        digest: bytes = self._messages.digest
        return digest

    @property
    def requests(self) -> tuple[Message, ...]:
        """The requests that upload the table, in order."""
        requests: tuple[Message, ...] = self._messages.requests
        return requests

    def flash_row(self) -> TickRow | None:
        """The row whose delay is 'the' flash delay: the first flash, those at a beam before others."""
        flashes = [row for row in self.rows if row.kind is SignalKind.FLASH]
        flashes.sort(
            key=lambda row: (row.anchor == "release", row.output, row.count, row.delay_ticks)
        )
        return flashes[0] if flashes else None

    def spacing_ticks(self) -> int | None:
        """From the first valve opening to the second, of all valves; None with fewer than two."""
        opened = sorted(row.delay_ticks for row in self.rows if row.kind is SignalKind.VALVE)
        return opened[1] - opened[0] if len(opened) > 1 else None

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for JSON; rows as lists in the order of TickRow's fields."""
        return {
            "clock_hz": self.clock_hz,
            "window_ticks": self.window_ticks,
            "tail_ticks": self.tail_ticks,
            "blanking_ticks": self.blanking_ticks,
            "dwell_ticks": self.dwell_ticks,
            "beam_edges": list(self.beam_edges),
            "awaits": list(self.awaits),
            "rows": [[getattr(row, item.name) for item in fields(row)] for row in self.rows],
        }

    @classmethod
    def from_dict(cls, content: Mapping[str, Any]) -> Self:
        """Rebuild a table from `to_dict`; outputs may have the names of older logs."""
        plain = {key: value for key, value in content.items() if key.endswith(("_ticks", "_hz"))}
        return cls(
            rows=tuple(
                TickRow(anchor, count, Signal.of(output).name, *times)
                for anchor, count, output, *times in content["rows"]
            ),
            beam_edges=tuple(content["beam_edges"]),
            awaits=tuple(content["awaits"]),
            **plain,
        )


@dataclass(frozen=True, slots=True)
class PlannedEdge:
    """An edge that a table commands: `ticks` from the release, None while its anchor is unknown."""

    what: str
    on: bool
    ticks: int | None
    row: TickRow

    @property
    def kind(self) -> SignalKind:
        """The kind of the output."""
        return self.row.kind


def predict_edges(
    table: Table, anchor_edges: Mapping[str, SequenceOf[int]] | None = None
) -> list[PlannedEdge]:
    """Return the edges of every output that a table commands, in time order, unknown ones last.

    `anchor_edges` gives for beam1 and beam2 the ticks of their counted edges, from the release,
    first counted edge first; with it the edges that follow the beam have times too.
    """
    known = anchor_edges or {}
    edges: list[PlannedEdge] = []
    for row in table.rows:
        base: int | None = 0
        if row.anchor != "release":
            counted = known.get(row.anchor, ())
            base = counted[row.count - 1] if row.count <= len(counted) else None
        start = None if base is None else base + row.delay_ticks
        edges.append(PlannedEdge(row.output, True, start, row))
        end = None if start is None else start + row.width_ticks
        edges.append(PlannedEdge(row.output, False, end, row))
    return sorted(edges, key=lambda edge: (edge.ticks is None, edge.ticks or 0))


def count_beam_edges(
    table: Table, beam: str, edges: SequenceOf[tuple[int, str]], last_ticks: int | None = None
) -> list[int]:
    """Return the ticks of the edges of `beam` that count, by the table's edge, dwell and blanking.

    `edges` are (ticks, dark or clear) of that beam in time order. An edge counts when it is of the
    table's kind, not within the blanking after the last counted one, and when the beam then stays
    so for the dwell; the last edge seen stays so as far as anybody knows, up to `last_ticks`.
    """
    wanted = table.beam_edges[BEAMS.index(beam)]
    counted: list[int] = []
    for index, (ticks, word) in enumerate(edges):
        if word != wanted:
            continue
        if counted and ticks - counted[-1] < table.blanking_ticks:
            continue
        until = edges[index + 1][0] if index + 1 < len(edges) else last_ticks
        if table.dwell_ticks and until is not None and until - ticks < table.dwell_ticks:
            continue
        counted.append(ticks)
    return counted


@lru_cache(maxsize=64)
def _make_checked(sequence: Sequence, welcome: Welcome) -> Table:
    return sequence.make_table_within(BoardLimits.from_welcome(welcome))


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


def _list(names: SequenceOf[str]) -> str:
    return f"{', '.join(names[:-1])} or {names[-1]}"
