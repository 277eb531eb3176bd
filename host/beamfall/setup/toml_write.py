"""Writes values as TOML files: sections of a rig or a sequence, and whole rigs, the way back from `rig.parse_rig`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from typing import Any

from beamfall.setup.file_schema import file_key, rule_of
from beamfall.setup.rig import Rig
from beamfall.setup.rig_tables import TABLES, TEXTS
from beamfall.setup.unit_kinds import KINDS
from beamfall.setup.unit_words import format_quantity
from beamfall.setup.units import parse_quantity
from beamfall.text import show_toml

_SMALL = 1e-12  # relative: what reading a quantity back may lose


def write_toml(content: Mapping[str, Any]) -> str:
    """Return plain values as a TOML text."""
    import tomlkit

    return show_toml(tomlkit.dumps(content))


def section_to_file(section: Any) -> dict[str, Any]:
    """Return a section's values under the keys of its file; what is unset or empty is left out."""
    content: dict[str, Any] = {}
    for item in fields(section):
        value, rule = getattr(section, item.name), rule_of(item)
        if value is None or value in ((), ""):
            continue
        if rule.kind in KINDS:
            value = write_quantity(value, rule.kind)
        elif rule.kind == "shares":
            value = dict(value)
        content[file_key(item)] = value
    return content


def write_quantity(value: float, kind: str) -> str:
    """Return a quantity in SI as text that reads back as the same value, with short digits where they do."""
    short = format_quantity(value, kind)
    if abs(parse_quantity(short, kind, key="") - value) <= _SMALL * abs(value):
        return short
    if kind == "duration":
        return f"{value * 1e3:.12g} ms"
    if kind == "fraction":
        return f"{value * 100:.15g} %"
    return f"{value:.15g} {KINDS[kind].si_unit}"


def rig_to_file(rig: Rig) -> dict[str, Any]:
    """Return the content of a rig file with this rig."""
    content: dict[str, Any] = {name: getattr(rig, name) for name in TEXTS if getattr(rig, name)}
    for table in TABLES:
        value = getattr(rig, table.field)
        if table.many:
            content |= {table.name: [section_to_file(one) for one in value]} if value else {}
        elif value is not None:
            content[table.name] = section_to_file(value)
    return content
