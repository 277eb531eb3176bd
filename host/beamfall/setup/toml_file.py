"""Reads a user's TOML file: one clear message for whatever is wrong with its text."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

from beamfall.setup.units import quote

SIZE_MOST = 256 << 10  # bytes; a large rig file has some thousand
# Python's reader takes time by the square of a key's parts: some seconds for 20,000, and no file of ours has over 3.
_PART = r"""(?:[\w-]++|"[^"\n]*+"|'[^'\n]*+')"""
_DEEP = re.compile(rf"(?<![\w-]){_PART}(?:[ \t]*+\.[ \t]*+{_PART}){{40}}")
_PLACE = re.compile(r"\(at line (\d+), column (\d+)\)")
_DECIMAL_COMMA = re.compile(r"=\s*[+-]?\d+,\d+\s*(?:#.*)?$")
_BARE_QUANTITY = re.compile(r"=\s*([+-]?\d[\d.,]*\s*[^\W\d_][^\s#]*)\s*(?:#.*)?$")


def read_toml(
    file: Path, noun: str, error: type[Exception], *, missing: str = ""
) -> dict[str, Any]:
    """Return the content of a TOML file.

    `noun` is what the file should be, such as "rig file"; `missing` is the cure for a file that is
    not there. Raises `error` with a message that names file, line and cure.
    """
    try:
        with file.open("rb") as stream:
            content = stream.read(SIZE_MOST + 1)
        text = content.decode("utf-8") if len(content) <= SIZE_MOST else ""
    except FileNotFoundError as problem:
        cure = f"; {missing}" if missing else ""
        raise error(f"{file}: there is no such {noun}{cure}") from problem
    except UnicodeDecodeError as problem:
        raise error(
            f"{file}: cannot be read: it is not text in UTF-8; save it as UTF-8"
        ) from problem
    except OSError as problem:
        raise error(f"{file}: cannot be read: {problem.strerror or problem}") from problem
    if len(content) > SIZE_MOST:
        raise error(f"{file}: over {SIZE_MOST >> 10} kB: this is not a {noun}; give another file")
    return parse_toml(text, str(file), noun, error)


def parse_toml(text: str, source: str, noun: str, error: type[Exception]) -> dict[str, Any]:
    """Return the content of a TOML text; `source` names it in messages. Raises `error` as `read_toml` does."""
    try:
        if _DEEP.search(text):
            raise RecursionError
        return tomllib.loads(text.replace("\r\n", "\n"))
    except tomllib.TOMLDecodeError as problem:
        raise error(f"{source}: {_explain(text.splitlines(), problem)}") from problem
    except ValueError as problem:  # Python reads no whole number of more than some thousand figures
        raise error(
            f"{source}: a number in it has too many digits; write it shorter, or as text in quotes"
        ) from problem
    except RecursionError as problem:
        raise error(
            f"{source}: tables or lists are nested too deeply; a {noun} needs two levels"
        ) from problem


def _explain(lines: list[str], problem: tomllib.TOMLDecodeError) -> str:
    """What is wrong with the line where the parser stopped, and the cure."""
    place = _PLACE.search(str(problem))
    if place is None:
        return _explain_end(lines)
    number, column = int(place[1]), int(place[2])
    line = lines[number - 1]
    where = f"line {number}: {quote(line.strip())}"
    if _DECIMAL_COMMA.search(line):
        return (
            f"{where}: TOML writes decimals with a point: {quote(line.replace(',', '.').strip())}"
        )
    bare = _BARE_QUANTITY.search(line)
    if bare is not None:
        key = line[: bare.start()].strip()
        return f'{where}: put a quantity in quotes: {key} = "{bare[1]}"'
    reason = str(problem)[: place.start()].strip()
    if reason.startswith(("Cannot overwrite", "Cannot declare", "Cannot mutate")):
        part = "table" if line.lstrip().startswith("[") else "key"
        more = "; further tables of one kind all begin with [[...]]" if part == "table" else ""
        return f"{where}: this {part} has been given before: keep one of the two{more}"
    before = line[: column - 1].rstrip()
    after = f", after {quote(before[-20:])}" if before else ""
    cure = (
        "close it on the same line, with a comma between its entries"
        if "nclosed" in reason
        else "check for a missing quote, comma or bracket"
    )
    return f"{where}: not TOML at column {column}{after}: {reason}; {cure}"


def _explain_end(lines: list[str]) -> str:
    """The text ended too early: name the first line with an unmatched quote."""
    for number, line in enumerate(lines, 1):
        if any(line.count(mark) % 2 for mark in "\"'"):
            return f"line {number}: {quote(line.strip())}: close the quote on the same line"
    return "not TOML: the file ends too early; check for a quote or bracket that is not closed"
