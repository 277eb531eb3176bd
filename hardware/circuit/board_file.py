"""The KiCad board file as drawings need it: the board's size, where its parts' pads are, its screw holes."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from circuit.kicad_files import FOLDER, PROJECT

Point = tuple[float, float]  # mm to the right and down from the board's upper left corner

_EDGE = re.compile(r'\(gr_line(.*?)"Edge.Cuts"', re.S)
_END = re.compile(r"\((?:start|end) ([-\d.]+) ([-\d.]+)\)")
_FOOTPRINT_AT = re.compile(r"\n\t\t\(at ([-\d.]+) ([-\d.]+)(?: ([-\d.]+))?\)")
_REFERENCE = re.compile(r'"Reference" "([^"]+)"')
_PAD_AT = re.compile(r'\n\t\t\(pad "[^"]+".*?\n\t\t\t\(at ([-\d.]+) ([-\d.]+)')


@dataclass(frozen=True)
class Placed:
    """A part on the board, by its pads."""

    ref: str
    pads: tuple[Point, ...]

    @property
    def middle(self) -> Point:
        """The middle of its pads."""
        xs, ys = zip(*self.pads, strict=True)
        return (min(xs) + max(xs)) / 2, (min(ys) + max(ys)) / 2


@dataclass(frozen=True)
class BoardFile:
    """What the board file holds."""

    width: float
    height: float
    placed: tuple[Placed, ...]
    screws: tuple[Point, ...]  # in order, seen from above


def read_board() -> BoardFile:
    """Reads the project's board file."""
    text = (FOLDER / f"{PROJECT}.kicad_pcb").read_text()
    edges = [(float(x), float(y)) for block in _EDGE.findall(text) for x, y in _END.findall(block)]
    left, top = min(x for x, _ in edges), min(y for _, y in edges)
    placed, screws = [], []
    for block in re.split(r"\n\t\(footprint ", text)[1:]:
        at, ref = _FOOTPRINT_AT.search(block), _REFERENCE.search(block)
        if not at or not ref:
            continue
        x, y, turn = float(at[1]) - left, float(at[2]) - top, math.radians(float(at[3] or 0))
        if block.startswith('"MountingHole:'):
            screws.append((x, y))
            continue
        pads = [_turned(float(dx), float(dy), turn) for dx, dy in _PAD_AT.findall(block)]
        if pads:
            placed.append(Placed(ref[1], tuple((x + dx, y + dy) for dx, dy in pads)))
    return BoardFile(
        max(x for x, _ in edges) - left,
        max(y for _, y in edges) - top,
        tuple(placed),
        tuple(sorted(screws)),
    )


def _turned(x: float, y: float, angle: float) -> Point:
    """Anticlockwise as seen on the screen, where y points down."""
    return (x * math.cos(angle) + y * math.sin(angle), y * math.cos(angle) - x * math.sin(angle))
