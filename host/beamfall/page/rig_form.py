"""The rig as a form: each key of a rig file a field, with what the file says and what is wrong with it.

Fields, their kinds and limits come from the dataclasses of `beamfall.setup.rig`; what was typed is put into
the content of a rig file and checked by `parse_rig`. This module only carries texts to and fro.
"""

from __future__ import annotations

import copy
import re
import tomllib
from collections.abc import Mapping
from dataclasses import MISSING, fields
from pathlib import Path
from typing import Any

from beamfall.errors import RigFileError, UserError
from beamfall.setup.file_schema import Rule, file_key
from beamfall.setup.rig import (
    EXAMPLE,
    Aim,
    Beam,
    Camera,
    Dish,
    Fitted,
    Flash,
    LiquidInRig,
    Rig,
    Site,
    Uncertainty,
    Valve,
    parse_rig,
)
from beamfall.setup.units import KINDS, format_quantity

Content = dict[str, Any]
LISTS: Mapping[str, Any] = {"valve": Valve, "beam": Beam, "flash": Flash}
SINGLES: Mapping[str, Any] = {
    "liquid": LiquidInRig,
    "dish": Dish,
    "camera": Camera,
    "aim": Aim,
    "site": Site,
    "uncertainty": Uncertainty,
    "fitted": Fitted,
}
_ORDER = (
    *("valve", "beam", "flash", "camera", "dish", "liquid", "aim", "site"),
    *("uncertainty", "fitted"),
)
_TRUTH = {"true": True, "false": False}
_TEXT_MOST = 200
_PATH = re.compile(r"([a-z]+)(?:\[(\d+)\])?(?:\.([a-z_0-9]+))?")


def read_content(path: Path | None) -> Content:
    """The content of a rig file as it stands; the example's without one. `load_rig` checks it first."""
    return tomllib.loads((path or EXAMPLE).read_text(encoding="utf-8"))


def describe_form(content: Content, problems: list[tuple[str, str]]) -> list[dict[str, Any]]:
    """The form: sections with their fields; `problems` are (path, text)."""
    by_path: dict[str, list[str]] = {}
    for path, text in problems:
        by_path.setdefault(path, []).append(text)
    sections = []
    for name in _ORDER:
        if name in LISTS:
            entries = _entries(content, name)
            for index, entry in enumerate(entries):
                title = f"{name} {index + 1}" if len(entries) > 1 else name
                sections.append(
                    _describe_section(f"{name}[{index + 1}]", title, LISTS[name], entry, by_path)
                )
        elif name != "camera" or "camera" in content:
            sections.append(
                _describe_section(name, name, SINGLES[name], content.get(name, {}), by_path)
            )
    return sections


def _describe_section(
    path: str, title: str, kind: Any, entry: Mapping[str, Any], problems: Mapping[str, list[str]]
) -> dict[str, Any]:
    described = []
    for item in fields(kind):
        rule: Rule = item.metadata["rule"]
        key = file_key(item)
        default = "" if item.default in (MISSING, None, ()) else _say(item.default, rule)
        field = {
            "path": f"{path}.{key}",
            "label": key.replace("_", " "),
            "value": _say_written(entry[key]) if key in entry else "",
            "default": default,
            "example": rule.example,
            "problems": problems.get(f"{path}.{key}", []),
            "needed": item.default is MISSING,
        }
        if rule.kind == "choice":
            field["options"] = list(rule.options)
        elif rule.kind == "truth":
            field["options"] = list(_TRUTH)
        described.append(field)
    return {"path": path, "title": title, "help": _help_of(kind), "fields": described,
            "problems": problems.get(path, [])}  # fmt: skip


def _help_of(kind: Any) -> str:
    return " ".join(part.strip() for part in (kind.__doc__ or "").split("`")).strip()


def _say(value: Any, rule: Rule) -> str:
    if rule.kind == "truth":
        return _say_written(value)
    return format_quantity(value, rule.kind) if rule.kind in KINDS else f"{value}"


def _say_written(value: Any) -> str:
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{name} = {share}" for name, share in value.items()) + " }"
    return f"{value}".lower() if isinstance(value, bool) else f"{value}"


def _entries(content: Content, name: str) -> list[Content]:
    entries = content.get(name, [])
    return [dict(entries)] if isinstance(entries, Mapping) else list(entries)


def edit(content: Content, path: str, text: str) -> Content:
    """Return the content with one field set to what was typed; empty takes it out.

    Raises UserError for a path that no form has.
    """
    if len(text) > _TEXT_MOST:
        raise UserError(f"{path}: more than {_TEXT_MOST} characters")
    changed = copy.deepcopy(content)
    if path == "name":
        changed["name"] = text
        return changed
    name, index, key = _split(path)
    kind = LISTS.get(name) or SINGLES.get(name)
    rules = {} if kind is None else {file_key(item): item.metadata["rule"] for item in fields(kind)}
    if key not in rules:
        raise UserError(f"{path}: a rig has no such field")
    if name in LISTS:
        entries = changed[name] = _entries(changed, name)
        if not 1 <= index <= len(entries):
            raise UserError(f"{path}: there is no {name} {index}")
        entry = entries[index - 1]
    else:
        entry = changed.setdefault(name, {})
    if text.strip():
        entry[key] = _read(text.strip(), rules[key])
    else:
        entry.pop(key, None)
    return changed


def add(content: Content, name: str) -> Content:
    """Return the content with one more valve, beam or flash, a copy of the last; or with a camera."""
    changed = copy.deepcopy(content)
    if name == "camera":
        changed.setdefault("camera", {})
    elif name in LISTS:
        entries = changed[name] = _entries(changed, name)
        fresh = (
            {k: v for k, v in entries[-1].items() if k not in ("output", "input")}
            if entries
            else {}
        )
        entries.append(fresh)
    else:
        raise UserError(f"a rig has no {name} to add")
    return changed


def remove(content: Content, path: str) -> Content:
    """Return the content without a valve, beam, flash or the camera."""
    changed = copy.deepcopy(content)
    name, index, _ = _split(path)
    if name == "camera":
        changed.pop("camera", None)
        return changed
    entries = _entries(changed, name) if name in LISTS else []
    if not 1 <= index <= len(entries):
        raise UserError(f"{path}: there is no such part")
    del entries[index - 1]
    changed[name] = entries
    return changed


def check(content: Content) -> tuple[Rig | None, list[tuple[str, str]]]:
    """Read the form; return the rig, or None and what is wrong, as (path of the field, text)."""
    try:
        return parse_rig(content, "the form"), []
    except RigFileError as error:
        lines = [line.strip() for line in str(error).split("\n")[1:]]
        return None, [(find_path(content, line), line) for line in lines]


def find_path(content: Content, problem: str) -> str:
    """The field that a message is about; empty where it is about the whole."""
    named = re.match(r"(valve|beam|flash) ((?:valve|beam|flash)\d): (\w+)", problem)
    if named is not None:
        line = "input" if named[1] == "beam" else "output"
        for index, entry in enumerate(_entries(content, named[1]), 1):
            if entry.get(line, f"{named[1]}{index}") == named[2]:
                return f"{named[1]}[{index}].{named[3]}"
    match = _PATH.match(problem)
    if match is None or match[1] not in (*LISTS, *SINGLES, "name"):
        return ""
    name, key = match[1], match[3]
    path = f"{name}[{match[2] or 1}]" if name in LISTS else name
    return f"{path}.{key}" if key else path


def write_toml(content: Content) -> str:
    """The content as a rig file. Texts are written as TOML's basic strings."""
    lines = ["# A rig file, written by `beamfall page`."]
    lines += [
        f"{key} = {_toml(value)}" for key, value in content.items() if key in ("name", "note")
    ]
    for name in _ORDER:
        if name not in content:
            continue
        for entry in _entries(content, name):
            lines += ["", f"[[{name}]]" if name in LISTS else f"[{name}]"]
            lines += [f"{key} = {_toml(value)}" for key, value in entry.items()]
    return "\n".join(lines) + "\n"


def _toml(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{_quote(str(k))} = {_toml(v)}" for k, v in value.items()) + " }"
    return _quote(str(value))


def _quote(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return (
        '"' + "".join(c if c >= " " and c != "\x7f" else f"\\u{ord(c):04x}" for c in escaped) + '"'
    )


def _split(path: str) -> tuple[str, int, str]:
    match = _PATH.fullmatch(path)
    if match is None:
        raise UserError(f"{path}: a rig has no such field")
    return match[1], int(match[2] or 1), match[3] or ""


def _read(text: str, rule: Rule) -> Any:
    """What stands in a file for a text that was typed: numbers as numbers, the rest as text."""
    if rule.kind == "truth":
        return _TRUTH.get(text.lower(), text)
    if rule.kind == "count" and re.fullmatch(r"[+-]?\d+", text):
        return int(text)
    if rule.kind in ("number", "count") and re.fullmatch(
        r"[+-]?\d*\.?\d+(e[+-]?\d+)?", text.lower()
    ):
        return float(text)
    if rule.kind == "shares":
        try:
            return tomllib.loads(f"parts = {text}")["parts"]
        except tomllib.TOMLDecodeError:
            return text
    return text
