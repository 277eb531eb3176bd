"""Tests the wires: each output sends one pulse of its own width, and the other board shows where it arrives.

The width identifies the wire on any input, so the two boards' clocks need not be aligned.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from beamfall.board import Board
from beamfall.board_tools.double.bench import Bench
from beamfall.board_tools.double.wiring import Wire
from beamfall.board_tools.errors import BenchError
from beamfall.events import Edge
from beamfall.setup.sequence import Row, Sequence
from beamfall.shots.pulses import read_lines

_LEAD_S = 0.01
_FIRST_S = 0.002
# Step between widths; the longest stays below the button's 30 ms, so that nothing is released.
_STEP_S = 0.0015
_GAP_S = 0.02


@dataclass(frozen=True, slots=True)
class WireFinding:
    """The result for one wire: the inputs at its other end where its pulse arrived."""

    wire: Wire
    seen_at: tuple[str, ...]

    @property
    def fault(self) -> str | None:
        """What is wrong, and the cure; None if nothing is."""
        wire = self.wire
        if self.seen_at == (wire.input,):
            return None
        if not self.seen_at:
            return f"wire missing: {wire.name}"
        found = ", ".join(self.seen_at)
        if wire.input in self.seen_at:
            others = ", ".join(name for name in self.seen_at if name != wire.input)
            return f"wire touches another: {wire.name} also arrives at {others}"
        return f"wire in the wrong place: {wire.name} arrives at {found}"


@dataclass(frozen=True, slots=True)
class SelfTest:
    """The test of all wires."""

    findings: tuple[WireFinding, ...]

    @property
    def wrong(self) -> tuple[WireFinding, ...]:
        """The wires that are not right; empty if every wire is."""
        return tuple(finding for finding in self.findings if finding.fault is not None)

    def require(self) -> None:
        """Raise BenchError, which names every wrong wire."""
        if not self.wrong:
            return
        text = "; ".join(finding.fault or "" for finding in self.wrong)
        if not any(finding.seen_at for finding in self.findings):
            text = "no pulse arrived: is the ground connected, and do both boards have power?"
        raise BenchError(
            f"{text}. The table of wires: python -m beamfall.board_tools.double",
            parts=tuple(finding.wire.name for finding in self.wrong),
        )


def test_wires(bench: Bench) -> SelfTest:
    """Send a pulse through every wire, both ways. No valve, flash or camera may be connected."""
    wires = bench.list_wires()
    findings: list[WireFinding] = []
    for source, actor, listener in (
        ("controller", bench.controller, bench.double),
        ("double", bench.double, bench.controller),
    ):
        here = [wire for wire in wires if wire.source == source]
        findings += _test_from(bench, here, actor, listener)
    return SelfTest(tuple(findings))


def _test_from(
    bench: Bench, wires: list[Wire], actor: Board, listener: Board
) -> Iterable[WireFinding]:
    rows = []
    at = _LEAD_S
    for number, wire in enumerate(wires):
        width = _FIRST_S + number * _STEP_S
        rows.append(Row("release", 0, wire.output, at, width))
        at += width + _GAP_S
    outcome, seen = bench.shoot_watched(actor, Sequence(rows=tuple(rows), tail_s=0.05), listener)
    if outcome.done.state.name != "fired":
        raise BenchError(
            f"{actor.name}: the pulses of the self-test ended as {outcome.done.cause.name}"
        )
    pulses = measure_pulses(seen, listener.info.clock_hz)
    for number, wire in enumerate(wires):
        width = _FIRST_S + number * _STEP_S
        places = {name for name, length in pulses if abs(length - width) < 0.4 * _STEP_S}
        yield WireFinding(wire, tuple(sorted(places)))


def measure_pulses(edges: Iterable[Edge], clock_hz: int) -> list[tuple[str, float]]:
    """Return (input, seconds) of every whole pulse in these edges."""
    lines = read_lines((edge.signal, edge.ticks, bool(edge.level)) for edge in edges)
    return [
        (signal.name, pulse.length / clock_hz)
        for signal, pulses in lines.items()
        for pulse in pulses
        if pulse.length is not None
    ]


test_wires.__test__ = False  # type: ignore[attr-defined]  # pytest: not a test of its own
