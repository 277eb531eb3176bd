"""The commands, put together. A new command is a file here and one line below."""

from __future__ import annotations

import typer

from beamfall import __version__
from beamfall.cli import (
    beam,
    board,
    calibrate,
    check,
    page,
    plan,
    ports,
    repeatability,
    report,
    seek,
    sequence,
    service,
    shoot,
    shots,
    sweep,
)

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
    version: bool = typer.Option(
        False, "--version", help="Show the version.", callback=_show_version, is_eager=True
    ),
) -> None:
    """Drop controller: release drops, fire the flash by the beam, keep what was measured."""


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
app.command("report")(report.report)
app.command("repeatability")(repeatability.repeatability)
app.command("ports")(ports.show_ports)
app.add_typer(board.app, name="board")
app.command("page")(page.page)
app.add_typer(sequence.app, name="sequence")
app.add_typer(shots.app, name="shots")
