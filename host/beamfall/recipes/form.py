"""A recipe as three TOML texts, and back with everything checked. FORMAT.md describes them."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from beamfall.errors import KeyProblem, RecipeError, RigFileError, SequenceError
from beamfall.recipes.recipe import (
    NAME_MOST,
    NOTE_MOST,
    DropSeen,
    Events,
    Home,
    Label,
    Looks,
    Measured,
    Recipe,
    find_partners,
)
from beamfall.setup.file_schema import build_section, list_problems, list_unknown
from beamfall.setup.limits import BoardLimits
from beamfall.setup.rig import Rig, parse_rig
from beamfall.setup.sequence import Sequence
from beamfall.setup.sequence_file import parse_sequence, sequence_to_file
from beamfall.setup.toml_write import rig_to_file, section_to_file, write_toml

VERSION = 1
RECIPE, RIG, SEQUENCE = "recipe.toml", "rig.toml", "sequence.toml"
_TOP = "beamfall_recipe"
_WIDEST = BoardLimits(name="any")  # no board of this firmware allows more
_MADE = re.compile(r"(\d{4}-\d\d-\d\d)?")
_SITE_STEP_DEG, _SITE_STEP_M = 5.0, 100.0  # what is kept of the place: enough for gravity and air


def write_texts(recipe: Recipe, *, shared: bool) -> dict[str, str]:
    """Return the texts of a recipe by their names; `shared`: without the owner's private data."""
    content: dict[str, Any] = {_TOP: VERSION, "recipe": section_to_file(recipe.label)}
    if recipe.events is not None:
        content["events"] = section_to_file(recipe.events)
    if recipe.looks is not None:
        content["looks"] = section_to_file(recipe.looks)
    if recipe.measured is not None:
        content["measured"] = section_to_file(recipe.measured)
    if recipe.drops:
        content["drop"] = [section_to_file(one) for one in recipe.drops]
    rig, sequence = recipe.rig, recipe.sequence
    if shared:
        rig, sequence = hide_owner(rig), replace(sequence, name="")
    elif recipe.home != Home():
        content["home"] = section_to_file(recipe.home)
    return {
        RECIPE: write_toml(content),
        RIG: write_toml(rig_to_file(rig)),
        SEQUENCE: write_toml(sequence_to_file(sequence)),
    }


def hide_owner(rig: Rig) -> Rig:
    """Return the rig without its name, its note and its exact place."""
    site = replace(
        rig.site,
        latitude_deg=_SITE_STEP_DEG * round(rig.site.latitude_deg / _SITE_STEP_DEG),
        altitude_m=max(-400.0, _SITE_STEP_M * round(rig.site.altitude_m / _SITE_STEP_M)),
    )
    return replace(rig, name="rig of a recipe", note="", site=site)


def read_texts(texts: Mapping[str, str], source: str, picture: bytes | None = None) -> Recipe:
    """Return the recipe that the texts describe; `source` names it in messages. Raises RecipeError."""
    for name in (RECIPE, RIG, SEQUENCE):
        if name not in texts:
            raise RecipeError(f"{source}: not a recipe: {name} is missing")
    contents = {name: _parse(texts[name], source, name) for name in (RECIPE, RIG, SEQUENCE)}
    return build_recipe(contents[RECIPE], contents[RIG], contents[SEQUENCE], source, picture)


def build_recipe(
    content: Mapping[str, Any],
    rig: Rig | Mapping[str, Any],
    sequence: Sequence | Mapping[str, Any],
    source: str,
    picture: bytes | None = None,
) -> Recipe:
    """Return the recipe that the parsed texts describe; a rig or a sequence may have been built already.

    `source` names the recipe in messages. Raises RecipeError.
    """
    version = content.get(_TOP)
    if not isinstance(version, int) or isinstance(version, bool) or version < 1:
        raise RecipeError(f"{source}: not a recipe: {RECIPE} does not say its version ({_TOP} = 1)")
    if version > VERSION:
        raise RecipeError(
            f"{source}: written by a newer Beamfall (version {version} of recipes, this one reads {VERSION}): "
            "update Beamfall"
        )
    problems: list[KeyProblem] = []
    known = (_TOP, "recipe", "events", "looks", "measured", "drop", "home")
    problems += list_unknown(content, known, "")
    label = build_section(Label, content.get("recipe", {}), "recipe", problems)
    events, looks, measured = (
        build_section(kind, content[key], key, problems) if key in content else None
        for key, kind in (("events", Events), ("looks", Looks), ("measured", Measured))
    )
    drops = content.get("drop", [])
    if not isinstance(drops, list):
        drops, text = [], "drop: expected a list of tables, each starting with [[drop]]"
        problems.append(KeyProblem("drop", None, "a list of tables", text))
    seen = [build_section(DropSeen, one, f"drop {n}", problems) for n, one in enumerate(drops, 1)]
    valves = [one.valve for one in seen if one is not None]
    if len(valves) > len(set(valves)):
        text = "drop: two [[drop]] tables for one valve; keep one for each valve"
        problems.append(KeyProblem("drop", None, "one for each valve", text))
    home = build_section(Home, content.get("home", {}), "home", problems)
    if label is not None:
        problems += _check_label(label)
    if problems:
        raise RecipeError(list_problems(problems, source, "recipe"))
    try:
        if not isinstance(rig, Rig):
            rig = parse_rig(rig, f"{source}, {RIG}")
        if not isinstance(sequence, Sequence):
            where = f"{source}, {SEQUENCE}"
            sequence = parse_sequence(sequence, where, default_name=label.name)
    except (RigFileError, SequenceError) as error:
        raise RecipeError(str(error)) from error
    try:
        sequence.make_table_within(_WIDEST)
    except SequenceError as error:
        raise RecipeError(f"{source}, {SEQUENCE}: {error}") from error
    _check_parts(rig, source, events)
    return Recipe(label, rig, sequence, events, looks, tuple(seen), picture, home, measured)


def _check_label(label: Label) -> list[KeyProblem]:
    found = []
    for key, good, expected in (
        (
            "name",
            0 < len(label.name) <= NAME_MOST and label.name.isprintable(),
            f"1 to {NAME_MOST} characters",
        ),
        ("note", len(label.note) <= NOTE_MOST, f"at most {NOTE_MOST} characters"),
        ("made", _MADE.fullmatch(label.made) is not None, "a day such as 2026-05-31"),
        ("board", len(label.board) <= NAME_MOST, f"at most {NAME_MOST} characters"),
    ):
        if not good:
            found.append(
                KeyProblem(f"recipe.{key}", None, expected, f"recipe.{key}: expected {expected}")
            )
    return found


def _check_parts(rig: Rig, source: str, events: Events | None) -> None:
    if events is not None and events.kind == "collision" and events.stage_s is None:
        raise RecipeError(
            f"{source}: events.stage: missing; a collision has a time from contact to light"
        )
    if events is not None and (events.kind == "collision") != (events.drops > 1):
        raise RecipeError(
            f"{source}: events.drops = {events.drops} does not fit events.kind = {events.kind}"
        )
    if not find_partners(rig):
        raise RecipeError(f"{source}: {RIG}: has no valve")


def _parse(text: str, source: str, name: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError, ValueError) as error:
        raise RecipeError(f"{source}: {name} in it is damaged: not TOML") from error
