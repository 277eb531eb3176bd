"""Each key of a rig file, alone, at its example and at its ends: a plan or one clear message, never a fault."""

from __future__ import annotations

import math
import tomllib
from typing import Any

import pytest

from beamfall.errors import UserError
from beamfall.planning.make import make_plan
from beamfall.setup.rig import EXAMPLE, parse_rig
from beamfall.setup.rig_tables import RigKey, list_all_keys
from beamfall.setup.unit_kinds import KINDS
from beamfall.setup.unit_words import format_quantity

FILE = tomllib.loads(EXAMPLE.read_text("utf-8"))
KEYS = [key for key in list_all_keys() if key.table and key.rule.kind not in ("text", "shares")]


def list_values(key: RigKey) -> list[Any]:
    """The key's example first, as it stands in a file, then what else it may be."""
    rule = key.rule
    match rule.kind:
        case "choice":
            return list(rule.options)
        case "truth":
            return [True, False]
        case "number" | "count":
            kind = int if rule.kind == "count" else float
            given = [kind(float(key.example))] if key.example else []
            return [*given, kind(rule.low), kind(rule.high)]
        case _:
            assert rule.kind in KINDS
            return [
                key.example,
                format_quantity(rule.low, rule.kind),
                format_quantity(rule.high, rule.kind),
            ]


def set_key(key: RigKey, value: Any) -> dict[str, Any]:
    """The example rig's file with that key set in its first table of that name."""
    content: dict[str, Any] = dict(FILE)
    table = content.get(key.table, {})
    if isinstance(table, list):
        content[key.table] = [{**table[0], key.key: value}, *table[1:]]
    elif key.table in ("drop", "firing"):
        content[key.table] = [{key.key: value}]
    else:
        content[key.table] = {**table, key.key: value}
    return content


@pytest.mark.parametrize("key", KEYS, ids=lambda key: f"{key.table}.{key.key}")
@pytest.mark.filterwarnings("error")
def test_at_its_example(key: RigKey) -> None:
    check(key, list_values(key)[0])


@pytest.mark.parametrize("key", KEYS, ids=lambda key: f"{key.table}.{key.key}")
@pytest.mark.filterwarnings("error")
@pytest.mark.full
def test_at_its_ends(key: RigKey) -> None:
    for value in list_values(key)[1:]:
        check(key, value)


def check(key: RigKey, value: Any) -> None:
    try:
        plan = make_plan(parse_rig(set_key(key, value), "rig.toml"))
    except UserError as refused:
        assert str(refused).strip()
    else:
        assert plan.flash_delay_s >= 0.0 and all(drop.at_s >= 0.0 for drop in plan.drops)
        numbers = [*plan.intervals.values(), *plan.quantities.values()]
        assert all(math.isfinite(bound) for one in numbers for bound in (one.p5, one.p50, one.p95))
