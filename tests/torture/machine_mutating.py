"""The list of faults that are put into firmware and host library, and how a class of the firmware is found."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from beamfall.sim.firmware_modules import load_firmware

Patch = pytest.MonkeyPatch
MUTATIONS: dict[str, Callable[[Patch], None]] = {}


def mutation(name: str) -> Callable[[Callable[[Patch], None]], Callable[[Patch], None]]:
    def keep(mutate: Callable[[Patch], None]) -> Callable[[Patch], None]:
        MUTATIONS[name] = mutate
        return mutate

    return keep


def firmware(name: str) -> Any:
    """A class of the firmware that the simulated board runs."""
    names = load_firmware().board.__init__.__globals__
    for where in (names, *(names[n].__init__.__globals__ for n in ("Requests", "Controller"))):
        if name in where:
            return where[name]
    raise KeyError(name)


def wire() -> Any:
    return firmware("wire")
