"""`beamfall rig`: make a rig file, check one, and see what it may hold."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import typer

from beamfall.cli.loading import make_app
from beamfall.cli.options import JSON_ONE
from beamfall.cli.output import print_json, print_table
from beamfall.cli.rig_guide import run_guide
from beamfall.errors import UserError
from beamfall.guide.remarks import check_file
from beamfall.setup.rig_tables import TABLES, find_table, list_all_keys
from beamfall.text import show_text

app = make_app("Rig files: make one step by step, check one, list all keys.")


@app.command("new")
def make_rig(
    file: Path = typer.Argument(..., help="The rig file to write, such as my_rig.toml."),
    answers: list[str] = typer.Option(
        [],
        "--set",
        metavar="KEY=TEXT",
        help="Answer a question beforehand, such as valve[1].height='60 cm'.",
    ),
    accept: bool = typer.Option(
        False, "--accept", help="Accept the suggestion for every remaining question."
    ),
    replace: bool = typer.Option(False, "--replace", help="Replace a file that exists."),
) -> None:
    """Make a rig file by answering one question at a time.

    Enter takes the suggestion in brackets. 'back' returns to the question before, '?' shows what to measure.
    Ctrl-C stops; the same command resumes where you were.
    """
    run_guide(file, answers, accept=accept, replace=replace)


@app.command("check")
def check_rig(
    file: Path = typer.Argument(..., help="The rig file (TOML)."), as_json: bool = JSON_ONE
) -> None:
    """Check a rig file for what is wrong, missing or doubtful.

    Each remark names the line and the cure. Exit status 2 if something is wrong, else 0.
    """
    doubts = check_file(file)
    if as_json:
        print_json({"doubts": [_to_json(doubt) for doubt in doubts]})
    else:
        for doubt in doubts:
            place = f"line {doubt.line}, " if doubt.line else ""
            kind = "wrong" if doubt.wrong else "doubtful"
            print(show_text(f"{kind}  {place}{_name_once(doubt)}", keep_lines=True))
        if not doubts:
            print(f"{show_text(file)}: nothing is missing or doubtful.")
    if any(doubt.wrong for doubt in doubts):
        raise typer.Exit(2)


def _name_once(doubt: Any) -> str:
    """The key and what is said of it; a text that begins with the key does not repeat it."""
    key, text = doubt.key or "", doubt.text
    bare = re.sub(r"\[\d+\]", "", key)
    for start in (key, bare):
        if start and text.startswith(start):
            return f"{key}{text[len(start) :]}"
    return f"{key}: {text}" if key else text


def _to_json(doubt: Any) -> dict[str, Any]:
    return {"key": doubt.key, "line": doubt.line or None, "text": doubt.text, "wrong": doubt.wrong}


@app.command("keys")
def show_keys(
    table: str | None = typer.Argument(None, metavar="TABLE", help="One table, such as valve."),
    as_json: bool = typer.Option(False, "--json", help="One JSON object; limits in SI units."),
) -> None:
    """List each key: meaning, range and default."""
    if table is not None and find_table(table) is None:
        known = ", ".join(one.name for one in TABLES)
        raise UserError(f"A rig file has no table '{table}'. Its tables are {known}.")
    keys = [key for key in list_all_keys() if table in (None, key.table)]
    if as_json:
        print_json({"keys": [key.to_json() for key in keys]})
        return
    for name in dict.fromkeys(key.table for key in keys):
        found = find_table(name)
        if found is None:
            print("At the top of the file")
        else:
            print(f"\n{f'[[{name}]]' if found.many else f'[{name}]'}  {found.meaning}")
        print_table(
            ("key", "default", "meaning", "allowed"),
            [
                (
                    key.key,
                    "required" if key.needed else key.default or "none",
                    key.meaning,
                    key.expected,
                )
                for key in keys
                if key.table == name
            ],
        )
    print(
        '\nWrite quantities as text with a unit: height = "62 cm". Numbers without a unit need no quotes.'
    )
