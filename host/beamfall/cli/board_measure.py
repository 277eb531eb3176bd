"""`beamfall board measure`: the timing self-test over a jumper wire."""

from __future__ import annotations

from pathlib import Path

import typer

from beamfall.board_tools.draw import choose_unit, draw_measurement
from beamfall.board_tools.install import ask_interpreter, find_only_port, recall_interpreter
from beamfall.board_tools.measure import (
    Distribution,
    Measurement,
    measure,
    open_for_self_test,
    store_edge_constant,
)
from beamfall.board_tools.prompt import to_json
from beamfall.cli.options import PORT
from beamfall.cli.output import print_table, tell_step
from beamfall.cli.targets import DRAWINGS, check_target
from beamfall.ports import brings_rig
from beamfall.text import show_text


def measure_timing(
    port: str | None = PORT,
    source: str = typer.Option("valve1", help="Output at one end of the jumper wire."),
    beam: str = typer.Option("beam1", help="Beam input at the other end."),
    flash: str = typer.Option("flash1", help="Flash output that follows the edges."),
    pulses: int = typer.Option(200, min=1, max=100_000, help="Pulses under each load."),
    out: Path = typer.Option(Path("timing.json"), help="Where to save figures and raw data."),
    plot: Path | None = typer.Option(
        None, help="Draw the distributions (PNG; default: beside --out)."
    ),
    store: bool = typer.Option(
        True,
        "--store/--no-store",
        help="Store on the board how long an edge takes through the chip's pins.",
    ),
    ask: bool = typer.Option(
        False, "--ask", help="Restart the board first to read its MicroPython version."
    ),
    yes: bool = typer.Option(
        False, "--yes", help="Do not ask whether valves and flashes are disconnected."
    ),
) -> int:
    """Measure a board's timing through a jumper wire.

    First disconnect valves and flashes: their outputs pulse several hundred times.
    It measures the error from edge to flash and the error of the board's time stamps, under low and high load. It also
    measures how long an edge takes through the chip's pins, and stores that on the board.
    """
    check_target(out, "--out")
    check_target(plot, "--plot", DRAWINGS)
    simulated = brings_rig(port)
    if not simulated and not yes:
        _confirm_bare(source, flash, beam)
    interpreter = None
    if ask and not simulated:
        interpreter = dict(to_json(ask_interpreter(port if port is not None else find_only_port())))
    again = None
    board = open_for_self_test(port, source, beam)
    with board:
        if interpreter is None and not simulated:
            interpreter = recall_interpreter(board.info.unique_id)
        found = measure(
            board, source=source, flash=flash, beam=beam, pulses=pulses, interpreter=interpreter, simulated=simulated,
            tell=tell_step,
        )  # fmt: skip
        if store:
            again = store_edge_constant(board, found, tell_step)
    picture = plot if plot is not None else out.with_suffix(".png")
    found.save(out)
    draw_measurement(found, picture)
    _print_measurement(found)
    _print_edge_constant(found, again)
    print(f"\nfigures and raw data in {show_text(out)}, drawn in {show_text(picture)}")
    if simulated:
        print("Simulated in virtual time: this says nothing about the timing of real hardware.")
    elif interpreter is None:
        print("The MicroPython version is unknown: --ask restarts the board and reads it.")
    return 0


def _confirm_bare(source: str, flash: str, beam: str) -> None:
    question = (
        f"{source} and {flash} will pulse several hundred times. Are valves and flashes disconnected, and is the wire "
        f"from {source} to {beam} the only connection?"
    )
    if not typer.confirm(question):
        raise typer.Exit(1)


def _print_edge_constant(found: Measurement, again: Measurement | None) -> None:
    constant = found.edge_constant
    if constant is None:
        return
    ticks = constant["measured"]
    if ticks is None:
        print(
            "\nThe flash error is larger than the delay of the chip's pins can explain, so nothing is stored. "
            "Look for something slow between the two pins, or measure more pulses."
        )
        return
    takes = f"An edge takes {ticks} ticks ({ticks * 1e9 / found.board['clock_hz']:.1f} ns) through a pin"
    if ticks == constant["in_use"]:
        print(f"\n{takes}, which the board already allows for. Nothing to do.")
        return
    print(
        f"\n{takes}; the board allowed for {constant['in_use']} (data sheet: {constant['expected']})."
    )
    if again is None:
        print(
            "Flashes are off by twice the difference. Measure without --no-store to store it on the board."
        )
        return
    mean_ns = (
        sum(again.loads["low"].flash_error.errors_s) / again.loads["low"].flash_error.count * 1e9
    )
    print(
        f"It is stored on the board, which uses it from now on. Measured again, the flash is {mean_ns:+.1f} ns off on "
        "average. Remove the wire."
    )


def _print_measurement(found: Measurement) -> None:
    board = found.board
    clock_mhz = board["clock_hz"] / 1e6
    print(
        f"\n{board['name']}, firmware {board['firmware']}, timing {board['timing']}, clock {clock_mhz:g} MHz\n"
    )
    kinds: list[tuple[str, str, Distribution]] = []
    for load, result in found.loads.items():
        kinds.append(("edge to flash", load, result.flash_error))
        kinds.append(("stamp", load, result.stamp_error))
    largest = max(abs(error) for _, _, one in kinds for error in one.errors_s)
    factor, unit = choose_unit(largest)

    def show(seconds: float) -> str:
        return f"{seconds * factor:.1f}"

    print_table(
        ("error of", "load", "pulses", f"min {unit}", f"median {unit}", f"p99 {unit}", f"max {unit}", f"spread {unit}"),
        [
            (
                what, load, str(one.count), show(min(one.errors_s)), show(one.quantile(0.5)), show(one.quantile(0.99)),
                show(max(one.errors_s)), show(one.spread_s),
            )
            for what, load, one in kinds
        ],
        numeric=("pulses", f"min {unit}", f"median {unit}", f"p99 {unit}", f"max {unit}", f"spread {unit}"),
    )  # fmt: skip
    for load, result in found.loads.items():
        print(
            f"{load} load: {result.questions} requests answered meanwhile, {result.edges_lost} edges lost, "
            f"{result.spoiled_shots} shots left out, {result.rows_late} rows late, "
            f"the latest by {result.worst_late_s * 1e6:.1f} µs"
        )
