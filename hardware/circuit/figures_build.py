"""Figures for building: the whole set-up, which way round parts go."""

from __future__ import annotations

from typing import Any

from circuit.canvas import BLUE, GREY, INK, RED, add_arrow, add_box, add_line, add_text, blank


def draw_overview(axes_size: tuple[float, float] = (11, 6.2)) -> Any:
    """What is connected to what: the whole set-up on one page."""
    figure, a = blank(*axes_size, (0, 22, 0, 12.4), "The whole set-up")
    add_box(a, 0.3, 8.6, 3.6, 1.8, "plug-in supply\n12 V or 24 V, 3 A\n(bought, certified)")
    add_box(a, 0.3, 5.4, 3.6, 1.8, "computer\n(not needed with\na stored shot)")
    add_box(a, 0.3, 2.9, 3.6, 1.5, "USB isolator\n(advised)", style="--")
    add_box(a, 6.2, 1.0, 8.4, 10.4, "", face="#f7f7f7")
    add_text(a, 10.4, 11.0, "the controller, in one closed case", ha="center", colour=GREY)
    add_box(a, 6.6, 8.4, 3.0, 2.0, "supply:\nfuse, polarity,\n5 V")
    add_box(a, 6.6, 4.0, 3.0, 2.6, "microcontroller\nboard")
    add_box(a, 10.2, 4.0, 1.6, 6.0, "buffer\nU2")
    for y, text in ((9.0, "valves"), (6.8, "flashes"), (4.6, "camera")):
        add_box(a, 12.3, y - 0.6, 1.9, 1.3, text)
    add_box(a, 6.6, 1.5, 5.2, 1.6, "receivers U3:\nbeams, flash seen")
    add_line(a, (13.25 - 1.2, 7.8), (13.25 - 1.2, 3.2), (14.9, 3.2), colour=RED, style="--")
    add_line(a, (12.05, 7.8), (14.9, 7.8), colour=RED, style="--")
    add_text(a, 13.4, 2.7, "isolated from\nall the rest", colour=RED, size=8, ha="center")
    add_arrow(a, (3.9, 9.5), (6.6, 9.5))
    add_line(a, (2.1, 5.4), (2.1, 4.4))
    add_line(a, (3.9, 3.6), (5.0, 3.6), (5.0, 5.3))
    add_arrow(a, (5.0, 5.3), (6.6, 5.3))
    add_arrow(a, (9.6, 5.3), (10.2, 5.3))
    add_arrow(a, (8.1, 8.4), (8.1, 6.6))
    for y in (9.0, 6.8, 4.6):
        add_arrow(a, (11.8, y), (12.3, y))
    add_arrow(a, (8.1, 3.1), (8.1, 4.0))
    outside = (
        (9.0, "3 solenoid valves\nunder the bottle"),
        (6.8, "up to 3 flashes\n(manual, low power)"),
        (4.6, "camera on bulb"),
        (2.3, "2 beams, photodiode"),
    )
    for y, text in outside:
        add_box(a, 16.4, y - 0.75, 4.8, 1.5, text)
        if y > 3:
            add_arrow(a, (14.2, y), (16.4, y))
        else:
            add_arrow(a, (16.4, y), (11.8, y))
    return figure


def draw_parts() -> Any:
    """How parts are recognised and turned."""
    from matplotlib.patches import Circle, Polygon, Rectangle

    figure, a = blank(
        11.5,
        9.9,
        (0, 23, -5.0, 14.6),
        "Which way round to fit each part, seen from above unless noted",
    )

    def two_lead(
        x: float, y: float, ring: str, names: tuple[str, str], title: str, note: str
    ) -> None:
        add_line(a, (x - 1.6, y), (x - 0.9, y))
        add_line(a, (x + 0.9, y), (x + 1.6, y))
        a.add_patch(Rectangle((x - 0.9, y - 0.35), 1.8, 0.7, facecolor="#444444", edgecolor=INK))
        a.add_patch(Rectangle((x + 0.45, y - 0.35), 0.18, 0.7, facecolor=ring, edgecolor=ring))
        add_text(a, x - 1.7, y + 0.45, names[0], ha="center", size=8)
        add_text(a, x + 1.7, y + 0.45, names[1], ha="center", size=8)
        add_text(a, x, y + 1.1, title, ha="center", colour=BLUE)
        add_text(a, x, y - 0.9, note, ha="center", size=8)

    two_lead(
        2.8,
        12.2,
        "white",
        ("A", "K"),
        "diode, Schottky, Zener, TVS",
        "the ring marks the\ncathode (K)",
    )
    add_line(a, (7.0, 10.6), (7.0, 12.0))
    add_line(a, (7.6, 10.0), (7.6, 12.0))
    a.add_patch(Circle((7.3, 12.4), 0.6, facecolor="#e8ffe8", edgecolor=INK))
    add_text(a, 7.3, 13.3, "LED", ha="center", colour=BLUE)
    add_text(a, 6.5, 10.9, "K (short,\nflat side)", ha="right", size=8)
    add_text(a, 7.9, 10.5, "A (long)", size=8)
    add_line(a, (11.5, 10.4), (11.5, 11.8))
    add_line(a, (12.1, 10.9), (12.1, 11.8))
    a.add_patch(Rectangle((11.2, 11.8), 1.3, 1.2, facecolor="#333333", edgecolor=INK))
    a.add_patch(Rectangle((12.15, 11.8), 0.25, 1.2, facecolor="#dddddd", edgecolor=INK))
    add_text(a, 11.8, 13.3, "electrolytic capacitor", ha="center", colour=BLUE)
    add_text(a, 11.1, 10.8, "+ (long)", ha="right", size=8)
    add_text(a, 12.4, 11.1, "− (stripe)", size=8)
    a.add_patch(Rectangle((15.6, 11.6), 2.0, 1.4, facecolor="#444444", edgecolor=INK))
    a.add_patch(Rectangle((15.6, 13.0), 2.0, 0.5, facecolor="#cccccc", edgecolor=INK))
    for n, name in enumerate("GDS"):
        add_line(a, (16.0 + 0.6 * n, 11.6), (16.0 + 0.6 * n, 10.4))
        add_text(a, 16.0 + 0.6 * n, 10.1, name, ha="center", size=8)
    add_text(a, 16.6, 14.0, "MOSFET, print towards you", ha="center", colour=BLUE)
    add_text(
        a,
        16.6,
        9.5,
        "usual order; check the data sheet.\nThe metal tab is D: it must touch nothing",
        ha="center",
        size=8,
    )
    a.add_patch(
        Polygon(
            [(20.2, 11.6), (22.0, 11.6), (22.0, 12.6), (21.6, 13.0), (20.6, 13.0), (20.2, 12.6)],
            facecolor="#444444",
            edgecolor=INK,
        )
    )
    for n in range(3):
        add_line(a, (20.6 + 0.5 * n, 11.6), (20.6 + 0.5 * n, 10.6))
    add_text(a, 21.1, 13.4, "thyristor, flat side to you", ha="center", colour=BLUE)
    add_text(
        a,
        21.1,
        9.9,
        "orders differ (K G A, K A G):\nonly the data sheet knows",
        ha="center",
        size=8,
    )

    def dip(
        x: float, y: float, per_side: int, title: str, names: dict[int, str], note: str
    ) -> None:
        height = 0.62 * per_side + 0.2
        a.add_patch(Rectangle((x, y - height), 1.8, height, facecolor="#444444", edgecolor=INK))
        a.add_patch(Circle((x + 0.9, y), 0.22, facecolor="white", edgecolor=INK))
        a.add_patch(Circle((x + 0.35, y - 0.3), 0.09, facecolor="white", edgecolor="white"))
        total = 2 * per_side
        for n in range(per_side):
            py = y - 0.4 - 0.62 * n
            for pin, px, ha, off in (
                (n + 1, x, "right", -0.45),
                (total - n, x + 1.8, "left", 0.45),
            ):
                add_line(a, (px, py), (px + (-0.35 if ha == "right" else 0.35), py))
                add_text(
                    a,
                    px + off,
                    py,
                    f"{pin}{' ' + names[pin] if pin in names else ''}"
                    if ha == "left"
                    else f"{names.get(pin, '')} {pin}".strip(),
                    ha=ha,
                    size=8,
                )
        add_text(a, x + 0.9, y + 0.6, title, ha="center", colour=BLUE)
        add_text(a, x + 0.9, y - height - 0.25, note, ha="center", va="top", size=8)

    dip(
        2.2,
        7.4,
        3,
        "optocoupler, 6 pins",
        {1: "A", 2: "K", 3: "free", 4: "E", 5: "C", 6: "B"},
        "pins 1 to 3: logic side\npins 4 to 6: flash side",
    )
    dip(
        7.6,
        7.4,
        2,
        "optocoupler, 4 pins",
        {1: "A", 2: "K", 3: "E", 4: "C"},
        "pins 1, 2: logic side",
    )
    dip(
        12.8,
        7.4,
        4,
        "any chip",
        {},
        "pin 1 is left of the notch or at the dot;\ncount down the left side, up the right.\nThe "
        "buffer has 20 pins, the comparator 14,\nthe amplifier 8",
    )
    a.add_patch(Circle((19.2, 6.0), 0.9, facecolor="#333333", edgecolor=INK))
    a.add_patch(Rectangle((19.9, 5.3), 0.4, 1.4, facecolor="white", edgecolor="white"))
    add_line(a, (19.9, 5.45), (19.9, 6.55))
    add_text(a, 19.2, 7.4, "phototransistor (from its lens)", ha="center", colour=BLUE)
    add_text(
        a,
        20.0,
        3.9,
        "usually: short lead, flat side: C\nlong lead: E. It is dark to the eye;\nthe infrared LED is clear or blue",
        ha="center",
        size=8,
    )
    _draw_third_row(a)
    add_text(
        a,
        0.4,
        -4.3,
        "Resistors, ceramic capacitors, fuses, buttons and the bridge's ~ pins may be put in either "
        "way. 1 % resistors have five rings: measure each one before it goes in.",
        size=8.5,
    )
    return figure


def _draw_third_row(a: Any) -> None:
    """Bridge, trimmer, photodiode, converter, and a chip's legs from below."""
    from matplotlib.patches import Circle, Rectangle

    top = 1.9
    a.add_patch(Rectangle((1.6, -1.2), 2.0, 1.8, facecolor="#444444", edgecolor=INK))
    for x, y, mark, ha in (
        (1.6, 0.2, "+", "right"),
        (1.6, -0.8, "−", "right"),
        (3.6, 0.2, "~", "left"),
        (3.6, -0.8, "~", "left"),
    ):
        side = -1 if ha == "right" else 1
        add_line(a, (x, y), (x + 0.35 * side, y))
        add_text(a, x + 0.5 * side, y, mark, ha=ha, size=10)
        a.text(x - 0.3 * side, y, mark, fontsize=9, color="white", ha="center", va="center")
    add_text(a, 2.6, top, "bridge rectifier", ha="center", colour=BLUE)
    add_text(
        a,
        2.6,
        -1.5,
        "go by its marks, not its shape:\nbend the legs of other shapes",
        ha="center",
        va="top",
        size=8,
    )

    a.add_patch(Rectangle((6.3, -0.6), 2.2, 1.2, facecolor="#7fa8d8", edgecolor=INK))
    a.add_patch(Circle((6.6, 0.3), 0.17, facecolor="#e8c860", edgecolor=INK))
    for n in range(3):
        add_line(a, (6.9 + 0.5 * n, -0.6), (6.9 + 0.5 * n, -1.1))
        add_text(a, 6.9 + 0.5 * n, -1.35, str(n + 1), ha="center", size=8)
    add_text(a, 7.4, top, "trimmer", ha="center", colour=BLUE)
    add_text(a, 7.4, -1.7, "2 in the middle: wiper.\nScrew of brass", ha="center", va="top", size=8)

    a.add_patch(Rectangle((11.2, -0.5), 1.5, 1.2, facecolor="#333333", edgecolor=INK))
    a.add_patch(Rectangle((11.5, -0.25), 0.9, 0.7, facecolor="#223355", edgecolor="#8899bb"))
    a.add_patch(Circle((11.35, 0.55), 0.09, facecolor="white", edgecolor="white"))
    add_line(a, (11.5, -0.5), (11.5, -1.0))
    add_line(a, (12.4, -0.5), (12.4, -1.3))
    add_text(a, 11.2, -1.1, "K", ha="right", size=8)
    add_text(a, 12.6, -1.1, "A", size=8)
    add_text(a, 12.0, top, "photodiode", ha="center", colour=BLUE)
    add_text(
        a, 12.0, -1.7, "K: mark or short leg, not always.\nDiode test in the dark: passes\nwith red on A only",
        ha="center", va="top", size=8,
    )  # fmt: skip

    a.add_patch(Rectangle((15.6, -0.6), 2.2, 1.4, facecolor="#444444", edgecolor=INK))
    for n, name in enumerate(("IN", "GND", "OUT")):
        add_line(a, (15.95 + 0.75 * n, -0.6), (15.95 + 0.75 * n, -1.1))
        add_text(a, 15.95 + 0.75 * n, -1.35, name, ha="center", size=7)
    add_text(a, 16.7, top, "5 V converter", ha="center", colour=BLUE)
    add_text(
        a,
        16.7,
        -1.7,
        "usual order; look at its\nprint or data sheet",
        ha="center",
        va="top",
        size=8,
    )

    a.add_patch(Rectangle((20.0, -1.5), 1.8, 2.4, facecolor="#f2efe4", edgecolor=INK, ls="--"))
    for n in range(4):
        y = 0.55 - 0.6 * n
        for x, number in ((20.3, 8 - n), (21.5, n + 1)):
            a.add_patch(Circle((x, y), 0.14, facecolor="#cccccc", edgecolor=INK))
            add_text(a, x + (-0.5 if x < 21 else 0.5), y, str(number), ha="center", size=8)
    add_text(a, 20.9, top, "a chip from below", ha="center", colour=RED)
    add_text(
        a,
        20.9,
        -1.8,
        "where you solder: left and\nright are swapped",
        ha="center",
        va="top",
        size=8,
    )
