"""`beamfall board`: put the firmware on a board, look at it, measure its timing, keep sequences on it."""

from __future__ import annotations

from dataclasses import asdict, fields
from pathlib import Path
from typing import Any

import typer

from beamfall.board import Board
from beamfall.board_tools.backup import Backup, back_up, restore
from beamfall.board_tools.image import make_image
from beamfall.board_tools.install import (
    Report,
    find_only_port,
    install,
    recall_interpreter,
    remember,
)
from beamfall.board_tools.prompt import to_json
from beamfall.cli import board_limits, board_measure, board_slots, board_test
from beamfall.cli.loading import make_app
from beamfall.cli.options import JSON_ALL, PORT
from beamfall.cli.output import print_json, print_pairs, tell_step
from beamfall.cli.targets import check_target
from beamfall.errors import UserError
from beamfall.link.receiving import LinkCounters
from beamfall.ports import brings_rig
from beamfall.setup.signals import INPUTS, OUTPUTS, Signal, SignalKind
from beamfall.setup.unit_words import format_duration
from beamfall.text import show_text

app = make_app("Install firmware; show a board's state, timing and slots.")
app.add_typer(board_slots.app, name="slots")
app.command("limits")(board_limits.show_limits)
app.command("measure")(board_measure.measure_timing)
app.command("test")(board_test.check_board)


# -- install ---------------------------------------------------------------------------------------
@app.command("install")
def install_firmware(
    port: str | None = typer.Option(None, help="Serial port or pyserial URL of the board."),
    board: str | None = typer.Option(
        None, help="Board profile, by name or as your own file (.py)."
    ),
    source: bool = typer.Option(
        False, "--source", help="Install source text instead of compiled files."
    ),
    no_start: bool = typer.Option(
        False, "--no-start", help="Leave the board at its prompt; do not start the firmware."
    ),
    patience_s: float = typer.Option(
        20.0, "--patience", min=1.0, help="Seconds to wait for the board to start and answer."
    ),
    as_json: bool = typer.Option(False, "--json", help="What was done, as one JSON object."),
) -> int:
    """Install the firmware on a board that runs MicroPython.

    Every file is verified on the board; then the firmware starts. All outputs stay off meanwhile. Your own
    main.py is kept under another name, and slots stay.
    """
    where = _real_port(port, "on which nothing can be installed")
    tell = (lambda text: None) if as_json else tell_step
    report = install(
        where, board, source_only=source, start=not no_start, patience_s=patience_s, tell=tell
    )
    remember(report)
    if as_json:
        print_json({**asdict(report), "interpreter": to_json(report.interpreter)})
    else:
        _print_report(report)
    return 0


def _print_report(report: Report) -> None:
    print()
    print_pairs(
        (
            ("board", f"{report.board} (profile {report.profile})"),
            (
                "interpreter",
                f"MicroPython {report.interpreter.release} on {report.interpreter.machine}",
            ),
            ("files", f"{report.verified}, all verified on the board by SHA-256"),
            ("compiled", ("yes: " if report.compiled else "no: ") + report.why),
            ("written", f"{len(report.written)}, {report.bytes_written} bytes"),
            ("unchanged", str(len(report.unchanged)) if report.unchanged else ""),
            ("removed", ", ".join(report.removed)),
            *(("yours", f"{old}, now {new}") for old, new in report.moved.items()),
            ("yours", f"left as it is: {', '.join(report.kept)}" if report.kept else ""),
            (
                "running",
                f"firmware {report.firmware}, board {report.unique_id}"
                if report.firmware
                else "not started",
            ),
        )
    )
    if report.firmware:
        print(f"\nNext: beamfall board info --port {report.port}")


# -- image, backup, restore ------------------------------------------------------------------------
@app.command("image")
def join_image(
    micropython: Path = typer.Argument(
        ..., help="MicroPython for your board, as downloaded (.uf2).", show_default=False
    ),
    out: Path = typer.Option(Path("beamfall.uf2"), "--out", "-o", help="The file to make."),
    board: str | None = typer.Option(
        None, help="Board profile, by name or as your own file (.py)."
    ),
    source: bool = typer.Option(
        False, "--source", help="Use source text instead of compiled files."
    ),
) -> None:
    """Join MicroPython and the firmware in one file.

    Drop the file on the drive of a board with an RP2040 or RP2350.
    """
    check_target(out, "--out", (".uf2",))
    report = make_image(micropython, out, board, source_only=source)
    print_pairs(
        (
            ("board", f"{report.profile.name} (profile {report.profile.module})"),
            ("interpreter", f"MicroPython 1.{report.image.minor} for the {report.image.chip}"),
            ("files", f"{len(report.bundle.files)}, {report.bundle.size} bytes"),
            ("compiled", ("yes: " if report.bundle.compiled else "no: ") + report.bundle.why),
            ("written", f"{show_text(out)}, {report.size / 1e6:.1f} MB"),
        )
    )
    print(
        "\nHold BOOTSEL down while you plug the board in. A drive appears: drop the file on it.\n"
        "This erases all files on the board, slots too: save them first with `beamfall board backup`."
    )


@app.command("backup")
def back_up_board(
    file: Path = typer.Argument(..., help="Where to save them (.zip).", show_default=False),
    port: str | None = PORT,
) -> None:
    """Save a board's slots, profile and edge constant to a file."""
    check_target(file, "FILE", (".zip",))
    backup = back_up(_real_port(port), file, tell_step)
    _print_backup(f"saved in {show_text(file)}", backup)


@app.command("restore")
def restore_board(
    file: Path = typer.Argument(
        ..., help="A file written by `beamfall board backup`.", show_default=False
    ),
    port: str | None = PORT,
) -> None:
    """Restore a board's slots, profile and edge constant from a file."""
    backup = restore(_real_port(port), file, tell_step)
    _print_backup("restored to the board", backup)


def _print_backup(where: str, backup: Backup) -> None:
    slots = ", ".join(backup.slots) or "none"
    print(f"{len(backup.files)} files {where}; slots: {slots}.")


def _real_port(port: str | None, why: str = "which keeps nothing") -> str:
    """The port of a real board; raises UserError for a simulated one, and says why it cannot be used."""
    if port is not None and brings_rig(port):
        raise UserError(
            f"{port} is a simulated board, {why}. Name the serial port of a real board; "
            "`beamfall ports` lists them"
        )
    return port if port is not None else find_only_port()


# -- info ------------------------------------------------------------------------------------------
@app.command("info")
def show_info(port: str | None = PORT, as_json: bool = JSON_ALL) -> None:
    """Show a board's limits, state and counters. Changes nothing on it."""
    with Board.connect(port) as board:
        status = board.status()
        interpreter = recall_interpreter(board.info.unique_id)
        if as_json:
            print_json(_info_to_json(board, status, interpreter))
        else:
            _print_info(board, status, interpreter)


def _plain(value: Any) -> Any:
    """A value of the wire, JSON-ready: enums by name, bytes in hexadecimal."""
    if isinstance(value, bytes):
        return value.hex()
    name = getattr(value, "name", None)
    return name if isinstance(name, str) else value


def _info_to_json(board: Board, status: Any, interpreter: dict[str, Any] | None) -> dict[str, Any]:
    info, counters = board.info, board.counters
    return {
        "port": board.name,
        "board": {field.name: _plain(getattr(info, field.name)) for field in fields(info)},
        "interpreter": interpreter,
        "status": {field.name: _plain(getattr(status, field.name)) for field in fields(status)},
        "link": {
            field.name: value
            for field in fields(LinkCounters)
            if isinstance(value := getattr(counters, field.name), int)
        },
    }


def _print_info(board: Board, status: Any, interpreter: dict[str, Any] | None) -> None:
    info, counters = board.info, board.counters

    def name_lines(signals: tuple[Signal, ...]) -> str:
        return ", ".join(signal.name for signal in signals if info.has(signal))

    def ticks(value: int) -> str:
        return format_duration(info.to_seconds(value))

    dark = [
        one.name for one in SignalKind.BEAM.signals if status.beams_dark >> (one.number - 1) & 1
    ]
    print_pairs(
        (
            ("board", f"{info.name}, {info.unique_id.hex()}"),
            ("port", board.name),
            ("firmware", f"{info.firmware}, protocol {info.protocol}, definition {info.definition.hex()}"),
            ("interpreter", f"MicroPython {interpreter['version']} on {interpreter['machine']}" if interpreter else ""),
            ("timing", f"{info.timing.label}: {info.timing.meaning}"),
            ("clock", f"{info.clock_hz / 1e6:g} MHz, edges timed to {ticks(info.stamp_ticks)}"),
            ("outputs", name_lines(OUTPUTS)),
            ("inputs", name_lines(INPUTS)),
            ("", ""),
            ("rows", f"at most {info.rows_max} in a table; earliest {ticks(info.earliest_ticks)} after the release, "
                     f"{ticks(info.earliest_beam_ticks)} after a beam's edge"),
            ("valves", f"open at most {format_duration(info.valve_max_us * 1e-6)}, and {info.duty_percent} % of any "
                       f"{format_duration(info.duty_window_ms * 1e-3)}; closed at least "
                       f"{format_duration(info.valve_gap_us * 1e-6)}; rinse at most "
                       f"{format_duration(info.rinse_max_ms * 1e-3)}"),
            ("flashes", f"contact closed at most {format_duration(info.flash_max_us * 1e-6)}, open at least "
                        f"{format_duration(info.flash_gap_us * 1e-6)}"),
            ("camera", f"contact closed at most {format_duration(info.camera_max_ms * 1e-3)}"),
            ("window", f"at most {format_duration(info.window_max_ms * 1e-3)} for the beam"),
            ("state", f"{status.state.label} ({status.cause.label}), {status.activity.label} under way"
                      if status.activity.name != "none" else f"{status.state.label} ({status.cause.label})"),
            ("table", f"{status.table.label} {status.digest.hex() if any(status.digest) else ''}".strip()),
            ("beams", f"{' and '.join(dark)} dark" if dark else "clear"),
            ("running", f"{format_duration(status.uptime_ms * 1e-3)}, last release {status.last_release}, "
                        f"boot {info.boot_id:08x}"),
            ("reports", f"{status.reports_kept} not yet fetched, {status.reports_forgotten} forgotten "
                        f"({status.shots_forgotten} shots)"),
            ("frames", f"board: {status.frames_good} good, {status.frames_bad} bad; host: {counters.frames_good} good, "
                       f"{sum(counters.frames_bad.values())} bad, {counters.retransmissions} sent again"),
        )
    )  # fmt: skip
