"""Drilling drawing of the case: the board's screws, the wall of the logic side, the wall of the flash side."""

from __future__ import annotations

import importlib.util
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from circuit.board_file import read_board
from circuit.canvas import BLUE, GREY, INK, RED, add_arrow, add_box, add_line, add_text, blank

# Of a covered two-pole panel socket for 400 V; check yours (common practice, no source).
FLASH_HOLE = 16.0
FLASH_APART = 8.0  # between a flash socket's metal and anything else, as on the board
CABLES = ("valve", "beam", "USB")  # of the three glands, in their order
_DIMENSIONS = Path(__file__).resolve().parent.parent / "parts" / "dimensions.py"


def read_panel() -> Any:
    """The printed template's dimensions."""
    spec = importlib.util.spec_from_file_location("beamfall_part_dimensions", _DIMENSIONS)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module  # dataclasses look their module up
    spec.loader.exec_module(module)
    return module.PanelTemplate()


def draw_case() -> Any:
    """All three, in millimetres, seen from outside or above."""
    figure, axes = blank(12, 10.4, (-34, 262, -232, 40), "Drilling the case (mm; do not scale)")
    _draw_base(axes)
    _draw_logic_wall(axes, -158.0)
    _draw_flash_wall(axes, -158.0)
    return figure


def _hole(axes: Any, x: float, y: float, size: float, colour: str = INK) -> None:
    from matplotlib.patches import Circle

    axes.add_patch(Circle((x, y), size / 2, facecolor="white", edgecolor=colour, lw=1.4))
    for dx, dy in ((size / 2 + 2, 0), (0, size / 2 + 2)):
        add_line(axes, (x - dx, y - dy), (x + dx, y + dy), colour=GREY, width=0.5)


def _chain(axes: Any, xs: Sequence[float], y: float) -> None:
    """Distances from the first of `xs`, written under a line."""
    add_line(axes, (xs[0], y), (xs[-1], y), colour=GREY, width=0.8)
    for x in xs:
        add_line(axes, (x, y - 1.5), (x, y + 1.5), colour=GREY, width=0.8)
        add_text(axes, x, y - 4.5, f"{x - xs[0]:.4g}", size=8, colour=GREY, ha="center")


def _draw_base(axes: Any) -> None:
    board = read_board()
    wide, high = board.width, board.height
    add_text(axes, 0, 30, "Bottom, seen from above: the board's plastic screws, 3.2 mm", size=11)
    add_text(
        axes,
        0,
        23,
        f"inside of the case: {wide + 42:.0f} × {high + 36:.0f} × 60 mm or more, plastic",
        size=9,
    )
    add_box(axes, 0, -high, wide, high, face="#f3f6f1")
    add_box(axes, 149.2, -high, 6.4, high, face="#f7d9d9", edge="#f7d9d9")
    add_text(axes, 75, -high / 2, "logic side", size=11, colour=GREY, ha="center")
    add_text(axes, 177, -high / 2, "flash side", size=11, colour=RED, ha="center")
    for x, y in board.screws:
        _hole(axes, x, -y, 3.2)
        inwards = -6 if y < high / 2 else 6
        right = x > 0.7 * wide  # the label then stands to the left
        where = f"{x:.1f}, {y:.1f}"
        add_text(
            axes,
            x + (-4 if right else 4),
            -y + inwards,
            where,
            size=8,
            colour=BLUE,
            ha="right" if right else "left",
        )
    add_text(axes, 0, 4, "0, 0", size=8, colour=BLUE, ha="right")
    add_text(axes, wide / 2, 6, f"{wide:.0f}", size=9, ha="center")
    add_arrow(axes, (wide / 2 - 8, 6), (0, 6))
    add_arrow(axes, (wide / 2 + 8, 6), (wide, 6))
    add_text(axes, wide + 6, -high / 2, f"{high:.0f}", size=9)


def _draw_logic_wall(axes: Any, top: float) -> None:
    panel = read_panel()
    names = [name for name, _ in panel.holes]
    cables = iter(CABLES)
    names = [
        f"gland:\n{next(cables)}" if name == "gland" else name.replace(" ", "\n", 1)
        for name in names
    ]
    xs = [8 + panel.pitch * n for n in range(len(names))]
    add_text(
        axes, 0, top + 18, "A wall of the logic side, from outside (the printed template)", size=11
    )
    add_box(axes, -6, top - 46, xs[-1] + 20, 56, face="#fafafa")
    for x, name, (_, size) in zip(xs, names, panel.holes, strict=True):
        _hole(axes, x, top - 14, size)
        add_text(axes, x, top + 4, f"{size:g}", size=9, colour=BLUE, ha="center")
        add_text(axes, x, top - 28, name, size=8, ha="center")
    _chain(axes, xs, top - 37)
    add_text(
        axes,
        -6,
        top - 52,
        "below the middle of the wall, away from liquid; a drip loop in each cable",
        size=9,
    )


def _draw_flash_wall(axes: Any, top: float) -> None:
    left = 176.0
    xs = [left + 8 + 26.0 * n for n in range(3)]
    add_text(
        axes, left - 4, top + 18, "The wall of the flash side, from outside", size=11, colour=RED
    )
    add_box(axes, left - 6, top - 46, 86, 56, face="#fdf4f4", edge=RED)
    for n, x in enumerate(xs, 1):
        _hole(axes, x, top - 14, FLASH_HOLE, RED)
        add_text(axes, x, top + 4, f"{FLASH_HOLE:g}", size=9, colour=BLUE, ha="center")
        add_text(axes, x, top - 28, f"flash {n}\nJ2{n}1", size=8, ha="center")
    _chain(axes, xs, top - 37)
    add_text(
        axes,
        left - 6,
        top - 52,
        f"nothing else in this wall; {FLASH_APART:g} mm or",
        size=9,
        colour=RED,
    )
    add_text(axes, left - 6, top - 58, "more between any two of their wires", size=9, colour=RED)
    add_text(
        axes,
        -6,
        top - 64,
        "Holes are for usual parts: measure yours first. Drill with the board out of the case; remove every shaving.",
        size=9,
    )
