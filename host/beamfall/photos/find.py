"""The picture of a shot in the log: its photograph, or what the port's own camera saw. Every front end asks here."""

from __future__ import annotations

from pathlib import Path

from beamfall.errors import BeamfallError, PictureError
from beamfall.photos.thumbnail import make_thumbnail
from beamfall.ports import recall_picture
from beamfall.scratch import ScratchFolder
from beamfall.shots import LoggedShot


def find_drawn(log_path: Path, shot: int) -> Path:
    """Return where the page keeps the picture that the port's own camera saw of a shot."""
    return log_path.with_suffix(".pictures") / f"shot-{shot}.png"


def find_kind(log_path: Path, logged: LoggedShot) -> str | None:
    """Return `photo` or `simulated`, or None if the shot has no picture."""
    if logged.record.picture is not None:
        return "photo"
    known = recall_picture(logged.line.port or "", logged.record.truth)
    if known is not None or find_drawn(log_path, logged.line.shot).exists():
        return "simulated"
    return None


def load_picture(log_path: Path, logged: LoggedShot, width: int) -> bytes | None:
    """Return a JPEG of at most `width` pixels across; None if the shot has no picture.

    Raises PictureError if the picture cannot be shown.
    """
    if logged.record.picture is not None:
        return make_thumbnail(Path(logged.record.picture), width)
    drawn = find_drawn(log_path, logged.line.shot)
    if drawn.exists():
        return make_thumbnail(drawn, width)
    known = recall_picture(logged.line.port or "", logged.record.truth)
    if known is None:
        return None
    with ScratchFolder() as folder:
        file = folder / drawn.name
        try:
            # The page may be asking what it shows.
            known.draw(file, tell=False, width=width)
        except BeamfallError:
            raise
        except Exception as error:  # a damaged log makes the drawing fail in any way it likes
            raise PictureError(f"cannot be drawn from the log ({type(error).__name__})") from error
        return make_thumbnail(file, width)
