"""A group of commands that imports a command's module only when that command runs.

`beamfall --help` needs names and first lines, which stand in a table; everything else stays unloaded.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from importlib import import_module
from typing import Any, NamedTuple

import typer
from typer.core import TyperCommand, TyperGroup


class Entry(NamedTuple):
    """Where a command is: the module here, the function or `typer.Typer` in it, and the first line of its help."""

    module: str
    name: str
    help: str

    def find(self) -> Any:
        return getattr(import_module(f"{__package__}.{self.module}"), self.name)


def make_group(entries: Mapping[str, Entry]) -> type[TyperGroup]:
    """Return a class of groups, for `typer.Typer(cls=...)`, with these commands in this order."""

    class LazyGroup(TyperGroup):
        commands_by_name = entries

        def __init__(self, **attributes: Any) -> None:
            super().__init__(**attributes)
            for name, entry in entries.items():
                self.commands[name] = TyperCommand(name, help=entry.help, rich_markup_mode=None)

        def get_command(self, ctx: Any, cmd_name: str) -> Any:
            entry = entries.get(cmd_name)
            return super().get_command(ctx, cmd_name) if entry is None else load(cmd_name, entry)

        def format_commands(self, ctx: Any, formatter: Any) -> None:
            listed = TyperGroup(name=self.name, commands=dict(self.commands), rich_markup_mode=None)
            listed.format_commands(ctx, formatter)

    return LazyGroup


def make_app(
    help_text: str | None = None, entries: Mapping[str, Entry] | None = None
) -> typer.Typer:
    """An app whose help is plain text, with -h; with `help_text` a group, even of one command.

    `entries`: commands that are loaded when they run.
    """
    app = typer.Typer(
        cls=None if entries is None else make_group(entries),
        help=help_text,
        no_args_is_help=help_text is not None,
        add_completion=False,
        rich_markup_mode=None,
        context_settings={"help_option_names": ["-h", "--help"]},
    )
    if help_text is not None:
        app.callback(help=help_text)(lambda: None)
    return app


@cache
def load(name: str, entry: Entry) -> Any:
    """Import a command's module and return the command; once in a process, since Typer takes its time."""
    found = entry.find()
    if not isinstance(found, typer.Typer):
        alone = make_app()
        alone.command(name)(found)
        found = alone
    command = typer.main.get_command(found)
    command.name = name
    return command
