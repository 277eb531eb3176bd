"""Levels of a serial port's control lines on opening, as its board needs them.

Before the port is open, nothing shows whether a board needs DTR or restarts on it. The installer
knows the board's profile (`DTR`, `RTS`) and stores it under the port's USB ids and serial number.
For an unknown board both are on: boards with their own USB need DTR, and a UART bridge with a
reset circuit does not reset the chip when both are on.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from beamfall.errors import FileWriteError
from beamfall.files import write_text
from beamfall.link.port_list import is_same_device, list_ports
from beamfall.places import find_boards_folder

_FILE = "lines.json"


@dataclass(frozen=True, slots=True)
class LineLevels:
    """Levels of DTR and RTS; None leaves them as the system sets them."""

    dtr: bool | None = True
    rts: bool | None = True


def recall_levels(url: str) -> LineLevels:
    """Return the levels for the board at a port, if it was installed from this computer."""
    entry = read_known(_FILE).get(_identify(url))
    if not isinstance(entry, dict):
        return LineLevels()
    found = [entry.get(name) for name in ("dtr", "rts")]
    if not all(level is None or isinstance(level, bool) for level in found):
        return LineLevels()
    return LineLevels(*found)


def remember_levels(url: str, levels: LineLevels) -> None:
    """Store the levels for the board at a port."""
    write_known(_FILE, {**read_known(_FILE), _identify(url): asdict(levels)})


def write_known(name: str, content: Mapping[str, Any]) -> None:
    """Store something about boards in a file of that name; an unwritable folder is not an error."""
    try:
        folder = find_boards_folder()
        folder.mkdir(parents=True, exist_ok=True)
        write_text(folder / name, json.dumps(content, indent=1) + "\n")
    except (OSError, FileWriteError):
        return


def read_known(name: str) -> dict[str, Any]:
    """Return what `write_known` has stored under that name; nothing if it cannot be read."""
    try:
        content = json.loads((find_boards_folder() / name).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return content if isinstance(content, dict) else {}


def _identify(url: str) -> str:
    """The USB device behind a port if it has a serial number; otherwise the port's name."""
    for port in list_ports():
        if port.serial_number and is_same_device(port.device, url):
            return f"{port.vid or 0:04x}:{port.pid or 0:04x}:{port.serial_number}"
    return url
