"""How commands print: tables for people on a terminal, plain aligned text into a file or a pipe.

Text from outside (names, notes, files) is shown safely: it cannot control the terminal; see `beamfall.text`.
"""

from __future__ import annotations

import shlex
import sys
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from typing import Any

from beamfall.text import measure_width, show_json, show_text


def say_command(*words: object) -> str:
    """A command to type, with quotes where a shell needs them."""
    return show_text(shlex.join(("beamfall", *map(str, words))))


def print_table(
    columns: Sequence[str], rows: Iterable[Sequence[str]], *, numeric: Sequence[str] = ()
) -> None:
    """Print a table; `numeric` names the right-aligned columns."""
    content = [tuple(show_text(cell) for cell in row) for row in rows]
    if sys.stdout.isatty():
        _print_rich(columns, content, numeric)
        return
    widths = [
        max(measure_width(cell) for cell in (column, *(row[index] for row in content)))
        for index, column in enumerate(columns)
    ]
    for line in (tuple(columns), *content):
        cells = (
            _fill(cell, width) + cell if column in numeric else cell + _fill(cell, width)
            for cell, width, column in zip(line, widths, columns, strict=True)
        )
        print("  ".join(cells).rstrip())


def _fill(cell: str, width: int) -> str:
    return " " * (width - measure_width(cell))


def print_pairs(pairs: Iterable[tuple[str, str]]) -> None:
    """Print names and values, one pair per line, with the values aligned."""
    content = [pair for pair in pairs if pair[1]]
    width = max((len(name) for name, _ in content), default=0)
    for name, value in content:
        print(f"{name.ljust(width)}  {show_text(value)}")


def tell_step(text: str) -> None:
    """Print a step of something that takes a while, at once."""
    print(f"  {text}", flush=True)


def print_json(value: Any) -> None:
    """Print one JSON object on one line."""
    print(show_json(value), flush=True)


def _print_rich(
    columns: Sequence[str], rows: Sequence[Sequence[str]], numeric: Sequence[str]
) -> None:
    from rich import box
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    for column in columns:
        table.add_column(column, justify="right" if column in numeric else "left")
    for row in rows:
        table.add_row(*(Text(cell) for cell in row))
    Console().print(table)


def say_time(micros: int) -> str:
    """A time in microseconds since 1970, as local date and time."""
    return datetime.fromtimestamp(micros / 1e6, UTC).astimezone().strftime("%Y-%m-%d %H:%M:%S")
