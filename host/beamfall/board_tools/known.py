"""Remembers which interpreter each installed board has, since the wire protocol does not report it."""

from __future__ import annotations

import json
from typing import Any

from beamfall.board_tools.install import Report
from beamfall.board_tools.prompt import to_json
from beamfall.errors import FileWriteError
from beamfall.files import write_text
from beamfall.link.line_levels import remember_levels
from beamfall.places import find_boards_folder


def remember(report: Report) -> None:
    """Store what an installation found out about board and port; an unwritable folder is not an error."""
    remember_levels(report.port, report.levels)
    if report.unique_id is None:
        return
    content = {
        "profile": report.profile,
        "firmware": report.firmware,
        "interpreter": to_json(report.interpreter),
    }
    try:
        folder = find_boards_folder()
        folder.mkdir(parents=True, exist_ok=True)
        write_text(folder / f"{report.unique_id}.json", json.dumps(content, indent=1))
    except (OSError, FileWriteError):
        return


def recall_interpreter(unique_id: bytes) -> dict[str, Any] | None:
    """Return what is remembered about a board's interpreter, or None."""
    try:
        content = json.loads(
            (find_boards_folder() / f"{unique_id.hex()}.json").read_text(encoding="utf-8")
        )
    except (OSError, ValueError):
        return None
    found = content.get("interpreter") if isinstance(content, dict) else None
    return found if isinstance(found, dict) else None
