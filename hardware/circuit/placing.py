"""Where each part sits on the perforated board: the hole of every leg. rules_placing.py keeps the plan buildable.

A hole is (column, row), counted from the upper left corner with the parts' side up; texts write it column/row. The
pitch is 2.54 mm. Panel parts (sockets, button) have holes for the wires that lead to them. What hangs on a cable, and
the microcontroller board, have none: the board's strips are placed for one kind of header (`strip_holes`).
Sizes of bodies are those usual for the packages in the bill of materials (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from circuit.netlist import FLASHES, VALVES, Circuit, Part

Hole = tuple[int, int]
Box = tuple[float, float, float, float]

PITCH_MM = 2.54
PAD_MM = 2.0  # across; pads of perforated boards have 1.8 to 2 mm (common practice, no source)
COLUMNS, ROWS = 60, 36
GAP_COLUMNS = (46, 50)  # the last column of the logic side, the first of the flash side
ON_CABLES = ("L110", "L120", "L130", "D410", "Q410", "D420", "Q420", "D430")
ON_PANEL = ("J1", "J310", "J210", "J220", "J230", "S520")
# The microcontroller board: pin 1 of its header, and how far apart its two rows of 20 are.
STRIP_START: Hole = (2, 25)
STRIP_PINS, STRIP_APART = 20, 7
BOARD_BOX: Box = (
    STRIP_START[0] - 0.55,
    STRIP_START[1] - STRIP_APART - 0.65,
    STRIP_START[0] + STRIP_PINS - 0.45,
    STRIP_START[1] + 0.65,
)

# Length and width of bodies in mm, along the line of the legs and across it.
_BODY_MM: Mapping[str, tuple[float, float]] = {
    "resistor": (6.8, 2.4),
    "R150": (9.2, 3.3),
    "R0R22": (11.9, 4.7),
    "DRECT": (5.2, 2.7),
    "DSCH": (5.2, 2.7),
    "Z12": (4.2, 1.9),
    "TVS28": (7.6, 3.6),
    "TVS36": (7.6, 3.6),
    "C1000U": (16.0, 16.0),
    "C100U": (6.3, 6.3),
    "C100N": (5.6, 3.2),
    "C10N": (5.6, 3.2),
    "LEDG": (3.8, 3.8),
    "F2A": (25.0, 9.6),
    "PTC": (11.5, 3.5),
    "NMOS100": (10.4, 5.0),
    "PMOS60": (10.4, 5.0),
    "SCR": (7.6, 2.5),
    "JTERM2": (10.5, 9.0),
    "JBEAM": (12.4, 6.0),
    "JLIGHT": (7.5, 6.0),
    "TRIM1K": (9.6, 5.0),
    "BUCK5": (11.7, 8.5),
    "BRIDGE": (9.0, 8.4),
}


@dataclass(frozen=True)
class Place:
    """A part on the board: the hole of each leg, also of unused ones, and its body's outline in holes."""

    part: Part
    holes: Mapping[str, Hole]
    body: Box | None  # None: only wires end here

    @property
    def middle(self) -> tuple[float, float]:
        """The middle of the outline, or of the holes."""
        if self.body:
            return (self.body[0] + self.body[2]) / 2, (self.body[1] + self.body[3]) / 2
        columns, rows = zip(*self.holes.values(), strict=True)
        return sum(columns) / len(columns), sum(rows) / len(rows)


def _supply() -> dict[str, tuple[Hole, ...]]:
    return {
        "J1": ((2, 5), (2, 8)),
        "F1": ((4, 3), (13, 3)),
        "Q1": ((10, 7), (11, 7), (12, 7)),
        "R1": ((9, 10), (13, 10)),
        "D1": ((9, 9), (13, 9)),
        "D2": ((14, 12), (9, 12)),
        "C1": ((6, 13), (3, 13)),
        "C2": ((9, 14), (11, 14)),
        "R2": ((9, 16), (13, 16)),
        "LED1": ((15, 14), (15, 15)),
        "U1": ((4, 7), (5, 7), (6, 7)),
        "D3": ((15, 5), (15, 9)),
        "C3": ((23, 23), (23, 24)),
        "R3": ((23, 28), (27, 28)),
        "LED2": ((29, 28), (30, 28)),
        "C20": ((23, 18), (23, 20)),
    } | {f"R{20 + n}": ((25 + n, 22), (25 + n, 26)) for n in range(1, 9)}


def _valve(n: int) -> dict[str, tuple[Hole, ...]]:
    r, c = 100 + 10 * n, 8 + 8 * n
    return {
        f"J{r}": ((c + 1, 2), (c + 3, 2)),
        f"F{r}": ((c + 6, 2), (c + 6, 4)),
        f"D{r + 1}": ((c + 6, 6), (c + 1, 6)),
        f"D{r}": ((c + 5, 8), (c + 1, 8)),
        f"Q{r}": ((c + 2, 11), (c + 3, 11), (c + 4, 11)),
        f"R{r}": ((c + 6, 13), (c + 2, 13)),
        f"R{r + 1}": ((c + 2, 14), (c + 6, 14)),
        f"R{r + 2}": ((c + 7, 16), (c + 3, 16)),
        f"LED{r}": ((c + 1, 16), (c, 16)),
    }


def _flash(n: int) -> dict[str, tuple[Hole, ...]]:
    r, row = 200 + 10 * n, 37 - 12 * n
    return {
        f"R{r}": ((45, row + 1), (45, row + 5)),
        f"R{r + 1}": ((51, row + 1), (55, row + 1)),
        f"R{r + 2}": ((51, row + 8), (55, row + 8)),
        f"Q{r}": ((54, row + 5), (52, row + 5), (53, row + 5)),
        f"D{r}": ((59, row + 4), (59, row + 6), (56, row + 4), (56, row + 6)),
        f"J{r}": ((60, row + 4), (60, row + 6)),
    }


def _slot(column: int, row: int) -> tuple[Hole, ...]:
    """A place for a resistor lying along a row."""
    return ((column, row), (column + 4, row))


def _rest() -> dict[str, tuple[Hole, ...]]:
    holes: dict[str, tuple[Hole, ...]] = {
        # camera
        "R310": _slot(40, 7),
        "R320": _slot(40, 11),
        "J310": ((45, 10), (45, 8), (45, 12)),
        # sensing
        "R510": ((42, 19), (42, 25)),
        "C510": ((38, 18), (40, 18)),
        "C511": ((44, 20), (44, 22)),
        "C512": ((44, 24), (44, 26)),
        # button, status LED
        "C520": ((43, 29), (43, 31)),
        "S520": ((43, 33), (43, 35)),
        "LED520": ((45, 33), (45, 34)),
        # receivers
        "R416": ((3, 30), (8, 30)),
        "R426": ((9, 30), (14, 30)),
        "RV410": ((4, 32), (5, 32), (6, 32)),
        "RV420": ((9, 32), (10, 32), (11, 32)),
        "J410": ((4, 35), (5, 35), (6, 35), (7, 35)),
        "J420": ((9, 35), (10, 35), (11, 35), (12, 35)),
        "J430": ((14, 35), (15, 35)),
        "C30": ((17, 30), (19, 30)),
        "C31": ((21, 30), (23, 30)),
    }
    for n, ref in enumerate(("R511", "R512", "R513", "R515")):
        holes[ref] = _slot(36, 25 + n)
    columns = {
        25: ("R410", "R411", "R412", "R413", "R414", "R415", "R520", "R521"),
        31: ("R420", "R421", "R422", "R423", "R424", "R425", "R522", "R516"),
        37: ("R430", "R431", "R432", "R433", "R434", "R435", "R514", "R517"),
    }
    for column, refs in columns.items():
        for n, ref in enumerate(refs):
            holes[ref] = _slot(column, 29 + n)
    return holes


@dataclass(frozen=True)
class _Chip:
    """A part with two rows of legs: pin 1's hole, legs in a row, step along the row, way across."""

    start: Hole
    per_side: int
    step: Hole
    across: Hole

    def holes(self) -> dict[str, Hole]:
        """Pin to hole: along one row and back along the other."""
        (x, y), (sx, sy), (ax, ay) = self.start, self.step, self.across
        near = [(x + n * sx, y + n * sy) for n in range(self.per_side)]
        far = [(cx + ax, cy + ay) for cx, cy in reversed(near)]
        return {str(n): hole for n, hole in enumerate((*near, *far), start=1)}


def _chips() -> dict[str, _Chip]:
    along, up, down, over = (1, 0), (0, -3), (0, 1), (3, 0)
    found = {
        "U2": _Chip((25, 21), 10, along, up),
        "U3": _Chip((17, 35), 7, along, up),
        "U4": _Chip((37, 23), 4, along, up),
        "U310": _Chip((40, 9), 2, down, over),
        "U320": _Chip((40, 13), 2, down, over),
    }
    wide = (GAP_COLUMNS[1] - GAP_COLUMNS[0], 0)
    for n in FLASHES:
        found[f"U{200 + 10 * n}"] = _Chip((GAP_COLUMNS[0], 40 - 12 * n), 3, down, wide)
    return found


def by_item(table: Mapping[str, object], part: Part) -> object:
    """The entry for a part's item, else for its kind."""
    return table.get(part.item_key, table.get(part.item.kind))


def _outline(part: Part, holes: Iterable[Hole]) -> Box | None:
    """The body's outline: as long as the item's, its middle between the legs."""
    if part.ref in ON_PANEL:
        return None
    columns, rows = zip(*holes, strict=True)
    x, y = (min(columns) + max(columns)) / 2, (min(rows) + max(rows)) / 2
    wide, high = max(columns) - min(columns), max(rows) - min(rows)
    size = by_item(_BODY_MM, part)
    if isinstance(size, tuple):
        length, width = (float(mm) / PITCH_MM for mm in size)
        # A bridge has two rows of legs: its body is longer across them.
        lies = wide >= high and part.item.kind != "bridge"
        half_x, half_y = (length / 2, width / 2) if lies else (width / 2, length / 2)
    else:  # chips: half a hole around their legs
        half_x, half_y = wide / 2 + 0.5, high / 2 + 0.5
    return x - half_x, y - half_y, x + half_x, y + half_y


def place_parts(circuit: Circuit) -> dict[str, Place]:
    """Where each part is, by reference; parts without a place are missing (rules_placing.py says so)."""
    straight = _supply() | _rest()
    for n in VALVES:
        straight |= _valve(n)
    for n in FLASHES:
        straight |= _flash(n)
    chips = _chips()
    places: dict[str, Place] = {}
    for part in circuit.parts:
        if part.ref in chips:
            holes = chips[part.ref].holes()
        elif part.ref in straight:
            holes = dict(zip(part.pins, straight[part.ref], strict=True))
        else:
            continue
        places[part.ref] = Place(part, holes, _outline(part, holes.values()))
    return places


def strip_holes() -> dict[int, Hole]:
    """Position on the microcontroller board's header to hole, for boards with two rows of 20."""
    column, row = STRIP_START
    near = {n + 1: (column + n, row) for n in range(STRIP_PINS)}
    far = {2 * STRIP_PINS - n: (column + n, row - STRIP_APART) for n in range(STRIP_PINS)}
    return near | far


def write_hole(hole: Hole) -> str:
    """A hole as the guide writes it: column/row."""
    return f"{hole[0]}/{hole[1]}"
