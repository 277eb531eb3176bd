"""`beamfall rig`: what a rig file may hold."""

from __future__ import annotations

import typer

from beamfall.cli.output import print_json, print_table
from beamfall.errors import UserError
from beamfall.setup.rig_keys import find_table, list_all_keys
from beamfall.setup.rig_sections import TABLES

app = typer.Typer(
    help="Rig files: every key, its range and its default.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"]},
)


@app.callback()
def _rig() -> None:
    """Rig files: every key, its range and its default."""


@app.command("keys")
def show_keys(
    table: str | None = typer.Argument(None, metavar="[TABLE]", help="One table, such as valve."),
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
