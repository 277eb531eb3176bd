"""Every command with its options, from the commands themselves, as a page of the handbook."""

from __future__ import annotations

import inspect
from collections.abc import Iterator
from importlib import import_module
from typing import Any

from typer.models import ArgumentInfo, OptionInfo

from beamfall.cli.app import app


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
        yield from _list_below(
            f"{title} {name}".strip(), getattr(import_module(entry.module), entry.name)
        )
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
