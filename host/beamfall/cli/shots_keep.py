"""`beamfall shots note`, `rate` and `picture`: what people say about a shot."""

from __future__ import annotations

from pathlib import Path

import typer

from beamfall.cli.open_log import open_log
from beamfall.cli.options import SHOT
from beamfall.errors import UserError
from beamfall.text import show_text


def note(
    shot: int = SHOT, text: str = typer.Argument(..., help="The note; '' removes it.")
) -> None:
    """Write a shot's note, replacing any earlier one."""
    with open_log(to_write=True) as log:
        log.set_note(shot, text)
    print(f"shot {shot}: {'noted' if text else 'note removed'}")


def rate(
    shot: int = SHOT,
    rating: int = typer.Argument(
        ..., help="1 (not worth keeping) to 5 (the one); 0 removes the rating."
    ),
) -> None:
    """Rate a shot's picture from 1 to 5."""
    with open_log(to_write=True) as log:
        log.set_rating(shot, rating or None)
    print(f"shot {shot}: {f'rated {rating} of 5' if rating else 'rating removed'}")


def picture(
    shot: int = SHOT,
    file: str = typer.Argument(..., help="The photograph; '' removes the link."),
) -> None:
    """Link a photograph to a shot. `beamfall shots match` does it for a whole folder."""

    path = Path(file).expanduser()
    if file and not path.is_file():
        raise UserError(f"{file}: no such file; check the path")
    with open_log(to_write=True) as log:
        log.set_picture(shot, str(path.resolve()) if file else None)
    print(f"shot {shot}: {f'its picture is {show_text(path.name)}' if file else 'picture removed'}")
