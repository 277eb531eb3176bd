"""`beamfall shots mend`: what is whole of a damaged log, saved into a new one."""

from __future__ import annotations

from pathlib import Path

import typer

from beamfall.errors import UserError
from beamfall.shots import find_log
from beamfall.shots.mend import mend_log
from beamfall.text import show_text

_NAMED_MOST = 20


def mend(
    out: Path | None = typer.Option(
        None, "--out", help="Write the new log here and leave the old one where it is."
    ),
) -> None:
    """Rescue the intact shots of a damaged log.

    Without --out the new log replaces a damaged one, which is kept beside it as `...-damaged`.
    First close other programs that use the log.
    """

    path = find_log()
    if out is not None and out.exists():
        raise UserError(f"{out} exists already: choose another name")
    mended = mend_log(path, out)
    if mended.kept == mended.file:
        print(
            show_text(
                f"Nothing is wrong with {mended.file}, which holds {mended.shots} shots: it was not changed"
            )
        )
        return
    print(show_text(f"{mended.shots} shots saved in {mended.file}; the old log is {mended.kept}"))
    if not mended.lost:
        print("Nothing was lost.")
        return
    more = len(mended.lost) - _NAMED_MOST
    named = ", ".join(mended.lost[:_NAMED_MOST]) + (f" and {more} more" if more > 0 else "")
    print(f"Lost: {named}")
