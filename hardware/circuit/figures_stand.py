"""Figures for setting up: a beam's head, the stand, the Mariotte bottle."""

from __future__ import annotations

from typing import Any

from circuit.canvas import (
    BLUE,
    GREY,
    INK,
    RED,
    WATER,
    add_arrow,
    add_box,
    add_line,
    add_text,
    blank,
)


def draw_beam_head() -> Any:
    """A beam's head from the side and from above."""
    from matplotlib.patches import Circle, Rectangle

    figure, a = blank(
        11, 8.8, (0, 110, -36, 52), "A beam's head, from the side and from above (in mm)"
    )

    def tube(x: float, lens_right: bool, text: str) -> None:
        a.add_patch(Rectangle((x, 18), 22, 8, facecolor="#333333", edgecolor=INK))
        lens = x + (3 if lens_right else 19)
        a.add_patch(Rectangle((lens - 3, 20), 6, 4, facecolor="#88aacc", edgecolor=INK))
        add_text(a, x + 11, 29, text, ha="center", size=9)

    tube(4, True, "emitter in a black tube,\n20 mm deep")
    tube(66, False, "receiver in a black tube,\n20 mm deep")
    a.add_patch(Rectangle((64.6, 18), 1.4, 3.5, facecolor=INK))
    a.add_patch(Rectangle((64.6, 22.5), 1.4, 3.5, facecolor=INK))
    add_line(a, (26, 22), (64.6, 22), colour=RED, style="--")
    a.add_patch(Circle((46, 22), 2, facecolor=WATER, edgecolor=BLUE))
    add_arrow(a, (46, 46), (46, 25), colour=BLUE)
    add_text(a, 47.5, 43, "drop's path:\nthrough the middle,\nwithin 0.5 mm", colour=BLUE)
    add_arrow(a, (26, 12), (66, 12), style="<|-|>")
    add_text(a, 46, 9.5, "gap 40 mm (30 to 50)", ha="center")
    add_text(a, 62, 34.5, "slit 1 mm high,\n5 mm wide", ha="right", size=9)
    add_arrow(a, (60, 31.5), (65, 23))
    a.add_patch(Rectangle((95, 18), 10, 8, facecolor=INK))
    a.add_patch(Rectangle((97.5, 21.5), 5, 1, facecolor="white"))
    add_text(a, 100, 29, "the slit, seen\nfrom the drop", ha="center", size=9)
    # From above: the bar passes beside the drop's path.
    for x, y, width, height in ((4, -4, 22, 8), (66, -4, 22, 8)):
        a.add_patch(Rectangle((x, y), width, height, facecolor="#333333", edgecolor=INK))
    for x in (12, 74):
        add_box(a, x, -16, 8, 12, "block", size=7, face="#d8c8a8")
    add_box(a, 2, -21, 88, 5, "bar: a strip of plastic or wood", size=8, face="#e8dcc0")
    add_line(a, (26, 0), (66, 0), colour=RED, style="--")
    a.add_patch(Rectangle((64.6, -4), 1.4, 8, facecolor=INK))
    a.add_patch(Circle((46, 0), 2, facecolor=WATER, edgecolor=BLUE))
    add_text(
        a,
        46,
        -5.5,
        "the drop, seen from above;\nnothing else in its way",
        ha="center",
        size=8,
        va="top",
    )
    add_text(a, 95, -2, "from above", size=9, colour=GREY)
    add_text(a, 95, 40, "from the side", size=9, colour=GREY)
    add_text(
        a,
        2,
        -25,
        "Push a straight 6 mm rod through both tubes while the glue sets, then they are in line. Level the "
        "bar within 1°. The slit lies\n"
        "flat: its long side is level, so that a drop a little off the middle still crosses all of its "
        "height. Emitter and receiver are\n"
        "pushed in from the outer ends, lens inwards. Roof the tubes against splashes, and lead the cables "
        "away downwards (a drip loop).",
        va="top",
        size=9,
    )
    return figure


def draw_geometry() -> Any:
    """The stand from the side: nozzle, beam, dish, flash, camera, and the tolerances."""
    from matplotlib.patches import Circle, Ellipse, Polygon, Rectangle

    figure, a = blank(
        10,
        9.2,
        (-45, 75, -16, 98),
        "The stand, from the side (dimensions in cm; an example to start from)",
    )
    a.add_patch(Rectangle((-12, 76), 24, 20, facecolor="white", edgecolor=INK))
    a.add_patch(Rectangle((-12, 76), 24, 13, facecolor=WATER, edgecolor=BLUE))
    add_text(a, 14, 88, "Mariotte bottle\n(see its own drawing)")
    a.add_patch(Rectangle((-3, 65), 6, 8, facecolor="#bbbbbb", edgecolor=INK))
    add_line(a, (0, 76), (0, 73))
    add_text(a, 5, 69, "valve; its wires hang\nin a drip loop", size=9)
    a.add_patch(
        Polygon([(-1, 65), (1, 65), (0.5, 60), (-0.5, 60)], facecolor="#888888", edgecolor=INK)
    )
    for y in (54, 46, 33, 18):
        a.add_patch(Circle((0, y), 0.7, facecolor=WATER, edgecolor=BLUE))
    add_line(a, (-9, 47), (9, 47), colour=RED, style="--")
    a.add_patch(Rectangle((-14, 45.5), 5, 3, facecolor="#333333"))
    a.add_patch(Rectangle((9, 45.5), 5, 3, facecolor="#333333"))
    add_text(a, 16, 47, "beam, level within 1°")
    a.add_patch(Ellipse((0, 0), 30, 4, facecolor=WATER, edgecolor=BLUE))
    a.add_patch(Polygon([(-15, 0), (15, 0), (13, -4), (-13, -4)], facecolor=WATER, edgecolor=INK))
    a.add_patch(
        Polygon([(-22, -4.5), (22, -4.5), (20, -7), (-20, -7)], facecolor="#dddddd", edgecolor=INK)
    )
    add_text(
        a, 0, -9.5, "dish, level; a tray under it catches what splashes over", ha="center", size=9
    )
    for x, low, high, text in ((-30, 0, 60, "nozzle 60\n± 0.5"), (-22, 0, 47, "beam 47\n± 0.2")):
        add_arrow(a, (x, low), (x, high), style="<|-|>")
        add_line(a, (x - 2, high), (-2, high), colour=GREY, width=0.8)
        add_text(
            a,
            x - 1 if x < -25 else x + 1,
            (low + high) / 2 + 6,
            text,
            ha="right" if x < -25 else "left",
            size=9,
        )
    add_line(a, (-32, 0), (-15, 0), colour=GREY, width=0.8)
    add_box(a, 44, 6, 14, 10, "camera", face="#eeeeee")
    add_line(a, (44, 11), (20, 4), colour=GREY, style=":")
    add_text(
        a,
        51,
        2.5,
        "30 cm or more away,\nbehind a clear splash guard",
        ha="center",
        size=8.5,
        va="top",
    )
    add_box(a, 42, 26, 12, 9, "flash", face="#eeeeee")
    add_line(a, (42, 30), (16, 6), colour=GREY, style=":")
    add_text(a, 56, 31, "not into the beam's\nreceiver, not into eyes", size=8.5)
    add_box(
        a,
        36,
        56,
        32,
        12,
        "controller, computer,\nsupplies: above the liquid\nand 1 m to the side",
        face="#f7f7f7",
    )
    add_line(a, (0, 60), (0, 2), colour=BLUE, width=0.8, style="--")
    add_text(
        a,
        -44,
        -13,
        "Plumb line from the nozzle through the beam's middle to the dish: within 1 mm at the beam "
        "(0.5 mm after fine adjustment).",
        size=9,
    )
    return figure


def draw_mariotte() -> Any:
    """A Mariotte bottle and its head."""
    from matplotlib.patches import Circle, Rectangle

    figure, a = blank(
        9, 7.6, (-22, 42, -22, 34), "Mariotte bottle: constant head from full to nearly empty"
    )
    a.add_patch(Rectangle((-10, 0), 20, 28, facecolor="white", edgecolor=INK, lw=2))
    a.add_patch(Rectangle((-9.8, 0.2), 19.6, 19)).set(facecolor=WATER, edgecolor="none")
    a.add_patch(Rectangle((-10, 28), 20, 3, facecolor="#999999", edgecolor=INK))
    add_text(a, 12, 29.5, "airtight stopper; air leaves and\nenters through the tube only")
    a.add_patch(Rectangle((-4, 6), 1.4, 27, facecolor="white", edgecolor=INK))
    a.add_patch(Rectangle((-3.9, 6.1), 1.2, 0.6, facecolor="white", edgecolor="white"))
    for x, y, r in ((-2.4, 8, 0.45), (-2.0, 11, 0.55), (-2.6, 15, 0.6)):
        a.add_patch(Circle((x, y), r, facecolor="white", edgecolor=BLUE))
    add_text(
        a, 12, 12, "air tube, 4 to 6 mm bore;\nbubbles from its lower end\nwhile liquid runs out"
    )
    add_arrow(a, (11.6, 11), (-2.2, 6.6))
    add_text(a, 12, 20, "level falls; the head does not")
    add_arrow(a, (11.6, 20), (8, 19.2))
    a.add_patch(Rectangle((5, -5), 1.6, 5, facecolor=WATER, edgecolor=INK))
    add_line(a, (5.8, -5), (5.8, -9), colour=BLUE, width=3)
    a.add_patch(Rectangle((3.3, -14), 5, 5, facecolor="#bbbbbb", edgecolor=INK))
    add_text(a, 9.5, -11.5, "valve")
    add_line(a, (5.8, -14), (5.8, -17), width=3)
    add_text(a, 9.5, -17, "nozzle's mouth")
    for y in (6, -17):
        add_line(a, (-18, y), (4.6 if y < 0 else -4, y), colour=GREY, width=0.8)
    add_arrow(a, (-15, -17), (-15, 6), style="<|-|>", colour=RED)
    add_text(a, -15.6, -6, "head H:\n10 to 25 cm", ha="right", colour=RED)
    add_text(
        a,
        -22,
        -21,
        "H runs from the tube's lower end to the nozzle's mouth. It stays the same until the level "
        "reaches the tube's end.",
        size=9,
    )
    return figure
