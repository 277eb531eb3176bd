"""`beamfall board limits`: which board limits a valve's coil needs."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import typer

from beamfall.board import Board
from beamfall.cli.output import print_json, print_pairs, print_table
from beamfall.errors import UserError
from beamfall.physics.coil import MAX_A, CoilTimes, coil_times
from beamfall.setup.limits import BoardLimits
from beamfall.setup.unit_words import format_duration
from beamfall.setup.units import parse_quantity

TABLE_OHM = (24.0, 40.0, 60.0, 100.0)
TABLE_H = (0.02, 0.06, 0.15, 0.3)
GAP_STEP_US = 100  # a gap is rounded up to this


@dataclass(frozen=True)
class CoilLimits:
    """A coil, its times, and the least limits that fit it."""

    ohm: float
    henry: float
    supply_v: float
    times: CoilTimes

    @property
    def gap_us(self) -> int:
        """The least rest between two openings in µs: the slowest letting go, rounded up."""
        return math.ceil(self.times.let_go_s[1] * 1e6 / GAP_STEP_US) * GAP_STEP_US

    @property
    def pulls_in(self) -> bool:
        """Whether the coil pulls in at all when warm at the lowest supply."""
        return math.isfinite(self.times.pull_in_s[1])

    def problems(self, limits: BoardLimits) -> list[str]:
        """What does not fit, each with its cure."""
        found = []
        if self.supply_v / self.ohm > MAX_A * 1.001:
            found.append(
                f"it draws {self.supply_v / self.ohm:.2f} A, but an output is made for {MAX_A:g} A: use a valve of "
                f"{self.supply_v / MAX_A:.0f} ohm or more"
            )
        if not self.pulls_in:
            found.append(
                "it may not pull in when it is warm and the supply is at its lowest: use a valve made for this supply"
            )
        if self.gap_us > limits.valve_gap_us:
            found.append(
                f"it takes up to {format_duration(self.times.let_go_s[1])} to let go, but the board allows openings "
                f"{format_duration(limits.valve_gap_us * 1e-6)} apart: set VALVE_GAP_US = {self.gap_us} in your own "
                "profile and install it (beamfall board install --board FILE)"
            )
        if self.times.pull_in_s[1] > limits.valve_max_us * 1e-6 and self.pulls_in:
            found.append("it needs a longer opening than the board allows: use another valve")
        return found

    def to_dict(self) -> dict[str, Any]:
        """JSON-ready, SI units; None for a coil that never pulls in."""
        t = self.times
        return {
            "resistance_ohm": self.ohm,
            "inductance_h": self.henry,
            "supply_v": self.supply_v,
            "pull_in_s": [value if math.isfinite(value) else None for value in t.pull_in_s],
            "let_go_s": list(t.let_go_s),
            "settled_a": t.settled_a,
            "clamp_j": t.clamp_j,
            "valve_gap_us": self.gap_us,
        }


def _analyse(ohm: float, henry: float, supply_v: float) -> CoilLimits:
    return CoilLimits(ohm, henry, supply_v, coil_times(ohm, henry, supply_v))


def _read_coil(text: str) -> tuple[float, float]:
    parts = [part.strip() for part in text.split(",")]
    if len(parts) != 2:
        raise UserError(f'--coil {text}: write resistance and inductance, such as "24ohm,150mH"')
    return (
        parse_quantity(parts[0], "resistance", key="--coil"),
        parse_quantity(parts[1], "inductance", key="--coil"),
    )


def _span(values: tuple[float, float]) -> str:
    return " to ".join(
        f"{value * 1e3:.2f}" if math.isfinite(value) else "never" for value in values
    )


def show_limits(
    coil: str | None = typer.Option(
        None, help='The valve\'s resistance and inductance, such as "24ohm,150mH".'
    ),
    supply: str = typer.Option("12 V", help="The valves' supply."),
    port: str | None = typer.Option(
        None, help="Serial port or pyserial URL, or sim; default: no board, the standard limits."
    ),
    as_json: bool = typer.Option(False, "--json", help="One JSON object; SI units."),
) -> None:
    """Show which board limits a valve's coil needs.

    With --coil: when that coil pulls in and lets go on the controller of hardware/, and whether the board's limits
    fit. Without it: a table of coils. Opens no port unless you name one, and changes nothing.
    """
    supply_v = parse_quantity(supply, "voltage", key="--supply")
    limits = BoardLimits()
    if port is not None:
        with Board.connect(port) as board:
            limits = BoardLimits.from_welcome(board.info)
    if coil is None:
        table = [_analyse(ohm, henry, supply_v) for ohm in TABLE_OHM for henry in TABLE_H]
        if as_json:
            print_json({"board": limits.name, "coils": [one.to_dict() for one in table]})
        else:
            _print_table(table, limits)
        return
    one = _analyse(*_read_coil(coil), supply_v)
    problems = one.problems(limits)
    if as_json:
        print_json(
            {"board": limits.name, **one.to_dict(), "fits": not problems, "problems": problems}
        )
        return
    print_pairs(
        (
            ("coil", f"{one.ohm:g} ohm, {one.henry * 1e3:g} mH at {one.supply_v:g} V"),
            ("pulls in after", f"{_span(one.times.pull_in_s)} ms: open it for longer than that"),
            ("lets go after", f"{_span(one.times.let_go_s)} ms"),
            ("takes", f"up to {one.times.settled_a * 1e3:.0f} mA"),
            ("clamp takes", f"up to {one.times.clamp_j * 1e3:.1f} mJ at each closing"),
            (
                "VALVE_GAP_US",
                f"{one.gap_us} or more; board '{limits.name}' has {limits.valve_gap_us}",
            ),
        )
    )
    print()
    for problem in problems:
        print(f"Does not fit: {problem}.")
    if not problems:
        print(f"Fits: the limits of board '{limits.name}' suit this coil.")


def _print_table(table: list[CoilLimits], limits: BoardLimits) -> None:
    columns = ("ohm", "mH", "pulls in, ms", "lets go, ms", "clamp, mJ", "VALVE_GAP_US")
    print_table(
        (*columns, "fits"),
        [
            (
                f"{one.ohm:g}",
                f"{one.henry * 1e3:g}",
                _span(one.times.pull_in_s),
                _span(one.times.let_go_s),
                f"{one.times.clamp_j * 1e3:.1f}",
                str(one.gap_us),
                "no" if one.problems(limits) else "yes",
            )
            for one in table
        ],
        numeric=columns,
    )
    print(
        f"\nSupply {table[0].supply_v:g} V; limits of board '{limits.name}'. For your own valve, give --coil OHM,HENRY."
    )
