"""A sequence on one clock, as a board runs it: whole ticks, rows in the board's order, its messages and its edges."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from collections.abc import Sequence as SequenceOf
from dataclasses import dataclass, field, fields
from functools import cached_property
from typing import Any, Self

from beamfall.setup.signals import Signal, SignalKind
from beamfall.setup.unit_words import format_ticks
from beamfall.wire import Message, get_codec
from beamfall.wire.table import make_table_messages

BEAMS = SignalKind.BEAM.names
ANCHORS = ("release", *BEAMS)


@dataclass(frozen=True, slots=True)
class Anchored:
    """An output that follows an anchor: release, beam1 or beam2, and which counted edge of that beam, from 1."""

    anchor: str
    count: int
    output: str

    @property
    def kind(self) -> SignalKind:
        return Signal.of(self.output).kind

    @property
    def where(self) -> str:
        """The anchor in words: `release`, `edge 2 of beam1`."""
        return self.anchor if self.anchor == "release" else f"edge {self.count} of {self.anchor}"


@dataclass(frozen=True, slots=True)
class TickRow(Anchored):
    """A row on one clock. `origin` is its place in the sequence as written, from 0."""

    delay_ticks: int
    width_ticks: int
    origin: int = field(default=0, compare=False)

    def sort_key(self) -> tuple[int, int, int, int]:
        """The board's order: anchor, count, delay, output."""
        return (ANCHORS.index(self.anchor), self.count, self.delay_ticks, Signal.of(self.output))

    def describe(self, clock_hz: int) -> str:
        """The row in words, for messages: `row 3 (flash1, edge 2 of beam1 + 85.000 ms)`."""
        delay = format_ticks(self.delay_ticks, clock_hz)
        return f"row {self.origin + 1} ({self.output}, {self.where} + {delay})"


@dataclass(frozen=True)
class Table:
    """A sequence table on one clock, as a board runs it; all times in ticks of `clock_hz`.

    `name` is the name of its sequence, for people: the board does not have it.
    """

    clock_hz: int
    rows: tuple[TickRow, ...]
    window_ticks: int = 0
    tail_ticks: int = 0
    blanking_ticks: int = 0
    dwell_ticks: int = 0
    beam_edges: tuple[str, str] = ("dark", "dark")
    awaits: tuple[int, int] = (0, 0)
    name: str = field(default="", compare=False)

    @property
    def _times(self) -> dict[str, int]:
        names = ("window_ticks", "tail_ticks", "blanking_ticks", "dwell_ticks")
        return {name: getattr(self, name) for name in names}

    @cached_property
    def _messages(self) -> Any:
        codec = get_codec()
        anchors, edges = (codec.definition.enum(name) for name in ("anchor", "beam_edge"))
        settings = {
            **self._times,
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
        return min(
            (row for row in self.rows if row.kind is SignalKind.FLASH),
            key=lambda row: (row.anchor == "release", row.output, row.count, row.delay_ticks),
            default=None,
        )

    def spacing_ticks(self, valves: Collection[str] | None = None) -> int | None:
        """From the first opening to the second, of these valves or of all; None with fewer than two."""
        opened = sorted(
            row.delay_ticks
            for row in self.rows
            if row.kind is SignalKind.VALVE and (valves is None or row.output in valves)
        )
        return opened[1] - opened[0] if len(opened) > 1 else None

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for JSON; rows as lists in the order of TickRow's fields."""
        named = {"name": self.name} if self.name else {}
        return named | {
            "clock_hz": self.clock_hz,
            **self._times,
            "beam_edges": list(self.beam_edges),
            "awaits": list(self.awaits),
            "rows": [[getattr(row, item.name) for item in fields(row)] for row in self.rows],
        }

    @classmethod
    def from_dict(cls, content: Mapping[str, Any]) -> Self:
        """Rebuild a table from `to_dict`; outputs may have the names of older logs.

        Raises TypeError, ValueError or LookupError for what is not a table.
        """
        plain = {key: value for key, value in content.items() if key.endswith(("_ticks", "_hz"))}
        rows = tuple(
            TickRow(anchor, count, Signal.of(output).name, *times)
            for anchor, count, output, *times in content["rows"]
        )
        times = [time for row in rows for time in (row.count, row.delay_ticks, row.width_ticks)]
        if not all(type(one) is int for one in (*plain.values(), *content["awaits"], *times)):
            raise TypeError("a table's times and counts are whole numbers")
        if plain["clock_hz"] < 1:
            raise ValueError("a table's clock does not run")
        name = content.get("name", "")
        if not isinstance(name, str):
            raise TypeError("a table's name is a text")
        anchors, edges = (get_codec().definition.enum(name) for name in ("anchor", "beam_edge"))
        for row in rows:
            anchors[row.anchor]
        (edge1, edge2), (await1, await2) = content["beam_edges"], content["awaits"]
        for edge in (edge1, edge2):
            edges[edge]
        return cls(
            rows=rows, beam_edges=(edge1, edge2), awaits=(await1, await2), name=name, **plain
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
