"""Writes tables as CSV and Markdown, and compares two texts with a tolerance on the numbers in them."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping, Sequence

_NUMBER = re.compile(r"(?<![\w.])-?\d+(?:\.\d+)?(?:e[-+]?\d+)?(?![\w])")


def format_cell(value: str | float) -> str:
    """A number with four significant digits, whole where that is enough; text as it is."""
    if isinstance(value, str):
        return value
    if value == int(value) and abs(value) < 1e6:
        return str(int(value))
    return f"{value:.4g}" if abs(value) < 1000 else f"{value:.0f}"


def to_csv(rows: Sequence[Mapping[str, str | float]]) -> str:
    """CSV with the first row's keys as header; a key missing in a row is an empty cell."""
    out = io.StringIO()
    writer = csv.DictWriter(out, fieldnames=list(rows[0]), lineterminator="\n", restval="")
    writer.writeheader()
    for row in rows:
        writer.writerow({key: format_cell(value) for key, value in row.items()})
    return out.getvalue()


def to_markdown(rows: Sequence[Mapping[str, str | float]]) -> str:
    """A Markdown table with the first row's keys as header."""
    keys = list(rows[0])
    lines = ["| " + " | ".join(keys) + " |", "|" + " --- |" * len(keys)]
    for row in rows:
        lines.append("| " + " | ".join(format_cell(row.get(key, "")) for key in keys) + " |")
    return "\n".join(lines) + "\n"


def first_difference(old: str, new: str, tolerance: float = 0.0) -> str | None:
    """None when the texts agree, else what differs first. Numbers may differ by this fraction (and by 1e-6)."""
    old_lines, new_lines = old.splitlines(), new.splitlines()
    for n, (left, right) in enumerate(zip(old_lines, new_lines, strict=False), start=1):
        if left == right:
            continue
        if not tolerance or _NUMBER.sub("#", left) != _NUMBER.sub("#", right):
            return f"line {n}: {left!r} is now {right!r}"
        pairs = zip(_NUMBER.findall(left), _NUMBER.findall(right), strict=True)
        for before, now in ((float(a), float(b)) for a, b in pairs):
            if abs(before - now) > tolerance * max(abs(before), abs(now)) + 1e-6:
                return f"line {n}: {before} is now {now}"
    if len(old_lines) != len(new_lines):
        return f"{len(old_lines)} lines are now {len(new_lines)}"
    return None
