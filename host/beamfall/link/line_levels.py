"""How the control lines of a serial port are to stand when it opens, as the board behind it wants.

A board that sends nothing without DTR and one that restarts on it cannot be told apart before the
port is open. Installing knows the board's profile (`DTR`, `RTS`) and has it remembered by the port's
USB ids and serial number. Where nothing is known both are on: boards with USB of their own need DTR,
and behind a UART bridge with reset circuit both on leave the chip alone.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from typing import Any

from beamfall.link.port_list import is_same_device, list_ports
from beamfall.places import find_boards_folder

_FILE = "lines.json"


@dataclass(frozen=True, slots=True)
class LineLevels:
    """Levels of DTR and RTS; None: as the system sets them."""

    dtr: bool | None = True
    rts: bool | None = True


def recall_levels(url: str) -> LineLevels:
    """Return what the board at a port wants, as far as it was installed from this computer."""
    entry = _read().get(_identify(url))
    if not isinstance(entry, dict):
        return LineLevels()
    found = [entry.get(name) for name in ("dtr", "rts")]
    if not all(level is None or isinstance(level, bool) for level in found):
        return LineLevels()
    return LineLevels(*found)


def remember_levels(url: str, levels: LineLevels) -> None:
    """Keep what the board at a port wants; a folder that cannot be written to is no reason to fail."""
    try:
        folder = find_boards_folder()
        folder.mkdir(parents=True, exist_ok=True)
        content = json.dumps({**_read(), _identify(url): asdict(levels)}, indent=1)
        (folder / _FILE).write_text(content + "\n", encoding="utf-8")
    except OSError:
        return


def _read() -> dict[str, Any]:
    try:
        content = json.loads((find_boards_folder() / _FILE).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return content if isinstance(content, dict) else {}


def _identify(url: str) -> str:
    """The USB device behind a port where it has a serial number; else the port's name."""
    for port in list_ports():
        if port.serial_number and is_same_device(port.device, url):
            return f"{port.vid or 0:04x}:{port.pid or 0:04x}:{port.serial_number}"
    return url
