"""`beamfall help`: the handbook in the terminal, and every command as one of its pages."""

from __future__ import annotations

import inspect
import re
import sys
from collections.abc import Iterator
from typing import Any

import typer
from typer.models import ArgumentInfo, OptionInfo

from beamfall.cli.app import app
from beamfall.guide.drawing import draw_characters
from beamfall.handbook import (
    COMMANDS,
    DRAWINGS,
    FOLDER,
    MADE,
    PICTURES,
    TOPICS,
    find_title,
    read_topic,
)


def show_help(
    topic: str | None = typer.Argument(
        None, metavar="TOPIC", help="A page, such as beam or liquids."
    ),
) -> None:
    """Read the handbook: step-by-step guides, keys, commands."""
    if topic is None:
        print("Pages of the handbook:\n")
        width = max(map(len, TOPICS))
        for name in TOPICS:
            print(f"  {name.ljust(width)}  {find_title(read_topic(name))}")
        print("\n`beamfall help TOPIC` shows one; the page has them too, under Handbook.")
        return
    text = read_topic(topic)
    if not sys.stdout.isatty():
        print(text, end="")
        return
    from rich.console import Console
    from rich.markdown import Markdown

    Console().print(Markdown(_place_pictures(text)))


def _place_pictures(text: str) -> str:
    """Show drawings as characters, and pictures as links that a terminal can open."""
    for name, shows in DRAWINGS.items():
        # `re.sub` reads a backslash as the start of an escape.
        drawn = f"```text\n{draw_characters(shows)}\n```".replace("\\", "\\\\")
        text = re.sub(rf"!\[[^\]]*\]\({re.escape(name)}\)", drawn, text)
    for name in PICTURES:
        text = text.replace(f"]({name})", f"]({(FOLDER / name).as_uri()})")
    return text


def describe_commands() -> str:
    """Return the page in Markdown."""
    lines = [
        "# Commands",
        "",
        "Each has `--help`. Times and lengths are text with a unit: `'13 ms'`, `'62 cm'`.",
    ]
    for title, function in list_commands():
        lines += _describe_function(f"beamfall {title}", function)
    return "\n".join(lines) + "\n"


def list_commands() -> Iterator[tuple[str, Any]]:
    """Yield each command as it is typed, such as `board slots list`, with its function."""
    yield from _list_below("", app)


def _list_below(title: str, found: Any) -> Iterator[tuple[str, Any]]:
    if inspect.isfunction(found):
        yield title, found
        return
    for name, entry in getattr(found.info.cls, "commands_by_name", {}).items():
        yield from _list_below(f"{title} {name}".strip(), entry.find())
    for command in found.registered_commands:
        yield f"{title} {command.name}", command.callback
    for group in found.registered_groups:
        name = group.name or group.typer_instance.info.name
        yield from _list_below(f"{title} {name}", group.typer_instance)


def _describe_function(title: str, function: Any) -> Iterator[str]:
    words = (
        inspect.cleandoc(function.__doc__ or "")
        .replace("\n\n", "\0")
        .replace("\n", " ")
        .replace("\0", "\n\n")
    )
    arguments, options = [], []
    for name, parameter in inspect.signature(function).parameters.items():
        kind = parameter.default
        if isinstance(kind, ArgumentInfo):
            shown = kind.metavar or f"{{{name}}}"
            arguments.append(f"[{shown}]" if kind.default is None else shown)
        elif isinstance(kind, OptionInfo):
            flags = ", ".join(
                f"`{flag}`" for flag in kind.param_decls or (f"--{name.replace('_', '-')}",)
            )
            options.append(f"- {flags}: {kind.help}")
    yield from ("", f"## {' '.join([title, *arguments])}", "", words)
    if options:
        yield from ("", *options)


MADE[COMMANDS] = describe_commands
