"""`beamfall help`: the handbook in the terminal."""

from __future__ import annotations

import re
import sys

import typer

from beamfall.cli.list_commands import describe_commands
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

MADE[COMMANDS] = describe_commands


def show_help(
    topic: str | None = typer.Argument(
        None, metavar="TOPIC", help="A page, such as beam or liquids."
    ),
) -> None:
    """Read the handbook: how to do it, step by step, and every key and command."""
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
        drawn = f"```text\n{draw_characters(shows)}\n```".replace(
            "\\", "\\\\"
        )  # as `re.sub` reads it
        text = re.sub(rf"!\[[^\]]*\]\({re.escape(name)}\)", drawn, text)
    for name in PICTURES:
        text = text.replace(f"]({name})", f"]({(FOLDER / name).as_uri()})")
    return text
