"""The firmware's own modules, imported into this process without leaving its names about.

The firmware's packages are called `ports`, `boards` and `beamfall_board`, as on a board; another program's modules
may bear the same names. They are imported from the firmware folder alone and then taken out of sys.modules.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from functools import cache
from importlib import import_module
from types import ModuleType
from typing import Any

from beamfall.resources import find_firmware

_NAMES = ("beamfall_board", "boards", "ports")


@dataclass(frozen=True)
class FirmwareModules:
    """What a simulated board is made of."""

    board: Any  # beamfall_board.board.Board
    port: Any  # ports.simulated.port.SimulatedPort
    profile: ModuleType  # boards.simulated


def _ours(name: str) -> bool:
    return name.partition(".")[0] in _NAMES


@cache
def load_firmware() -> FirmwareModules:
    """Return the firmware's modules; they are imported once."""
    return _import_firmware()


@cache
def load_other_firmware(differs: str) -> FirmwareModules:
    """Return a firmware made from another messages.toml: of another `protocol` version or another `definition`.

    A copy of its own of the modules, for simulated boards that are not of this library's version.
    """
    modules = _import_firmware()
    wire = modules.board.step.__globals__["wire"]
    if differs == "protocol":
        wire.PROTOCOL += 1
    wire.DEFINITION = bytes(byte ^ 0x5A for byte in wire.DEFINITION)
    return modules


def _import_firmware() -> FirmwareModules:
    """Import the firmware from its folder (checkout or wheel); raises ResourceMissing when it is not there."""
    folder = str(find_firmware())
    kept = {name: module for name, module in list(sys.modules.items()) if _ours(name)}
    for name in kept:
        del sys.modules[name]
    sys.path.insert(0, folder)
    try:
        return FirmwareModules(
            board=import_module("beamfall_board.board").Board,
            port=import_module("ports.simulated.port").SimulatedPort,
            profile=import_module("boards.simulated"),
        )
    finally:
        sys.path.remove(folder)
        for name in [name for name in sys.modules if _ours(name)]:
            del sys.modules[name]
        sys.modules.update(kept)
