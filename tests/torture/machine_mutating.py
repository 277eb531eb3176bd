"""The list of faults that are put into firmware and host library, and how a class of the firmware is found."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from beamfall.sim.firmware_modules import load_firmware

Patch = pytest.MonkeyPatch
MUTATIONS: dict[str, Callable[[Patch], None]] = {}


def mutation(
    name: str, owner: str | type = "", method: str = ""
) -> Callable[[Callable[..., Any]], Callable[[Patch], None]]:
    """Keep a fault under its name: a function that puts it in, or one that takes the place of a method of `owner`.

    The latter is given the method as it was before its own arguments. `owner`: a class of the host, or the name of one
    of the firmware.
    """

    def keep(change: Callable[..., Any]) -> Callable[[Patch], None]:
        def put_in(patch: Patch) -> None:
            where = firmware(owner) if isinstance(owner, str) else owner
            original = getattr(where, method)

            def changed(*args: Any, **options: Any) -> Any:
                return change(original, *args, **options)

            patch.setattr(where, method, changed)

        MUTATIONS[name] = put_in if method else change
        return MUTATIONS[name]

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
