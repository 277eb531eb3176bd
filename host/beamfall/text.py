"""Makes text from outside (boards, files, notes, pictures) safe for a terminal, CSV, JSON, TOML and file names.

Such text could move the cursor or change colours (control characters), show letters in another order than they are
stored (bidirectional characters), or run as a formula in a spreadsheet. Here it is shown instead of obeyed. At the end
are the small words that many messages share: counts and lists.
"""

from __future__ import annotations

import html
import json
import re
import unicodedata
from collections.abc import Sequence
from typing import Any

_JOINERS = "\u200c\u200d"  # Persian words and emoji need these, and they do no harm
_CONTROL_PICTURES = 0x2400  # Unicode's symbols for the control characters: ESC is shown as ␛
_FORMULA = re.compile(r"^(?=\s*[=+\-@\uff0b\uff0d\uff1d\uff20])|^(?=[\t\r])", re.MULTILINE)
_ODD = re.compile("[^ -~]")  # quick to skip: every other character is shown as it is
_NAME_MOST = 80


def show_text(text: object, *, keep_lines: bool = False) -> str:
    """Return text for a terminal or a page: active characters are shown as a symbol or as <U+202E>.

    With `keep_lines` line feeds stay; without, they are shown as well, so that text stays on its line. Bytes of a
    name that are not UTF-8 are shown too.
    """
    plain = str(text)
    if plain.isprintable():  # then _show changes none of its characters
        return plain
    lines = plain.split("\n") if keep_lines else (plain,)
    return "\n".join(_ODD.sub(lambda found: _show(found[0]), line) for line in lines)


def _show(character: str) -> str:
    code = ord(character)
    if code < 0x20:
        return chr(_CONTROL_PICTURES + code)
    if code == 0x7F:
        return "\u2421"
    category = unicodedata.category(character)
    if category in ("Cc", "Cs", "Zl", "Zp") or (category == "Cf" and character not in _JOINERS):
        return f"<U+{code:04X}>"
    return character


def show_html(text: object) -> str:
    """Return text for a page, without markup or characters that reorder or hide the text beside it."""
    return html.escape(show_text(text, keep_lines=True))


def measure_width(text: str) -> int:
    """Return the text's width in terminal columns: East Asian letters take two, accents none."""
    if text.isascii():
        return len(text)
    return sum(
        0 if unicodedata.combining(one) or one in _JOINERS
        else 2 if unicodedata.east_asian_width(one) in "WF" else 1
        for one in text
    )  # fmt: skip


def show_cell(text: str) -> str:
    """Return text for a CSV cell: no spreadsheet runs it as a formula, and it cannot control a terminal.

    A line that starts like a formula gets an apostrophe before it ('common practice': OWASP, CSV Injection).
    """
    return show_text(_FORMULA.sub("'", text), keep_lines=True)


def show_json(value: Any, *, indent: int | None = None, spaced: bool = True) -> str:
    """Return JSON with the same value: letters stay, control and bidirectional characters are escaped."""
    separators = (", " if spaced and indent is None else ",", ": " if spaced else ":")
    text = json.dumps(value, ensure_ascii=False, separators=separators, indent=indent)
    if text.isascii() and "\x7f" not in text:
        return text
    return "".join(one if one == "\n" or _show(one) == one else _escape(one) for one in text)


def _escape(character: str) -> str:
    return json.dumps(character)[1:-1]


def show_toml(text: str) -> str:
    """Return a TOML text with the same values: in its basic strings active characters are escaped."""
    return _ODD.sub(lambda found: _escape_in_toml(found[0]), text)


def _escape_in_toml(character: str) -> str:
    is_plain = character == "\n" or _show(character) == character
    return character if is_plain else f"\\U{ord(character):08X}"


def make_file_name(text: str, *, otherwise: str = "unnamed") -> str:
    """Return text as a file name for every system: no separators, no control characters, no `..`."""
    shown = "".join(one if _show(one) == one else "_" for one in text)
    name = re.sub(r'[<>:"/\\|?*\s]+', "-", shown).strip("-. ")
    while len(name.encode("utf-8")) > _NAME_MOST:
        name = name[:-1]
    if re.fullmatch(r"(?i)(con|prn|aux|nul|com\d|lpt\d)(\..*)?", name):  # device names on Windows
        name = f"_{name}"
    return name or otherwise


def say_count(number: int, noun: str) -> str:
    """Return a number with its noun: `1 shot`, `3 shots`."""
    return f"1 {noun}" if number == 1 else f"{number} {noun}s"


def list_words(words: Sequence[object], last: str = "and") -> str:
    """Return `a, b and c`."""
    *most, end = map(str, words)
    return f"{', '.join(most)} {last} {end}" if most else end


def list_first(words: Sequence[object], most: int) -> str:
    """Return `a, b and 3 more`: at most so many, and how many there are besides."""
    more = len(words) - most
    return ", ".join(map(str, words[:most])) + (f" and {more} more" if more > 0 else "")
