"""The rig as a form: each key of a rig file is a field, with what the file says and what is wrong with it.

The content is the TOML document itself (tomlkit), so a saved rig file keeps the user's comments, order and
quoting. `setup.rig_tables` says which fields there are, and `parse_rig` checks what was typed.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit import TOMLDocument
from tomlkit.exceptions import TOMLKitError

from beamfall.errors import KeyProblem, RigFileError, UserError
from beamfall.setup.file_schema import Rule
from beamfall.setup.rig import EXAMPLE, Rig, parse_rig
from beamfall.setup.rig_tables import TABLES, RigKey, RigTable, find_table, list_keys, write_value

_TRUTH = {"true": True, "false": False}
_TEXT_MOST = 200
_PATH = re.compile(r"([a-z]+)(?:\[(\d{1,3})\])?(?:\.([a-z_0-9]+))?")
_WHOLE = re.compile(r"[+-]?\d+")
_NUMBER = re.compile(r"[+-]?\d*\.?\d+(e[+-]?\d+)?")


def read_content(path: Path | None) -> TOMLDocument:
    """The content of a rig file, or of the example if none is given. Raises RigFileError; `load_rig` checks first."""
    file = path or EXAMPLE
    try:
        return tomlkit.parse(file.read_text(encoding="utf-8"))
    except (TOMLKitError, ValueError, OSError) as error:
        raise RigFileError(f"{file}: cannot be read: {error}") from error


def check(content: TOMLDocument) -> tuple[Rig | None, tuple[KeyProblem, ...]]:
    """Read the form; return the rig, or None and what is wrong."""
    try:
        return parse_rig(content.unwrap(), "the form"), ()
    except RigFileError as error:
        return None, error.problems


# -- what the page shows ---------------------------------------------------------------------------------------
def describe_form(content: TOMLDocument, problems: Sequence[KeyProblem]) -> list[dict[str, Any]]:
    """The form: sections with their fields."""
    wrong: dict[str, list[KeyProblem]] = {}
    for problem in problems:
        wrong.setdefault(problem.key, []).append(problem)
    plain = content.unwrap()
    sections = []
    for table in TABLES:
        if table.many:
            entries = _list_entries(plain, table.name)
            for number, entry in enumerate(entries, 1):
                title = f"{table.name} {number}" if len(entries) > 1 else table.name
                path = f"{table.name}[{number}]"
                sections.append(_describe_section(path, title, table, entry, wrong))
        elif table.name != "camera" or "camera" in plain:
            entry = plain.get(table.name, {})
            sections.append(_describe_section(table.name, table.name, table, entry, wrong))
    return sections


def _describe_section(
    path: str,
    title: str,
    table: RigTable,
    entry: Mapping[str, Any],
    wrong: Mapping[str, list[KeyProblem]],
) -> dict[str, Any]:
    described = [
        _describe_field(f"{path}.{key.key}", key, entry, wrong) for key in list_keys(table)
    ]
    return {"path": path, "title": title, "help": table.meaning, "fields": described}


def _describe_field(
    path: str, key: RigKey, entry: Mapping[str, Any], wrong: Mapping[str, list[KeyProblem]]
) -> dict[str, Any]:
    problems = wrong.get(path, [])
    field = {
        "path": path,
        "label": key.key.replace("_", " "),
        "help": key.meaning,
        "expected": key.expected,
        "limits": key.rule.limits,
        "value": write_value(entry[key.key]) if key.key in entry else "",
        "said": _say(key, entry[key.key]) if key.key in entry else "",
        "default": key.default,
        "example": key.example,
        "problems": [one.text for one in problems],
        "likely": [value for one in problems for value in one.likely],
        "needed": key.needed,
    }
    if key.rule.kind == "choice":
        field["options"] = list(key.rule.options)
    elif key.rule.kind == "truth":
        field["options"] = list(_TRUTH)
    return field


def _say(key: RigKey, value: Any) -> str:
    """A value as words of a summary."""
    if not isinstance(value, Mapping):
        return f"{key.key.replace('_', ' ')} {write_value(value)}"
    if key.key == "grams":
        return ", ".join(f"{share} g {name} per 100 mL" for name, share in value.items())
    return " to ".join(f"{share} {name}" for name, share in value.items())


def _list_entries(plain: Mapping[str, Any], name: str) -> list[Mapping[str, Any]]:
    """The entries of [[name]]; `parse_rig` also accepts one [name]."""
    entries = plain.get(name, [])
    return [entries] if isinstance(entries, Mapping) else list(entries)


# -- what the page changes -------------------------------------------------------------------------------------
def edit(content: TOMLDocument, path: str, text: str) -> TOMLDocument:
    """Return the content with one field set to what was typed; empty removes the key.

    Raises UserError for a path that no form has.
    """
    if len(text) > _TEXT_MOST:
        raise UserError(f"{path}: more than {_TEXT_MOST} characters")
    changed = _copy(content)
    if path == "name":
        changed["name"] = text
        return changed
    name, number, key = _split(path)
    table = find_table(name)
    rules = {} if table is None else {one.key: one.rule for one in list_keys(table)}
    if table is None or key not in rules:
        raise UserError(f"{path}: a rig has no such field")
    if table.many:
        entry = _find_entry(_take_entries(changed, name), number, path)
    else:
        entry = changed.setdefault(name, tomlkit.table())
    if text.strip():
        entry[key] = _read(text.strip(), rules[key])
    else:
        entry.pop(key, None)
    return changed


def add(content: TOMLDocument, name: str) -> TOMLDocument:
    """Return the content with one more entry of a [[table]], a copy of the last; or with a camera.

    Adding the first drop also adds those that already fall, so that the form keeps the same shot plus one drop.
    """
    changed = _copy(content)
    table = find_table(name)
    if name == "camera":
        changed.setdefault("camera", tomlkit.table())
    elif table is not None and table.many:
        entries = _take_entries(changed, name)
        copies = 1
        if name == "drop":
            before = changed.get("aim", {}).pop("drops", 2)  # [[drop]] tables say it from now on
            copies += before if isinstance(before, int) and not entries else 0
        for _ in range(copies):
            fresh = tomlkit.table()
            last = entries[-1].unwrap() if entries else {}
            for key, value in last.items():
                if key not in ("output", "input", "at") and (name, key) != ("bottle", "valve"):
                    fresh[key] = value
            fresh.add(tomlkit.nl())
            entries.append(fresh)
    else:
        raise UserError(f"a rig has no {name} to add")
    return changed


def remove(content: TOMLDocument, path: str) -> TOMLDocument:
    """Return the content without a valve, beam, flash or the camera."""
    changed = _copy(content)
    name, number, _ = _split(path)
    table = find_table(name)
    if name == "camera":
        changed.pop("camera", None)
        return changed
    if table is None or not table.many:
        raise UserError(f"{path}: there is no such part")
    entries = _take_entries(changed, name)
    _find_entry(entries, number, path)
    del entries[number - 1]
    if not entries:
        del changed[name]
    return changed


def _copy(content: TOMLDocument) -> TOMLDocument:
    return tomlkit.parse(tomlkit.dumps(content))


def _take_entries(content: TOMLDocument, name: str) -> Any:
    """The entries of [[name]], to be changed: an array of tables that the document holds."""
    found = content.get(name)
    if isinstance(found, tomlkit.items.AoT):
        return found
    plain = _list_entries(content.unwrap(), name)
    entries = tomlkit.aot()
    for one in plain:
        entries.append(tomlkit.item(dict(one)))
    content[name] = entries
    return content[name]


def _find_entry(entries: Any, number: int, path: str) -> Any:
    if not 1 <= number <= len(entries):
        raise UserError(f"{path}: there is no such part")
    return entries[number - 1]


def _split(path: str) -> tuple[str, int, str]:
    match = _PATH.fullmatch(path)
    if match is None:
        raise UserError(f"{path}: a rig has no such field")
    return match[1], int(match[2] or 1), match[3] or ""


def _read(text: str, rule: Rule) -> Any:
    """The value in a file for a typed text: numbers as numbers, everything else as text."""
    if rule.kind == "truth":
        return _TRUTH.get(text.lower(), text)
    if rule.kind == "count" and _WHOLE.fullmatch(text):
        return int(text)
    if rule.kind in ("number", "count") and _NUMBER.fullmatch(text.lower()):
        return float(text)
    if rule.kind == "shares":
        try:
            return tomlkit.parse(f"parts = {text}")["parts"]
        except (TOMLKitError, KeyError):
            return text
    return text
