"""A command's module is loaded when the command runs, not before."""

from __future__ import annotations

import subprocess
import sys

import pytest
import typer

from beamfall.cli import shots
from beamfall.cli.app import COMMANDS, app
from beamfall.cli.loading import Entry, load

ENTRIES = (*COMMANDS.items(), *shots.COMMANDS.items())


def test_help_loads_no_command() -> None:
    code = (
        "import sys; from beamfall.cli import main; main(['--help'])\n"
        f"loaded = set(sys.modules) & { ({f'beamfall.cli.{entry.module}' for entry in COMMANDS.values()})!r}\n"
        "sys.exit(f'loaded: {loaded}' if loaded else 0)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr


@pytest.mark.parametrize(("name", "entry"), ENTRIES, ids=[name for name, _ in ENTRIES])
def test_the_table_says_what_the_command_says(name: str, entry: Entry) -> None:
    said = load(name, entry).help.split("\n\n")[0].replace("\n", " ")
    assert said == entry.help


@pytest.mark.parametrize(("group", "table"), [(app, COMMANDS), (shots.app, shots.COMMANDS)])
def test_help_lists_every_command_in_the_order_of_the_table(
    group: typer.Typer, table: dict[str, Entry]
) -> None:
    assert list(typer.main.get_command(group).commands) == list(table)


def test_nothing_loads_before_the_program_takes_care_of_ctrl_c() -> None:
    code = "import sys; before = set(sys.modules); import beamfall; print(sorted(set(sys.modules) - before))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.stdout.strip() == "['beamfall']", done.stderr
