"""`beamfall board test`: our checks of a board, also from an installed package."""

from __future__ import annotations

import os
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path

import typer

from beamfall.cli.targets import check_target
from beamfall.errors import MissingExtra, UserError
from beamfall.ports import brings_rig
from beamfall.resources import find_folder
from beamfall.text import show_text

CHECKS = "tests/board"
ANY_BOARD = "test_back_to_back.py"
WITH_DOUBLE = "test_bench_double.py"
PLUGIN = "beamfall.board_tools.check_plugin"
_NO_CHECKS = 5  # pytest's exit status when it has run none


def check_board(
    port: str | None = typer.Option(
        None, help="Port of the board; default: a simulated board and its simulated double."
    ),
    double: str | None = typer.Option(
        None, help="Port of the bench double that is wired to the board."
    ),
    html: Path | None = typer.Option(None, help="Write a report as HTML."),
    junit: Path | None = typer.Option(None, help="Write a report as JUnit XML."),
    yes: bool = typer.Option(
        False, "--yes", help="Do not ask whether valves and flashes are disconnected."
    ),
) -> int:
    """Test a board; with a bench double, also its timing.

    It tests the wire, tables, shots, slots and aborts. First disconnect valves, flashes and camera:
    their outputs pulse many times.
    """
    if find_spec("pytest") is None:
        raise MissingExtra(
            "testing a board needs the library pytest, which is missing; install it with: pip install 'beamfall[check]'"
        )
    if double is not None and port is None:
        raise UserError("--double needs --port, the port of the board it is wired to")
    check_target(html, "--html", (".html",))
    check_target(junit, "--junit", (".xml",))
    real = port is not None and not brings_rig(port)
    if (
        real
        and not yes
        and not typer.confirm(
            "Valve, flash and camera outputs will pulse many times. Are valves, flashes and camera disconnected?"
        )
    ):
        raise typer.Exit(1)
    folder = find_folder(CHECKS)
    arguments = f"-q -p {PLUGIN} -p no:cacheprovider --import-mode=importlib --noconftest".split()
    arguments += ["-c", os.devnull, "--rootdir", str(folder), "--confcutdir", str(folder)]
    for name, value in (
        ("--port", port),
        ("--double", double),
        ("--board-html", html),
        ("--junitxml", junit),
    ):
        if value is not None:
            arguments += [name, str(Path(value).resolve() if isinstance(value, Path) else value)]
    checks = [ANY_BOARD] if port is not None and double is None else [ANY_BOARD, WITH_DOUBLE]
    options = os.environ.pop("PYTEST_ADDOPTS", None)  # they belong to some other run
    try:
        status = int(
            import_module("pytest").main([*arguments, *(str(folder / one) for one in checks)])
        )
    finally:
        if options is not None:
            os.environ["PYTEST_ADDOPTS"] = options
    for path in (html, junit):
        if path is not None:
            print(f"report in {show_text(path)}")
    return 1 if status == _NO_CHECKS else status
