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
    "shoot": Entry(
        "beamfall.cli.shoot",
        "shoot",
        "Fire shots: plan the rig's collision, upload it, release, and record every edge.",
    ),
    "drip": Entry(
        "beamfall.cli.service",
        "drip",
        "Let one single drop fall and report what the beam saw of it.",
    ),
    "rinse": Entry(
        "beamfall.cli.service",
        "rinse",
        "Hold a valve open to fill or rinse it. Put a container under it first.",
    ),
    "flash": Entry(
        "beamfall.cli.service",
        "flash",
        "Fire a flash once. Warn people first: flashes can trigger photosensitive epilepsy.",
    ),
    "check": Entry(
        "beamfall.cli.check",
        "check",
        "Find out why nothing flashes, or what else is wrong.",
    ),
    "beam": Entry(
        "beamfall.cli.beam",
        "beam",
        "Show a beam live: clear or dark, how long it was dark, how often. Beeps at each darkening.",
    ),
    "plan": Entry(
        "beamfall.cli.plan",
        "plan",
        "Plan a shot: each time with the interval in which 90 % of rigs like this one would lie.",
    ),
    "seek": Entry(
        "beamfall.cli.seek",
        "seek",
        "Find the collision: after each shot, say what the picture shows; the next one comes closer.",
    ),
    "sweep": Entry(
        "beamfall.cli.sweep",
        "sweep",
        "Fire a series in which one timing moves, and end with a table: which shot, value, photograph.",
    ),
    "calibrate": Entry(
        "beamfall.cli.calibrate",
        "calibrate",
        "Find latency, distance, speed and drop diameter from beam edges, with their errors.",
    ),
    "report": Entry(
        "beamfall.cli.report",
        "report",
        "Write a report of a series: timeline, scatter, control charts, sweep, photographs, all shots.",
    ),
    "repeatability": Entry(
        "beamfall.cli.repeatability",
        "repeatability",
        "Say how repeatable a series was, in µs and in millimetres of the scene, and what drifts.",
    ),
    "ports": Entry(
        "beamfall.cli.ports",
        "show_ports",
        "List serial ports and simulated ones. Opens none of them and sends nothing.",
    ),
    "page": Entry(
        "beamfall.cli.page",
        "page",
        "Serve the bench page: live state, plan, release, sweep, seek, check, and the shot log.",
    ),
    "learned": Entry(
        "beamfall.cli.learned",
        "app",
        "What seeking and calibrating have shown of a rig: see it, undo it, reset it.",
    ),
    "board": Entry(
        "beamfall.cli.board",
        "app",
        "The board itself: firmware, state, timing, slots.",
    ),
    "rig": Entry(
        "beamfall.cli.rig",
        "app",
        "Rig files: what hangs above the dish.",
    ),
    "sequence": Entry(
        "beamfall.cli.sequence",
        "app",
        "Sequence files: what each output does, and when.",
    ),
    "shots": Entry(
        "beamfall.cli.shots",
        "app",
        "The shot log.",
    ),
}

app = typer.Typer(
    name="beamfall",
    cls=make_group(COMMANDS),
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
