"""The commands, put together. A new command is a file here and one line below."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from pathlib import Path

import typer

from beamfall import __version__
from beamfall.cli.loading import Entry, make_group
from beamfall.places import TRACE_VARIABLE, VERBOSE_VARIABLE

COMMANDS = {
    "shoot": Entry("shoot", "shoot", "Plan, upload and fire shots, and log every edge."),
    "drip": Entry("service", "drip", "Release one drop and show what the beam saw."),
    "rinse": Entry(
        "service", "rinse", "Hold a valve open to fill or rinse it. Put a container under it first."
    ),
    "flash": Entry(
        "service",
        "flash",
        "Fire a flash once. Warn people first: flashes can trigger photosensitive epilepsy.",
    ),
    "check": Entry("check", "check", "Find out why nothing flashes, or what else is wrong."),
    "beam": Entry("beam", "beam", "Show a beam live, to align it. Beeps each time it goes dark."),
    "plan": Entry("plan", "plan", "Calculate the timings of a shot. Opens no port."),
    "seek": Entry("seek", "seek", "Find the picture you want: you say what each picture shows."),
    "sweep": Entry("sweep", "sweep", "Step one timing through a range, one shot per value."),
    "calibrate": Entry(
        "calibrate", "calibrate", "Measure the rig by letting drops fall through its beams."
    ),
    "report": Entry("report", "report", "Write a report of a series as a web page with charts."),
    "repeatability": Entry(
        "repeatability", "repeatability", "Show how much a series scatters and whether it drifts."
    ),
    "ports": Entry("ports", "show_ports", "List serial and simulated ports, without opening any."),
    "recipe": Entry("recipe", "app", "Recipes: save, print, share and adapt good settings."),
    "page": Entry("page", "page", "Run the whole rig from a web browser."),
    "learned": Entry("learned", "app", "See, undo or reset what seek and calibrate have learned."),
    "board": Entry("board", "app", "Install firmware; show a board's state, timing and slots."),
    "rig": Entry("rig", "app", "Rig files: make one step by step, check one, list all keys."),
    "sequence": Entry("sequence", "app", "Sequence files: check one before you fire it."),
    "help": Entry("help", "show_help", "Read the handbook: step-by-step guides, keys, commands."),
    "photos": Entry("photos", "app", "Measure pictures: drop, jet, umbrella, time since contact."),
    "shots": Entry("shots", "app", "The shot log: list, rate, export, match photographs."),
}

app = typer.Typer(
    name="beamfall",
    cls=make_group(COMMANDS),
    help="Photograph colliding drops: release them, time the flash by a light beam, log every edge.",
    invoke_without_command=True,
    epilog="Exit status: 0 success, 1 failure, 2 wrong input. Ctrl-C (130), SIGTERM (143) and a closed "
    "terminal (129) switch all outputs off and complete the log.",
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
        metavar="FILE",
        help="Record the traffic on the port in FILE (pcapng; protocol/beamfall.lua reads it in Wireshark). "
        "Give it before the command: beamfall --trace t.pcapng shoot",
    ),
) -> None:
    """Photograph colliding drops: release them, time the flash by a light beam, log every edge."""
    asked = {VERBOSE_VARIABLE: "1" if verbose else "", TRACE_VARIABLE: str(trace or "")}
    before = dict(os.environ)
    os.environ.update({name: value for name, value in asked.items() if value})
    context.call_on_close(lambda: _restore(before, asked))
    if context.invoked_subcommand is None:
        from beamfall.cli.start import offer_start  # loads the log, which no --help needs

        chosen = offer_start()
        if chosen:
            raise typer.Exit(app(args=chosen, prog_name="beamfall", standalone_mode=False) or 0)


def _restore(before: Mapping[str, str], names: Iterable[str]) -> None:
    """A program that runs several commands traces only those that asked for it."""
    for name in names:
        if name in before:
            os.environ[name] = before[name]
        else:
            os.environ.pop(name, None)
