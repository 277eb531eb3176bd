"""The rig as a drawing, with the asked measure marked: SVG for the page, characters for the terminal.

Not to scale. Colours come from the page's style: class `asked` marks what is measured.
"""

from __future__ import annotations

WIDTH, HEIGHT = 320, 400

# The measures: from and to on the drawing, and where their words go.
_MEASURES = {
    "height": ((250, 132), (250, 330), "height", (256, 235)),
    "head": ((216, 70), (216, 132), "head", (222, 105)),
    "bore": ((157, 138), (163, 138), "bore", (172, 142)),
    "outer": ((153, 138), (167, 138), "outer diameter", (172, 142)),
    "beam": ((64, 200), (64, 330), "beam height", (70, 290)),
    "depth": ((272, 330), (272, 356), "depth", (278, 347)),
    "dish": ((60, 372), (260, 372), "inner diameter", (118, 388)),
}
# The parts: a rectangle round them.
_PARTS = {"valve": (136, 108, 48, 26), "flash": (266, 168, 46, 30), "camera": (8, 120, 52, 36)}

Shape = tuple[str, dict[str, float | str], str]  # an SVG element: its name, attributes and text

_RIG: tuple[Shape, ...] = (
    # the bottle with its air tube
    ("path", {"class": "line", "d": "M130 20 h60 v74 l-22 12 h-16 l-22 -12 z"}, ""),
    ("path", {"class": "liquid", "d": "M131 44 h58 v50 l-22 11 h-14 l-22 -11 z"}, ""),
    ("path", {"class": "line", "d": "M178 8 v62"}, ""),
    # valve, nozzle, falling drops
    ("rect", {"class": "part", "x": 142, "y": 110, "width": 36, "height": 16}, ""),
    ("path", {"class": "part", "d": "M153 126 h14 v6 h-14 z"}, ""),
    ("path", {"class": "line", "d": "M157 126 v6 M163 126 v6"}, ""),
    ("circle", {"class": "liquid", "cx": 160, "cy": 158, "r": 5}, ""),
    ("circle", {"class": "liquid", "cx": 160, "cy": 238, "r": 5}, ""),
    # the beam's two halves and its light
    ("rect", {"class": "part", "x": 84, "y": 193, "width": 22, "height": 14}, ""),
    ("rect", {"class": "part", "x": 214, "y": 193, "width": 22, "height": 14}, ""),
    ("path", {"class": "light", "d": "M106 200 H214"}, ""),
    # dish, liquid and jet
    ("path", {"class": "liquid", "d": "M62 330 H258 V356 H62 z"}, ""),
    ("path", {"class": "liquid", "d": "M154 330 q5 -8 4 -28 h4 q-1 20 4 28 z"}, ""),
    ("path", {"class": "line", "d": "M60 318 V358 H260 V318"}, ""),
    # flash and camera
    ("rect", {"class": "part", "x": 270, "y": 172, "width": 38, "height": 22}, ""),
    ("path", {"class": "light", "d": "M270 196 L200 300"}, ""),
    ("rect", {"class": "part", "x": 12, "y": 126, "width": 34, "height": 24}, ""),
    ("circle", {"class": "part", "cx": 50, "cy": 138, "r": 8}, ""),
)


def list_shapes(shows: str = "") -> list[Shape]:
    """Return the drawing as SVG elements, with one measure or part marked; the view is WIDTH by HEIGHT."""
    return [*_RIG, *_mark_measure(shows), *_mark_part(shows)]


def _mark_measure(shows: str) -> list[Shape]:
    if shows not in _MEASURES:
        return []
    (x1, y1), (x2, y2), words, (x, y) = _MEASURES[shows]
    if x1 == x2:
        line = f"M{x1} {y1} V{y2} M{x1 - 5} {y1} h10 M{x2 - 5} {y2} h10"
    else:
        line = f"M{x1} {y1} H{x2} M{x1} {y1 - 5} v10 M{x2} {y2 - 5} v10"
    return [
        ("path", {"class": "asked", "d": line}, ""),
        ("text", {"class": "asked-text", "x": x, "y": y}, words),
    ]


def _mark_part(shows: str) -> list[Shape]:
    if shows not in _PARTS:
        return []
    x, y, width, height = _PARTS[shows]
    return [
        ("rect", {"class": "asked", "x": x, "y": y, "width": width, "height": height, "rx": 4}, "")
    ]


_ROWS = (
    "        |   |  bottle, air tube  ",
    "        |~|~|                    ",
    "        \\ | /                    ",
    "         [ ]   valve             ",
    "          U    nozzle            ",
    "          o                      ",
    "      [>- - -<]  beam            ",
    "          o                      ",
    "   |      |       |              ",
    "   |~~~~~/ \\~~~~~~|  surface     ",
    "   |______________|  dish        ",
)
_SPANS = {"height": (4, 9), "head": (2, 4), "beam": (6, 9), "depth": (9, 10)}


def draw_characters(shows: str) -> str:
    """Return the drawing in characters with an arrow along the measure; empty if there is nothing to mark."""
    if shows not in _SPANS:
        return ""
    first, last = _SPANS[shows]
    rows = []
    for number, row in enumerate(_ROWS):
        mark = " "
        if first <= number <= last:
            mark = "^" if number == first else "v" if number == last else "|"
        note = f" {_MEASURES[shows][2]}" if number == (first + last) // 2 else ""
        rows.append(f"{row}{mark}{note}".rstrip())
    return "\n".join(rows)
