"""The commands, put together. A new command is a file here and one line below."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from pathlib import Path

import typer

from beamfall import __version__
from beamfall.cli import (
    beam,
    board,
    calibrate,
    check,
    learned,
    page,
    plan,
    ports,
    repeatability,
    report,
    rig,
    seek,
    sequence,
    service,
    shoot,
    shots,
    sweep,
)
from beamfall.places import TRACE_VARIABLE, VERBOSE_VARIABLE

app = typer.Typer(
    name="beamfall",
    help="Drop controller: release drops, fire the flash by the beam, keep what was measured.",
    no_args_is_help=True,
    epilog="Exit status: 0 done, 1 a failure, 2 a mistake in what was given. Ctrl-C (130), SIGTERM (143) and a closed "
    "terminal (129) put all outputs off and keep the log true.",
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,  # rich would double the time that --help takes
    context_settings={"help_option_names": ["-h", "--help"]},
)


def _show_version(wanted: bool) -> None:
    if wanted:
        print(f"beamfall {__version__}")
        raise typer.Exit


@app.callback()
def _start(
    context: typer.Context,
    version: bool = typer.Option(
        False, "--version", help="Show the version.", callback=_show_version, is_eager=True
    ),
    verbose: bool = typer.Option(
        False, "--verbose", help="Print each message to and from the board, with its time."
    ),
    trace: Path | None = typer.Option(
        None,
        "--trace",
        metavar="FILE",
        help="Write what goes over the port to FILE (pcapng; protocol/beamfall.lua reads it in Wireshark). "
        "Give it before the command: beamfall --trace t.pcapng shoot",
    ),
) -> None:
    """Drop controller: release drops, fire the flash by the beam, keep what was measured."""
    asked = {VERBOSE_VARIABLE: "1" if verbose else "", TRACE_VARIABLE: str(trace or "")}
    before = dict(os.environ)
    os.environ.update({name: value for name, value in asked.items() if value})
    context.call_on_close(lambda: _restore(before, asked))


def _restore(before: Mapping[str, str], names: Iterable[str]) -> None:
    """A program that runs several commands traces only those that asked for it."""
    for name in names:
        if name in before:
            os.environ[name] = before[name]
        else:
            os.environ.pop(name, None)


app.command("shoot")(shoot.shoot)
app.command("drip")(service.drip)
app.command("rinse")(service.rinse)
app.command("flash")(service.flash)
app.command("check")(check.check)
app.command("beam")(beam.beam)
app.command("plan")(plan.plan)
app.command("seek")(seek.seek)
app.command("sweep")(sweep.sweep)
app.command("calibrate")(calibrate.calibrate)
app.add_typer(learned.app, name="learned")
app.command("report")(report.report)
app.command("repeatability")(repeatability.repeatability)
app.command("ports")(ports.show_ports)
app.add_typer(board.app, name="board")
app.command("page")(page.page)
app.add_typer(rig.app, name="rig")
app.add_typer(sequence.app, name="sequence")
app.add_typer(shots.app, name="shots")
