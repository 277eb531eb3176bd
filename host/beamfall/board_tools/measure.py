"""The timing self-test: a jumper wire from an output to a beam input, and the board's own stamps at both ends.

The source output sends pulses at the release; the beam sees each one through the wire; a flash row follows each
beam edge after a known delay. The board stamps all three. Each pulse gives two errors:

    flash error   flash's stamp - source's stamp - the commanded delay: what the electronics add between edge and flash
    stamp error   beam's stamp - source's stamp: the error of an input's stamp, through a wire of negligible length

The mean flash error gives the edge constant: what an edge takes through a pin, which the port of an RP2040 or RP2350
allows for. `store_edge_constant` stores it on the board.

Under high load the host asks for the board's status without a pause. This makes USB traffic both ways, and garbage
that the board must collect meanwhile. If a program takes the stamps (timing class interrupt), it stamps an output
after the command: a delay common to both stamps of an output does not show here. An oscilloscope on source and flash
shows it.
"""

from __future__ import annotations

import json
import statistics
from collections.abc import Callable
from collections.abc import Sequence as SequenceOf
from dataclasses import asdict, dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from beamfall.board import Board
from beamfall.board_tools.errors import MeasureError
from beamfall.errors import DefinitionMismatch, Refused, UserError
from beamfall.events import Outcome
from beamfall.files import write_text
from beamfall.ports import brings_rig, open_jumpered
from beamfall.setup.sequence import Row, Sequence
from beamfall.setup.signals import Signal, SignalKind
from beamfall.shots.pulses import find_times

LOADS = ("low", "high")
_PULSES_A_SHOT = 16
_SOURCE_S = 0.002
_FLASH_S = 0.001
_LEAD_S = 0.005
# Time between the end of the blanking and the next pulse: a stamp may be this late before its next edge falls into the
# blanking. On boards with soft interrupts, a garbage collection takes a few milliseconds.
_REST_S = 0.004
_REST_INTERRUPT_S = 0.020
_SPOILED_MAX = 3  # give up after more incomplete shots than this, if they outnumber the good ones
_TAIL_S = 0.005
_PAUSE_S = 0.001  # between two requests under load: virtual time passes only while waiting
_WIRE = (
    "connect these two pins with the jumper wire, with nothing else connected to them; find the pins in the "
    "board's profile"
)
_CLEAR_TICKS = 0.3
_PULSES_AGAIN = 100
_DELAYS_S = (0.0005, 0.001, 0.002, 0.005, 0.010)


class SpoiledShot(MeasureError):
    """One shot in which not every pulse was seen and followed."""


Tell = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Distribution:
    """Errors of one kind, in seconds."""

    errors_s: tuple[float, ...]

    @property
    def count(self) -> int:
        """How many."""
        return len(self.errors_s)

    def quantile(self, share: float) -> float:
        """The error that this fraction of all errors does not exceed (nearest rank)."""
        import numpy as np

        return float(np.quantile(self.errors_s, share, method="inverted_cdf"))

    @property
    def spread_s(self) -> float:
        """Largest less smallest."""
        return max(self.errors_s) - min(self.errors_s)

    def to_dict(self) -> dict[str, Any]:
        """Figures and raw data, JSON-ready; seconds."""
        return {
            "count": self.count,
            "min_s": min(self.errors_s),
            "median_s": statistics.median(self.errors_s),
            "p99_s": self.quantile(0.99),
            "max_s": max(self.errors_s),
            "errors_s": list(self.errors_s),
        }


@dataclass(frozen=True)
class LoadResult:
    """The measurements under one load."""

    flash_error: Distribution
    stamp_error: Distribution
    edges_lost: int
    rows_late: int
    worst_late_s: float
    questions: int  # status requests that the board answered during the test
    spoiled_shots: int  # shots left out because a pulse was not followed: edges stamped too late for the blanking


@dataclass(frozen=True)
class Measurement:
    """A complete timing self-test."""

    board: dict[str, Any]
    interpreter: dict[str, Any] | None
    source: str
    flash: str
    beam: str
    delays_s: tuple[float, ...]
    stamp_s: float
    simulated: bool
    measured_at: str
    # Ticks: in use, of the data sheet, as measured
    edge_constant: dict[str, int | None] | None = None
    loads: dict[str, LoadResult] = field(default_factory=dict)

    def to_dict(self) -> dict[str, Any]:
        """Everything, JSON-ready."""
        head = {key: value for key, value in asdict(self).items() if key != "loads"}
        head["delays_s"] = list(self.delays_s)
        head["loads"] = {
            load: {
                **vars(result),
                "flash_error": result.flash_error.to_dict(),
                "stamp_error": result.stamp_error.to_dict(),
            }
            for load, result in self.loads.items()
        }
        return head

    def save(self, path: Path) -> None:
        """Write it as JSON; raises FileWriteError, and the file is then as it was."""
        write_text(path, json.dumps(self.to_dict(), indent=1) + "\n")


def open_for_self_test(port: str | None, source: str, beam: str) -> Board:
    """Open a board; on a port with its own rig, a jumper wire replaces the rig."""
    if port is None or not brings_rig(port):
        return Board.connect(port)
    try:
        ends = Signal.of(source), Signal.of(beam)
    except LookupError as error:
        raise UserError(str(error)) from error
    return Board.over(open_jumpered(port, *ends))


def measure(
    board: Board,
    *,
    source: str = "valve1",
    flash: str = "flash1",
    beam: str = "beam1",
    pulses: int = 200,
    loads: SequenceOf[str] = LOADS,
    interpreter: dict[str, Any] | None = None,
    simulated: bool = False,
    tell: Tell = lambda text: None,
) -> Measurement:
    """Run the self-test: `pulses` pulses under each load; see the top of this file.

    Connect only the jumper to `source` and `flash`: both are driven hundreds of times. Raises MeasureError if the wire
    is missing, UserError for signals that the board does not have.
    """
    info = board.info
    _check_signals(board, source, flash, beam)
    delays = tuple(
        delay for delay in _DELAYS_S if round(delay * info.clock_hz) >= info.earliest_beam_ticks
    )
    if not delays:
        raise MeasureError(
            f"this board needs {info.to_seconds(info.earliest_beam_ticks) * 1e3:.1f} ms from a beam edge to a row; "
            "the self-test has no delay that long"
        )
    found = Measurement(
        board={
            "name": info.name,
            "unique_id": info.unique_id.hex(),
            "firmware": info.firmware,
            "clock_hz": info.clock_hz,
            "timing": info.timing.label,
            "port": board.name,
        },
        interpreter=interpreter,
        source=source,
        flash=flash,
        beam=beam,
        delays_s=delays,
        stamp_s=info.to_seconds(info.stamp_ticks),
        simulated=simulated,
        measured_at=datetime.now(UTC).isoformat(timespec="seconds"),
    )
    for load in loads:
        found.loads[load] = _measure_load(board, found, load, pulses, tell)
    return replace(found, edge_constant=_find_edge_constant(board, found))


def _find_edge_constant(board: Board, found: Measurement) -> dict[str, int | None] | None:
    """The ticks that an edge really takes through the chip's pins, from the flash errors; None if the port has no
    such constant. `measured` is None if no constant explains the errors.

    A flash follows an edge by way of two pins, so it is off by twice the difference. A stamp is rounded to the middle
    of a round of several ticks: the mean over pulses at all phases of that round is not.
    """
    try:
        constant = board.edge_constant()
    except DefinitionMismatch:  # an older firmware, which can be measured all the same
        return None
    if not constant.most:
        return None
    errors = [error for load in found.loads.values() for error in load.flash_error.errors_s]
    difference = statistics.fmean(errors) * board.info.clock_hz / 2
    ticks = round(constant.ticks + difference)
    clear = abs(constant.ticks + difference - ticks) <= _CLEAR_TICKS
    known = clear and 0 <= ticks <= constant.most
    return {
        "in_use": constant.ticks,
        "expected": constant.expected,
        "measured": ticks if known else None,
    }


def store_edge_constant(board: Board, found: Measurement, tell: Tell) -> Measurement | None:
    """Store the measured edge constant on the board and measure again with it; None if nothing is to be stored."""
    constant = found.edge_constant
    ticks = constant["measured"] if constant is not None else None
    if constant is None or ticks is None or ticks == constant["in_use"]:
        return None
    board.store_edge_constant(ticks)
    tell(f"the board now allows for {ticks} ticks at each pin; measuring again")
    return measure(
        board, source=found.source, flash=found.flash, beam=found.beam, pulses=_PULSES_AGAIN, loads=("low",),
        interpreter=found.interpreter, simulated=found.simulated, tell=tell,
    )  # fmt: skip


def _check_signals(board: Board, source: str, flash: str, beam: str) -> None:
    outputs = tuple(kind for kind in SignalKind if kind.is_output)
    for name, kinds in (
        (source, outputs),
        (flash, (SignalKind.FLASH,)),
        (beam, (SignalKind.BEAM,)),
    ):
        signal = Signal.find(name)
        if signal is None or signal.kind not in kinds:
            raise UserError(
                f"'{name}' is not a {' or '.join(kinds)}; write for example {kinds[0].nth(1).name}"
            )
        if not board.info.has(signal):
            raise UserError(f"this board has no {name}")
    if source == flash:
        raise UserError(f"source and flash are both {flash}; choose another output as the source")


def _make_sequence(board: Board, found: Measurement, delay_s: float, count: int) -> Sequence:
    info = board.info
    # Blanking separates counted edges, so it ensures the least spacing of the flash.
    blanking_s = max(info.flash_gap_us * 1e-6, delay_s + 2 * _FLASH_S)
    rest_s = _REST_INTERRUPT_S if info.timing.name == "interrupt" else _REST_S
    period_s = blanking_s + max(rest_s, info.valve_gap_us * 1e-6)
    lead_s = max(_LEAD_S, info.to_seconds(info.earliest_ticks))
    flash_s = min(_FLASH_S, info.flash_max_us * 1e-6)
    rows = [Row("release", 0, found.source, lead_s + n * period_s, _SOURCE_S) for n in range(count)]
    rows += [Row(found.beam, n + 1, found.flash, delay_s, flash_s) for n in range(count)]
    return Sequence(
        rows=tuple(rows),
        window_s=lead_s + count * period_s + 0.05,
        tail_s=_TAIL_S,
        blanking_s=blanking_s,
    )


def _measure_load(
    board: Board, found: Measurement, load: str, pulses: int, tell: Tell
) -> LoadResult:
    flash_errors: list[float] = []
    stamp_errors: list[float] = []
    lost = late = questions = shots = spoiled = 0
    worst_s = 0.0
    info = board.info
    a_shot = min(_PULSES_A_SHOT, info.rows_max // 2)
    while len(flash_errors) < pulses:
        delay_s = found.delays_s[shots % len(found.delays_s)]
        count = min(a_shot, pulses - len(flash_errors))
        outcome, asked = _fire(board, _make_sequence(board, found, delay_s, count), load)
        done = outcome.done
        shots += 1
        questions += asked
        try:
            flash, stamp = _compare(outcome, found, count, delay_s, info.clock_hz)
        except SpoiledShot as error:
            spoiled += 1
            tell(f"{load} load: a shot is left out: {error}")
            if spoiled > max(_SPOILED_MAX, shots - spoiled):
                raise
            continue
        flash_errors += flash
        stamp_errors += stamp
        lost += done.edges_lost
        late += done.rows_late
        worst_s = max(worst_s, info.to_seconds(done.worst_late_ticks))
        tell(f"{load} load: {len(flash_errors)} of {pulses} pulses")
    return LoadResult(
        Distribution(tuple(flash_errors)),
        Distribution(tuple(stamp_errors)),
        lost,
        late,
        worst_s,
        questions,
        spoiled,
    )


def _fire(board: Board, sequence: Sequence, load: str) -> tuple[Outcome, int]:
    ticket = board.arm(sequence)
    try:
        board.release(ticket)
    except Refused as refusal:
        if refusal.reason != "beam_blocked":
            raise
        # An unconnected input is pulled to the level of a dark beam.
        anchors = {row.anchor for row in sequence.rows} - {"release"}
        outputs = [row.output for row in sequence.rows if row.anchor == "release"]
        raise MeasureError(
            f"{min(anchors)} is dark though {outputs[0]} is off: {_WIRE}"
        ) from refusal
    asked = 0
    while load == "high":
        asked += 1
        if board.status().activity.name != "shot":
            break
        for _ in board.pump(_PAUSE_S):
            pass
    outcome = board.wait_for(ticket)
    board.settle()
    return outcome, asked


def _compare(
    outcome: Outcome, found: Measurement, count: int, delay_s: float, clock_hz: int
) -> tuple[list[float], list[float]]:
    """Errors of one shot, in seconds, pulse by pulse."""
    source = find_times(outcome.edges, Signal.of(found.source))
    beam = find_times(outcome.edges, Signal.of(found.beam))
    flash = find_times(outcome.edges, Signal.of(found.flash))
    if not beam:
        raise MeasureError(
            f"{found.beam} saw none of the {len(source)} pulses from {found.source}: {_WIRE}"
        )
    if not len(source) == len(beam) == len(flash) == count:
        raise SpoiledShot(
            f"{found.source} sent {len(source)} pulses, {found.beam} saw {len(beam)}, {found.flash} followed "
            f"{len(flash)} of {count} ({outcome.done.cause.label}): look for a loose wire, or for something "
            "else connected to the pins"
        )
    delay_ticks = round(delay_s * clock_hz)
    flash_errors = [(f - s - delay_ticks) / clock_hz for f, s in zip(flash, source, strict=True)]
    stamp_errors = [(b - s) / clock_hz for b, s in zip(beam, source, strict=True)]
    return flash_errors, stamp_errors
