"""Rigs for the planner's tests."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from beamfall.setup.rig import Rig, example_rig


def make_rig(**changes: Any) -> Rig:
    """The example rig with fields of its first valve, beam, dish, ... changed: `valve={"height_m": 0.61}`."""
    rig = example_rig()
    for name, values in changes.items():
        if name in ("valve", "beam", "flash"):
            many = {"valve": "valves", "beam": "beams", "flash": "flashes"}[name]
            first, *rest = getattr(rig, many)
            rig = replace(rig, **{many: (replace(first, **values), *rest)})
        elif name == "aim":
            rig = rig.with_aim(**values)
        else:
            rig = replace(rig, **{name: replace(getattr(rig, name), **values)})
    return rig
