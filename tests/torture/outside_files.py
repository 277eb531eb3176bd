"""The fuzz targets of files from elsewhere: rigs, sequences, recipes.

One input in, nothing out, an exception where something else happens than success or an error for people. Most inputs
edit what a file's text says after it was read as TOML, which costs less than to read it; every eighth edits the text.
"""

from __future__ import annotations

import functools
import io
import tomllib
import zipfile
from collections.abc import Callable
from datetime import date, datetime, time
from typing import Any

from hostile_line import Script
from outside_pictures import MemoryFile, fuzz_exif, fuzz_picture, fuzz_xmp, pictures

from beamfall.board import Board
from beamfall.errors import BeamfallError, RecipeError, RigFileError, SequenceError
from beamfall.planning.rows import build_warm_up
from beamfall.recipes.form import RECIPE, RIG, SEQUENCE, build_recipe, write_texts
from beamfall.recipes.package import pack_recipe, unpack_recipe
from beamfall.recipes.recipe import Recipe
from beamfall.setup.rig import EXAMPLE, Rig, example_rig, parse_rig
from beamfall.setup.sequence import Sequence
from beamfall.setup.sequence_file import parse_sequence
from beamfall.setup.toml_file import read_toml
from beamfall.text import show_text

Content = dict[str, Any]

_SEQUENCE_TEXT = """name = "two drops"
window = "1 s"
blanking = "20 ms"
[beam1]
edge = "dark"
[[row]]
output = "valve1"
delay = "101 ms"
width = "13 ms"
[[row]]
output = "valve1"
delay = "205.6 ms"
width = "13 ms"
[[row]]
anchor = "beam1"
count = 2
output = "flash1"
delay = "186 ms"
width = "2 ms"
"""
_RECIPE_TEXT = """beamfall_recipe = 1
[recipe]
name = "umbrella"
note = "invented"
rating = 4
made = "2026-05-31"
board = "generic"
[events]
kind = "collision"
drops = 2
moment = 0.5
moment_low = 0.4
moment_high = 0.6
stage = "4 ms"
stage_low = "2 ms"
stage_high = "6 ms"
[looks]
drop = "4 mm"
speed_mm_s = 3100.0
jet = "4 cm"
contact = "3 cm"
[[drop]]
valve = "valve1"
drops = 12
arrival = "0.31 s"
dwell = "4 ms"
[home]
shot = 3
rig_file = "rig.toml"
"""
_WORDS = (
    "0", "-1", "1e400", "nan", "inf", "-0.0", "true", '""', '" "', "[]", "{}", "[[]]", '"0 ms"', '"-1 ms"', '"1e99 ms"',
    '"9999999999999999999999 s"', '"1 parsec"', '"\\u001b[2J"', '"\\u202e"', '"=1+1"', '"<b>"', '"$\\\\frac$"',
    "1979-05-27",
    '"62 cm"', '"2 mm"', '"13 ms"', '"90 %"', '"beam1"', '"valve9"', '"dark"', '"water"', "2", "3.5", "255", "256",
    "9223372036854775808", '"' + "x" * 300 + '"', "'''", '"', "[" * 200, "= =", "\\", "\x00", "\ufeff", "inf inf",
    "1" * 5000, "0x" + "f" * 300, '"\\U0001F4A7"', '{ a = 1 }',
)  # fmt: skip
_NUMBERS = (
    "0",
    "-1",
    "1",
    "2.5",
    "13",
    "62",
    "1,5",
    "1.000,5",
    "1e9",
    "1e400",
    "1e-400",
    "-0",
    "nan",
    "",
)
_UNITS = (
    "",
    "m",
    "cm",
    "mm",
    "s",
    "ms",
    "us",
    "%",
    "deg",
    "degC",
    "g",
    "m/s",
    "mPa*s",
    "ohm",
    "parsec",
    "ms ms",
    "^2",
    "x",
)
_VALUES: tuple[Any, ...] = (
    0, -1, 1, 2, 3, 255, 256, 2**63, -(2**63), 10**300, 0.0, -0.0, 1.5, 1e300, float("nan"), float("inf"),
    -float("inf"),
    True, False, "", " ", "x" * 300, "\x1b[2J", "\u202e", "=1+1", "<b>", "\x00", "\ufeff", "valve1", "valve9", "beam1",
    "flash1", "dark", "light", "release", "water", "milk", "collision", "crown", "jet", "none", [], {}, [[]], [{}],
    [1, 2], {"water": 3, "milk": 1}, {"water": 0}, {"x": {}}, date(1979, 5, 27), time(7, 32),
    datetime(1979, 5, 27, 7, 32),
)  # fmt: skip


# -- edits -----------------------------------------------------------------------------------------------------
def _edit_lines(script: Script, text: str) -> bytes:
    """A text file with lines replaced, doubled, removed, exchanged, or with odd bytes in them."""
    lines = text.splitlines()
    for _ in range(1 + script.byte() % 6):
        at = script.byte() % len(lines)
        key, mark, _ = lines[at].partition("=")
        match script.byte() % 8:
            case 0:
                del lines[at]
                lines = lines or [""]
            case 1:
                lines.insert(script.byte() % len(lines), lines[at])
            case 2:
                lines[at] = script.choose(_WORDS)
            case 3:
                lines[at] = f"{script.choose(lines)}{lines[at]}"
            case 4:
                raw = script.take(script.byte() % 12)
                lines[at] += raw.decode("latin-1")
            case _:
                if mark:
                    lines[at] = f"{key}= {script.choose(_WORDS)}"
    return "\n".join(lines).encode("utf-8", "surrogateescape")


def _list_tables(content: Any) -> list[Content]:
    """All tables in what a TOML file says, the outermost first."""
    parts = content.values() if isinstance(content, dict) else content
    inside = [
        table for part in parts if isinstance(part, dict | list) for table in _list_tables(part)
    ]
    return [content, *inside] if isinstance(content, dict) else inside


def _copy(value: Any) -> Any:
    """What a TOML file says, with tables and lists of its own."""
    if isinstance(value, dict):
        return {key: _copy(one) for key, one in value.items()}
    return [_copy(one) for one in value] if isinstance(value, list) else value


def _edit_content(script: Script, plain: Content) -> Content:
    """What a file says, with values replaced, changed by a letter, removed, moved, put into lists."""
    content = _copy(plain)
    tables = _list_tables(content)
    for _ in range(1 + script.byte() % 5):
        table = script.choose(tables)
        key = script.choose(list(table)) if table else "x"
        way = script.byte() % 10
        if way == 0:
            table.pop(key, None)
        elif way == 1:
            table[script.choose(list(script.choose(tables)) or ["x"])] = table.get(key)
        elif way == 2:
            table[key + chr(script.byte())] = table.pop(key, 0)
        elif way == 3:
            table[key] = [_copy(table.get(key, {})) for _ in range(script.byte() % 5)]
        elif way == 4 and isinstance(table.get(key), str):
            text = table[key]
            at = script.byte() % (len(text) + 1)
            table[key] = text[:at] + chr(script.byte()) + text[at + script.byte() % 2 :]
        elif way < 7:
            table[key] = f"{script.choose(_NUMBERS)} {script.choose(_UNITS)}"
        else:
            table[key] = script.choose(_VALUES)
    return content


def _read_edited(
    script: Script, text: str, plain: Content, noun: str, error: type[BeamfallError]
) -> Content:
    """What an edited file says; raises `error` as reading a file does."""
    way = script.byte()
    if 0 < way < 224:
        return _edit_content(script, plain)
    content = script.rest() if way == 255 else _edit_lines(script, text)
    file: Any = MemoryFile(content, ".toml")
    return read_toml(file, noun, error)


# -- rigs and sequences ----------------------------------------------------------------------------------------
@functools.cache
def _rig_text() -> str:
    return "\n".join(
        line
        for line in EXAMPLE.read_text("utf-8").splitlines()
        if line and not line.startswith("#")
    )


@functools.cache
def _parse(text: str) -> Content:
    return tomllib.loads(text)


def fuzz_rig(data: bytes) -> None:
    """A rig file loads, and what it says can be planned with, or RigFileError says what is wrong."""
    text = _rig_text()
    try:
        rig = parse_rig(
            _read_edited(Script(data), text, _parse(text), "rig file", RigFileError), "fuzz.toml"
        )
    except RigFileError as error:
        show_text(str(error))
        return
    try:
        build_warm_up(rig, 2)
    except BeamfallError as error:
        show_text(str(error))


def fuzz_sequence(data: bytes) -> None:
    """A sequence file gives a table or a SequenceError."""
    text = _SEQUENCE_TEXT
    try:
        content = _read_edited(Script(data), text, _parse(text), "sequence file", SequenceError)
        parse_sequence(content, "fuzz.toml").make_table(_info())
    except SequenceError as error:
        show_text(str(error))


@functools.cache
def _info() -> Any:
    with Board.connect("sim", seed=1) as board:
        return board.info


# -- recipes ---------------------------------------------------------------------------------------------------
@functools.cache
def _recipe() -> tuple[Recipe, dict[str, str], bytes]:
    """An invented recipe, its texts, and its file with nothing compressed, so that its bytes can be edited."""
    recipe = build_recipe(
        _parse(_RECIPE_TEXT),
        example_rig(),
        parse_sequence(_parse(_SEQUENCE_TEXT), "fuzz.toml"),
        "invented",
        pictures()[0][1],
    )
    out = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(pack_recipe(recipe, shared=False))) as packed,
        zipfile.ZipFile(out, "w") as plain,
    ):
        for entry in packed.infolist():
            plain.writestr(entry.filename, packed.read(entry))
    return recipe, write_texts(recipe, shared=False), out.getvalue()


def fuzz_recipe(data: bytes) -> None:
    """A recipe's file gives a recipe that can be written again, or RecipeError says what is wrong."""
    script = Script(data)
    way = script.byte() % 16
    try:
        recipe = _unpack_edited(script) if way == 15 else _build_edited(script, way)
    except RecipeError as error:
        show_text(str(error))
        return
    if script.byte() % 32 == 31:  # costs more than all the rest
        written = write_texts(recipe, shared=True)
        assert set(written) == {RECIPE, RIG, SEQUENCE}


def _unpack_edited(script: Script) -> Recipe:
    """The bytes of the file edited: those of its lists of contents more often than those of the texts."""
    content = bytearray(_recipe()[2])
    for _ in range(1 + script.byte() % 6):
        at = int.from_bytes(script.take(2), "big")
        at = at % len(content) if at & 1 else len(content) - 1 - at % 300
        content[at : at + script.byte() % 3] = script.take(1 + script.byte() % 3)
    return unpack_recipe(bytes(content), "fuzz.recipe.zip", with_picture=script.byte() % 4 == 0)


def _build_edited(script: Script, way: int) -> Recipe:
    """One of the three texts edited, the other two as they were."""
    recipe, texts, _ = _recipe()
    name = RIG if way == 14 else SEQUENCE if way == 13 else RECIPE
    content = _read_edited(script, texts[name], _parse(texts[name]), "recipe", RecipeError)
    rig: Rig | Content = content if name == RIG else recipe.rig
    sequence: Sequence | Content = content if name == SEQUENCE else recipe.sequence
    label = content if name == RECIPE else _parse(texts[RECIPE])
    return build_recipe(label, rig, sequence, "fuzz.recipe.zip")


TARGETS: dict[str, Callable[[bytes], None]] = {
    "rig": fuzz_rig,
    "sequence": fuzz_sequence,
    "recipe": fuzz_recipe,
    "exif": fuzz_exif,
    "xmp": fuzz_xmp,
    "picture": fuzz_picture,
}
