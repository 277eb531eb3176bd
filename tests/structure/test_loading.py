"""A command's module is loaded when the command runs, not before."""

from __future__ import annotations

import subprocess
import sys

import pytest
import typer

from beamfall.cli.app import COMMANDS, app
from beamfall.cli.loading import load


def test_help_loads_no_command() -> None:
    code = (
        "import sys; from beamfall.cli import main; main(['--help'])\n"
        f"loaded = set(sys.modules) & { ({entry.module for entry in COMMANDS.values()})!r}\n"
        "sys.exit(f'loaded: {loaded}' if loaded else 0)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr


@pytest.mark.parametrize("name", COMMANDS)
def test_the_table_says_what_the_command_says(name: str) -> None:
    said = load(name, COMMANDS[name]).help.split("\n\n")[0].replace("\n", " ")
    assert said == COMMANDS[name].help


def test_help_lists_every_command_in_the_order_of_the_table() -> None:
    assert list(typer.main.get_command(app).commands) == list(COMMANDS)


def test_nothing_loads_before_the_program_takes_care_of_ctrl_c() -> None:
    code = "import sys; before = set(sys.modules); import beamfall; print(sorted(set(sys.modules) - before))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.stdout.strip() == "['beamfall']", done.stderr
