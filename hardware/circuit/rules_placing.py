"""Rules on the placing plan: it can be built with parts as they are sold, and the flash side keeps its distances."""

from __future__ import annotations

import math
from collections.abc import Mapping
from itertools import combinations

from circuit.netlist import Circuit
from circuit.placing import (
    BOARD_BOX,
    COLUMNS,
    GAP_COLUMNS,
    ON_CABLES,
    ON_PANEL,
    PAD_MM,
    PITCH_MM,
    ROWS,
    Hole,
    Place,
    by_item,
    place_parts,
    strip_holes,
)
from circuit.rules_contacts import is_contact_net

GAP_MM = 8.0
FLASH_GAP_MM = 3.0
# Bare board between the two poles of a flash's contact, but for the legs of one part.
CONTACT_MM = 3.0
SCREW_HOLES = 3  # this many holes from each corner are left to the screws

# Holes from one leg to the other, or from the first leg to the last.
_LEAD_HOLES: Mapping[str, int] = {
    "resistor": 4,
    "R150": 5,
    "R0R22": 6,
    "DRECT": 4,
    "DSCH": 4,
    "Z12": 4,
    "TVS28": 5,
    "TVS36": 5,
    "C1000U": 3,
    "C100U": 1,
    "C100N": 2,
    "C10N": 2,
    "LEDG": 1,
    "F2A": 9,
    "PTC": 2,
    "NMOS100": 2,
    "PMOS60": 2,
    "SCR": 2,
    "JTERM2": 2,
    "JBEAM": 3,
    "JLIGHT": 1,
    "TRIM1K": 2,
    "BUCK5": 2,
}


def check_placing(circuit: Circuit) -> list[str]:
    """What is wrong with the plan; empty when it can be built and keeps its distances."""
    places = place_parts(circuit)
    return [
        *_check_complete(circuit, places),
        *_check_holes(places),
        *_check_leads(places),
        *_check_bodies(places),
        *_check_distances(places),
    ]


def _check_complete(circuit: Circuit, places: Mapping[str, Place]) -> list[str]:
    found = []
    for part in circuit.parts:
        if part.ref in ON_CABLES or part.item.kind == "board":
            continue
        if part.ref not in places:
            found.append(f"{part.ref} has no place on the board")
            continue
        missing = {*part.pins, *part.open_pins} - set(places[part.ref].holes)
        found += [f"{part.ref} pin {pin} has no hole" for pin in sorted(missing)]
    return found


def _check_holes(places: Mapping[str, Place]) -> list[str]:
    """One leg a hole, on the board, away from the screws."""
    found = []
    used: dict[Hole, str] = {hole: f"M1 position {n}" for n, hole in strip_holes().items()}
    for ref, place in places.items():
        for pin, (column, row) in place.holes.items():
            name = f"{ref} pin {pin}"
            if not (1 <= column <= COLUMNS and 1 <= row <= ROWS):
                found.append(f"{name} at {column}/{row} is off the board")
            from_side = min(column - 1, COLUMNS - column)
            from_end = min(row - 1, ROWS - row)
            if from_side < SCREW_HOLES and from_end < SCREW_HOLES:
                found.append(f"{name} at {column}/{row} is where a screw goes")
            if (column, row) in used:
                found.append(f"{name} and {used[column, row]} share the hole {column}/{row}")
            used[column, row] = name
    return found


def _check_leads(places: Mapping[str, Place]) -> list[str]:
    """Legs are as far apart as the part can have them."""
    found = []
    for ref, place in places.items():
        wanted = by_item(_LEAD_HOLES, place.part)
        if ref in ON_PANEL or not isinstance(wanted, int):
            continue
        columns, rows = zip(*place.holes.values(), strict=True)
        wide, high = max(columns) - min(columns), max(rows) - min(rows)
        if sorted((wide, high)) != [0, wanted]:
            found.append(f"{ref}: legs {wide} and {high} holes apart, its package has {wanted}")
    return found


def _check_bodies(places: Mapping[str, Place]) -> list[str]:
    """No two bodies in one place, and no leg or wire under another's body."""
    found = []
    boxes = {ref: place.body for ref, place in places.items() if place.body}
    boxes["M1"] = BOARD_BOX
    near = 0.02
    for (ref, a), (other, b) in combinations(boxes.items(), 2):
        if min(a[2], b[2]) - max(a[0], b[0]) > near and min(a[3], b[3]) - max(a[1], b[1]) > near:
            found.append(f"{ref} and {other} are in one place")
    for ref, (left, top, right, bottom) in boxes.items():
        for other, place in places.items():
            for pin, (column, row) in place.holes.items():
                if other != ref and left < column < right and top < row < bottom:
                    found.append(f"{other} pin {pin} is under {ref}")
    return found


def _bare_mm(a: Hole, b: Hole) -> float:
    """Bare board between two pads in mm."""
    return math.dist(a, b) * PITCH_MM - PAD_MM


def _check_distances(places: Mapping[str, Place]) -> list[str]:
    """The bare gap of the flashes, between flashes, and between the poles of one contact."""
    found = []
    legs = [
        (f"{ref} pin {pin}", ref, place.part.pins.get(pin, ""), hole)
        for ref, place in places.items()
        for pin, hole in place.holes.items()
    ]
    flash_legs = [leg for leg in legs if leg[2].startswith("FLASH") and is_contact_net(leg[2])]
    others = [leg for leg in legs if leg not in flash_legs]
    others += [(f"M1 position {n}", "M1", "", hole) for n, hole in strip_holes().items()]
    for name, _, net, hole in flash_legs:
        if hole[0] < GAP_COLUMNS[1]:
            found.append(f"{name} is on the logic side of the gap")
        for other, _, _, there in others:
            if _bare_mm(hole, there) < GAP_MM:
                found.append(f"{name} is less than {GAP_MM:g} mm from {other}")
        for other, _, other_net, there in flash_legs:
            if net[:6] != other_net[:6] and _bare_mm(hole, there) < FLASH_GAP_MM:
                found.append(f"{name} is less than {FLASH_GAP_MM:g} mm from {other}")
    near_in_voltage = {"N", "G", "B"}  # between these there are a few volts only
    for (name, ref, net, hole), (other, other_ref, other_net, there) in combinations(flash_legs, 2):
        if ref == other_ref or net == other_net or net[:6] != other_net[:6]:
            continue
        if {net[-1], other_net[-1]} <= near_in_voltage:
            continue
        if _bare_mm(hole, there) < CONTACT_MM:
            found.append(f"{name} is less than {CONTACT_MM:g} mm from {other}")
    for ref, place in places.items():
        if place.body and place.part.item_key != "OPTO400":
            left, _, right, _ = place.body
            if right > GAP_COLUMNS[0] + 0.5 and left < GAP_COLUMNS[1] - 0.5:
                found.append(f"{ref} stands in the gap")
    return found
