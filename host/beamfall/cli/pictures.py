"""The options of commands whose shots get pictures."""

from __future__ import annotations

import contextlib
from contextlib import AbstractContextManager
from pathlib import Path

import typer

from beamfall.board import Board
from beamfall.errors import UserError
from beamfall.photos.arrival import Arrivals
from beamfall.photos.sources import make_arrivals, require_own_camera
from beamfall.setup.rig import Rig
from beamfall.setup.units import parse_duration

_WAIT_MOST_S = 600.0
CAMERA: str | None = typer.Option(
    None,
    "--camera",
    help="Fetch each picture from a camera: usb if only one is connected, else its port or part of its model; "
    "sim for the simulated camera.",
)
PHOTOS: Path | None = typer.Option(
    None, "--photos", help="Take each picture from this folder, which another program fills."
)
PICTURE_WAIT: str = typer.Option(
    "20 s", "--picture-wait", help="Longest wait for a shot's picture."
)


def read_arrivals(
    camera: str | None, folder: Path | None, wait: str, rig: Rig | None
) -> Arrivals | None:
    """Return where pictures come from; raises UserError, UnitError."""
    wait_s = parse_duration(wait, key="--picture-wait", example="20 s")
    if not 0.0 < wait_s <= _WAIT_MOST_S:
        raise UserError(f"--picture-wait {wait}: expected more than 0 and at most 10 min")
    return make_arrivals(camera, folder, rig=rig, wait_s=wait_s)


def hold(arrivals: Arrivals | None) -> AbstractContextManager[object]:
    """Close it at the end of a `with` block, if there is one."""
    return contextlib.nullcontext() if arrivals is None else arrivals


def begin(arrivals: Arrivals | None, board: Board) -> None:
    """Open where pictures come from, before the first shot; raises CameraError, MissingExtra, UserError."""
    if arrivals is not None:
        require_own_camera(arrivals, board.traits, board.name)
        arrivals.open()
