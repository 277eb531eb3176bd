"""Imports the firmware's own modules into this process without leaving their names behind.

The firmware's packages are called `ports`, `boards` and `beamfall_board`, as on a board; another program's modules
may have the same names. So they are imported only from the firmware folder and then removed from sys.modules.
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
    """The parts of a simulated board."""

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
    """Return firmware made from another messages.toml: with another `protocol` version, another `definition`, or an
    `older` one, which this library's extends.

    It is a separate copy of the modules, for simulated boards that do not match this library's version.
    """
    modules = _import_firmware()
    wire = modules.board.step.__globals__["wire"]
    if differs == "protocol":
        wire.PROTOCOL += 1
    if differs == "older":
        wire.DEFINITION, wire.EXTENDED = wire.EXTENDED[0], ()
        return modules
    wire.DEFINITION = bytes(byte ^ 0x5A for byte in wire.DEFINITION)
    return modules


def _import_firmware() -> FirmwareModules:
    """Import the firmware from its folder (checkout or wheel); raises ResourceMissing if it is missing."""
    folder = str(find_firmware())
    kept = {name: module for name, module in sys.modules.copy().items() if _ours(name)}
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
        for name in filter(_ours, sys.modules.copy()):
            del sys.modules[name]
        sys.modules.update(kept)
