"""Checks the files that a command will write at its end, before it begins.

A drop cannot be taken back: a wrong file name is refused before the first drop falls.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from beamfall.errors import UserError

if TYPE_CHECKING:
    from beamfall.board import Board

DRAWINGS = (".png", ".svg", ".pdf")
PICTURES = (".png",)


def check_target(path: Path | None, key: str, endings: Sequence[str] = ()) -> None:
    """Refuse a file that could not be written: missing folder, no permission, unknown file extension.

    `key` is the option's name; without `endings` any name will do. Raises UserError.
    """
    if path is None:
        return
    if endings and path.suffix.lower() not in endings:
        *others, last = endings
        known = f"{', '.join(others)} or {last}" if others else last
        raise UserError(f"{key} {path}: give a name that ends in {known}")
    if path.is_dir():
        raise UserError(f"{key} {path}: this is a folder; name a file in it")
    if not path.parent.is_dir():
        raise UserError(
            f"{key} {path}: there is no folder {path.parent}; create it first, or choose another place"
        )
    if not os.access(path if path.exists() else path.parent, os.W_OK):
        raise UserError(
            f"{key} {path}: you have no permission to write there; choose another place"
        )


def refuse_picture(board: Board, picture: Path | None) -> None:
    """Refuse to draw a simulated rig's picture for a real board. Raises UserError."""
    if picture is not None and board.traits.studio is None:
        raise UserError(
            f"--picture draws what a simulated rig would show; {board.name} is a real board, whose "
            "picture the camera takes: remove --picture"
        )
