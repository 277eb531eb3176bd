"""What this computer remembers of boards it has installed: which interpreter they have, which the wire does not say."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from beamfall.board_tools.install import Report
from beamfall.board_tools.prompt import to_json


def find_folder() -> Path:
    """Where it is kept: beside the shot log."""
    from beamfall.shots.place import find_log

    return find_log().parent / "boards"


def remember(report: Report) -> None:
    """Keep what an installation found out; a folder that cannot be written to is no reason to fail."""
    if report.unique_id is None:
        return
    content = {
        "profile": report.profile,
        "firmware": report.firmware,
        "interpreter": to_json(report.interpreter),
    }
    try:
        folder = find_folder()
        folder.mkdir(parents=True, exist_ok=True)
        (folder / f"{report.unique_id}.json").write_text(
            json.dumps(content, indent=1), encoding="utf-8"
        )
    except OSError:
        return


def recall_interpreter(unique_id: bytes) -> dict[str, Any] | None:
    """Return what is remembered of a board's interpreter, None when nothing is."""
    try:
        content = json.loads(
            (find_folder() / f"{unique_id.hex()}.json").read_text(encoding="utf-8")
        )
    except (OSError, ValueError):
        return None
    found = content.get("interpreter") if isinstance(content, dict) else None
    return found if isinstance(found, dict) else None
