"""Figures of the placing plan: the board from the parts' side, and its legs from the side where wires are soldered."""

from __future__ import annotations

from typing import Any

from circuit.canvas import BLUE, GREY, INK, RED
from circuit.netlist import build_circuit
from circuit.placing import (
    BOARD_BOX,
    COLUMNS,
    GAP_COLUMNS,
    ON_PANEL,
    PAD_MM,
    PITCH_MM,
    ROWS,
    Hole,
    Place,
    place_parts,
    strip_holes,
)

_RAILS = {"GND": "#222222", "VS": "#c03030", "V5": "#d98200", "V3": "#2a8a3a"}
# Left, top, right, bottom, name, and where the name stands.
_FIELDS = (
    (1.0, 0.5, 15.6, 16.9, "supply", (1.2, 16.6)),
    (15.7, 0.5, 39.3, 16.9, "valves 1, 2, 3", (20.0, 9.3)),
    (1.0, 17.2, 22.0, 28.4, "microcontroller board", (1.2, 28.1)),
    (22.1, 17.2, 35.2, 28.4, "buffer", (30.8, 28.1)),
    (35.3, 17.2, 44.8, 28.5, "sensing", (35.5, 17.5)),
    (39.4, 0.5, 45.5, 16.9, "camera", (39.6, 0.9)),
    (1.0, 28.6, 41.9, 36.5, "receivers (with parts of sensing and button)", (1.2, 29.0)),
    (42.0, 28.6, 45.5, 36.5, "button", (42.2, 36.2)),
)
_SHEET_INCH = (25.0, 16.6)
_CHIP_KINDS = ("buffer", "comparator", "opamp", "opto")


def draw_placing() -> Any:
    """The parts' side, with the holes of every leg."""
    circuit = build_circuit()
    figure, a = _draw_board(
        False, "The parts' side. A hole is written column/row: 25/21 is column 25, row 21"
    )
    for left, top, right, bottom, name, at in _FIELDS:
        _add_rectangle(a, left, top, right, bottom, face="#eef3fa", edge="#c8d4e4", order=1)
        a.text(*at, name, fontsize=9.5, color=BLUE, va="center", zorder=6)
    for n in (1, 2, 3):
        top = 37.5 - 12 * n
        _add_rectangle(a, 50.6, top - 0.2, 60.6, top + 8.4, face="#fbeeee", edge="#e4c8c8", order=1)
        a.text(
            58.2,
            top + 0.75,
            f"flash {n}, contact side",
            fontsize=9.5,
            color=RED,
            va="bottom",
            ha="center",
            zorder=6,
        )
    left, top, right, bottom = BOARD_BOX
    _add_rectangle(a, left, top, right, bottom, face="#dfeedd", edge=INK, order=2)
    a.text(
        (left + right) / 2,
        (top + bottom) / 2,
        "M1: Raspberry Pi Pico, Pico W, Pico 2",
        fontsize=11,
        ha="center",
        va="center",
    )
    _add_rectangle(
        a, left - 0.5, top + 2.6, left + 1.6, bottom - 2.6, face="#bbbbbb", edge=INK, order=3
    )
    a.text(
        left + 0.55,
        (top + bottom) / 2,
        "USB",
        fontsize=9,
        ha="center",
        va="center",
        rotation=90,
        zorder=6,
    )
    for position, hole in strip_holes().items():
        _add_hole(a, hole, "#557755")
        up = -0.62 if hole[1] > 20 else 0.62
        a.text(
            hole[0], hole[1] + up, str(position), fontsize=6.5, ha="center", va="center", zorder=6
        )
    for place in place_parts(circuit).values():
        _add_part(a, place)
    return figure


def draw_placing_below() -> Any:
    """The solder side: left and right are swapped, each leg carries its part's name."""
    circuit = build_circuit()
    figure, a = _draw_board(
        True, "The same from below, where the wires go: left and right are swapped"
    )
    for position, hole in strip_holes().items():
        _add_hole(a, hole, "#557755")
        a.text(
            hole[0],
            hole[1] + 0.5,
            f"M1\n{position}",
            fontsize=5.6,
            ha="center",
            va="center",
            zorder=6,
        )
    for place in place_parts(circuit).values():
        if place.body:
            _add_rectangle(a, *place.body, face="none", edge="#c9c9c9", order=2, width=0.6)
        for pin, hole in place.holes.items():
            net = place.part.pins.get(pin, "")
            _add_hole(a, hole, _RAILS.get(net, "#3060b0") if net else "white")
            a.text(
                hole[0], hole[1] + 0.5, f"{place.part.ref}\n{pin}", fontsize=5.6, ha="center", va="center", zorder=6
            )  # fmt: skip
    keys = (*_RAILS.items(), ("every other connection", "#3060b0"))
    for n, (name, colour) in enumerate(keys):
        _add_hole(a, (58 - 6 * n, ROWS + 3), colour)
        a.text(57.5 - 6 * n, ROWS + 3, name, fontsize=10, va="center", ha="left")
    a.text(
        25, ROWS + 3, "White: an unused leg, soldered to its pad only.", fontsize=10, va="center"
    )
    return figure


def _draw_board(mirrored: bool, title: str) -> tuple[Any, Any]:
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    figure, a = plt.subplots(figsize=_SHEET_INCH)
    a.set_xlim((COLUMNS + 2.4, -1.4) if mirrored else (-1.4, COLUMNS + 2.4))
    a.set_ylim(ROWS + 3.6, -2.2)
    a.set_aspect("equal")
    a.axis("off")
    a.set_title(title, loc="left", fontsize=18)
    _add_rectangle(a, -0.2, -0.2, COLUMNS + 1.2, ROWS + 1.2, face="#fffdf6", edge=INK, order=0)
    xs = [x for x in range(1, COLUMNS + 1) for _ in range(ROWS)]
    ys = [y for _ in range(COLUMNS) for y in range(1, ROWS + 1)]
    a.plot(xs, ys, ".", color="#ddd6c0", markersize=3, zorder=1, rasterized=True)
    for column in range(1, COLUMNS + 1):
        for y in (-0.7, ROWS + 1.7):
            _add_number(a, column, y, column)
    for row in range(1, ROWS + 1):
        for x in (-0.8, COLUMNS + 1.8):
            _add_number(a, x, row, row)
    corners = [(x, y) for x in (1.3, COLUMNS - 0.3) for y in (1.0, ROWS)]
    screws: dict[str, Any] = {
        "color": "white",
        "markeredgecolor": GREY,
        "markersize": 19,
        "zorder": 2,
    }
    a.plot(*zip(*corners, strict=True), "o", **screws)
    half = PAD_MM / PITCH_MM / 2
    left, right = GAP_COLUMNS[0] + half, GAP_COLUMNS[1] - half
    _add_rectangle(a, left, -0.2, right, ROWS + 1.2, face="#f6d5d5", edge=RED, order=1)
    text = (
        "bare gap: no copper, no wire,\n"
        f"no solder in columns {GAP_COLUMNS[0] + 1} to {GAP_COLUMNS[1] - 1}"
    )
    middle = (left + right) / 2
    a.text(
        middle, 23.0, text, fontsize=10, color=RED, ha="center", va="center", rotation=90, zorder=6
    )
    return figure, a


def _add_number(a: Any, x: float, y: float, number: int) -> None:
    """A column's or row's number beside the board; every fifth is larger."""
    strong = number % 5 == 0 or number == 1
    size, colour = (11, INK) if strong else (7, GREY)
    a.text(x, y, str(number), fontsize=size, ha="center", va="center", color=colour)


def _add_rectangle(
    a: Any,
    left: float,
    top: float,
    right: float,
    bottom: float,
    *,
    face: str,
    edge: str,
    order: int,
    width: float = 1.0,
) -> None:
    from matplotlib.patches import Rectangle

    a.add_patch(
        Rectangle(
            (left, top),
            right - left,
            bottom - top,
            facecolor=face,
            edgecolor=edge,
            lw=width,
            zorder=order,
        )
    )


def _add_hole(a: Any, hole: Hole, colour: str) -> None:
    a.plot(
        [hole[0]],
        [hole[1]],
        "o",
        color=colour,
        markeredgecolor=INK,
        markeredgewidth=0.5,
        markersize=7,
        zorder=5,
    )


def _add_part(a: Any, place: Place) -> None:
    part = place.part
    kind, item = part.item.kind, part.item_key
    if place.body:
        for hole in place.holes.values():
            x, y = _nearest(place.body, hole)
            a.plot([hole[0], x], [hole[1], y], color=INK, lw=1.2, zorder=2)
        round_part = item in ("C1000U", "C100U", "LEDG")
        face = "#cfd6dd" if kind in _CHIP_KINDS else "#ffffff"
        _add_body(a, place, face, round_part)
    for pin, hole in place.holes.items():
        _add_hole(a, hole, "#e8c890" if part.ref in ON_PANEL else "#f4f4f4")
        text = _leg_text(place, pin)
        if text:
            dx, dy = _aside(place, hole)
            a.text(
                hole[0] + dx,
                hole[1] + dy,
                text,
                fontsize=7.5,
                ha="center",
                va="center",
                color=RED,
                zorder=7,
            )
    x, y = place.middle
    name = part.ref
    if part.ref in ON_PANEL:
        name, x = f"{part.ref}\nwires", x - (1.1 if x < 44 else 0.0 if x > 50 else 0.75)
    elif kind in ("nmos", "pmos"):
        y -= 0.62  # the legs stand in the middle
    elif kind in ("trimmer", "converter") or item in ("JBEAM", "JLIGHT", "JTERM2"):
        y -= 0.62 if place.body and place.body[3] - place.body[1] < 3 else 1.0
    elif kind == "thyristor":
        y -= 0.78
    elif item == "C100U":
        x -= 0.75
    elif kind in ("diode", "zener", "tvs"):
        x += 0.2 if place.holes["A"][0] > place.holes["K"][0] else -0.2
    elif kind == "led":
        x, y = (x, y - 1.0) if place.holes["A"][1] == place.holes["K"][1] else (x, y - 1.05)
    colour = "white" if kind in ("nmos", "pmos") else INK
    a.text(x, y, name, fontsize=9, ha="center", va="center", weight="bold", zorder=7, color=colour,
           rotation=90 if _stands(place) or part.ref == "J310" else 0)  # fmt: skip


def _nearest(body: tuple[float, float, float, float], hole: Hole) -> tuple[float, float]:
    """The point of a body next to a hole: where its leg comes out."""
    return min(max(hole[0], body[0]), body[2]), min(max(hole[1], body[1]), body[3])


def _stands(place: Place) -> bool:
    if not place.body or place.part.item.kind in _CHIP_KINDS:
        return False
    left, top, right, bottom = place.body
    return right - left < 1.6 and bottom - top > right - left + 0.4


def _add_body(a: Any, place: Place, face: str, is_round: bool) -> None:
    from matplotlib.patches import Circle

    assert place.body
    left, top, right, bottom = place.body
    if is_round:
        x, y = place.middle
        a.add_patch(
            Circle((x, y), (right - left) / 2, facecolor=face, edgecolor=INK, lw=0.9, zorder=3)
        )
    else:
        _add_rectangle(a, *place.body, face=face, edge=INK, order=3)
    part = place.part
    if part.item.kind in ("diode", "zener", "tvs"):
        (ax, ay), (kx, ky) = place.holes["A"], place.holes["K"]
        if ay == ky:
            edge = (left + 0.25, left + 0.5) if kx < ax else (right - 0.5, right - 0.25)
            _add_rectangle(a, edge[0], top, edge[1], bottom, face=INK, edge=INK, order=4)
        else:
            edge = (top + 0.25, top + 0.5) if ky < ay else (bottom - 0.5, bottom - 0.25)
            _add_rectangle(a, left, edge[0], right, edge[1], face=INK, edge=INK, order=4)
    if part.item.kind in ("nmos", "pmos"):
        _add_rectangle(a, left, top, right, top + 0.65, face="#555555", edge=INK, order=4)
    if part.item.kind in _CHIP_KINDS:
        first, second = place.holes["1"], place.holes["2"]
        notch = (left, (top + bottom) / 2) if first[1] == second[1] else ((left + right) / 2, top)
        a.add_patch(Circle(notch, 0.3, facecolor="white", edgecolor=INK, lw=0.9, zorder=4))


def _leg_text(place: Place, pin: str) -> str:
    """What to print at a leg: only where a part minds which way round it goes."""
    kind, item = place.part.item.kind, place.part.item_key
    if kind in _CHIP_KINDS:
        return pin
    if kind in ("nmos", "pmos", "thyristor", "converter", "bridge", "led") or pin in ("+", "-"):
        return pin
    if item in ("JTERM2", "JBEAM", "JLIGHT") or place.part.ref in ON_PANEL:
        return pin
    return ""


def _aside(place: Place, hole: Hole) -> tuple[float, float]:
    """Where a leg's text stands: outside of chips and transistors, inside of the rest."""
    kind = place.part.item.kind
    if not place.body:
        return (0.6, 0.0) if hole[0] < 50 else (0.55, 0.45)
    x, y = place.middle
    if kind in _CHIP_KINDS:
        if place.holes["1"][1] == place.holes["2"][1]:
            return 0.0, 0.55 if hole[1] < y else -0.55
        return (0.6 if hole[0] < x else -0.6), 0.0
    if kind == "bridge":
        return 0.55 if hole[0] < x else -0.55, 0.0
    if kind == "led":
        if place.holes["A"][1] == place.holes["K"][1]:
            return (-0.62 if hole[0] < x else 0.62), 0.0
        return -0.95, 0.0
    return 0.0, 0.62
