"""`beamfall` without a command: offers what makes sense on this computer now, and runs what the user chooses."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

from beamfall.cli.front import Terminal
from beamfall.cli.output import say_command, say_time
from beamfall.errors import BeamfallError
from beamfall.link.port_list import list_ports
from beamfall.places import find_log
from beamfall.shots import ShotLog
from beamfall.text import say_count

_FILES_MOST = 50  # searched for a rig file
_SIZE_MOST = 100_000


class Offer(NamedTuple):
    """Something to do next: what it is, and the command that does it."""

    text: str
    arguments: tuple[str, ...]

    @property
    def command(self) -> str:
        """The command as a user would type it."""
        return say_command(*self.arguments)


def offer_start(folder: Path | None = None) -> list[str]:
    """Print what makes sense: a board, the last series, a simulated rig. Return the chosen arguments, if any."""
    offers = list(list_offers(folder or Path()))
    print("Beamfall photographs colliding drops. What would you like to do?\n")
    width = max(len(offer.text) for offer in offers)
    for number, offer in enumerate(offers, 1):
        print(f"  {number}  {offer.text.ljust(width)}  {offer.command}")
    print("\n`beamfall --help` lists every command.")
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        return []
    return _choose(offers)


def _choose(offers: list[Offer]) -> list[str]:
    terminal = Terminal()
    while text := terminal.read(f"Number, 1 to {len(offers)} (Enter: none): "):
        if text.isdecimal() and 1 <= int(text) <= len(offers):
            return list(offers[int(text) - 1].arguments)
    return []


def list_offers(folder: Path) -> Iterator[Offer]:
    """Yield what makes sense, the likeliest first."""
    rig = _find_rig(folder)
    own = () if rig is None else (str(rig),)
    boards = [port.device for port in list_ports() if port.is_candidate]
    for board in boards:
        yield Offer(
            "Open the page with the board that is connected", ("page", *own, "--port", board)
        )
    yield from _offer_last_evening()
    yield Offer(
        "Find a collision on a simulated rig",
        ("seek", *own, "--port", "sim", "--picture", "pictures.png"),
    )
    yield Offer("Open the page with a simulated rig", ("page", *own, "--port", "sim"))
    if rig is None:
        yield Offer("Make your own rig file, step by step", ("rig", "new", "my_rig.toml"))
    else:
        yield Offer("Look for what is missing in your rig file", ("rig", "check", str(rig)))
    if not boards:
        yield Offer("Put the firmware on a board (connect it first)", ("board", "install"))


def _offer_last_evening() -> Iterator[Offer]:
    log = find_log()
    if not log.exists():
        return
    try:
        with ShotLog.open(log, read_only=True) as shots:
            newest = shots.list_series(limit=1)
    except BeamfallError:
        return  # `beamfall shots` says what is wrong with it
    for series in newest:
        when = say_time(series.begun_us)
        yield Offer(
            f"Look at the last series ({series.kind}, {say_count(series.shots, 'shot')}, {when})",
            ("shots", "list", "--series", str(series.series)),
        )


def _find_rig(folder: Path) -> Path | None:
    """The newest rig file in a folder."""
    found: list[tuple[float, Path]] = []
    for file in sorted(folder.glob("*.toml"))[:_FILES_MOST]:
        try:
            facts = file.stat()
            if facts.st_size <= _SIZE_MOST and "[[valve]]" in file.read_text(encoding="utf-8"):
                found.append((facts.st_mtime, file))
        except (OSError, ValueError):
            continue
    return max(found)[1] if found else None
