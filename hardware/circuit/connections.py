"""The list of connections: for each step of the guide its parts and their holes, and for each net every pin that
hangs on it, with its hole. For soldering and for checking off with a meter.
"""

from __future__ import annotations

from collections.abc import Mapping

from circuit.netlist import Circuit, Part
from circuit.placing import ON_CABLES, ON_PANEL, Place, place_parts, write_hole

# Build order of the guide: title, steps of the guide, blocks. A net is listed with the first block on it.
STEPS = (
    ("Supply", "steps 1 and 2", ("supply",)),
    ("Buffer and board", "step 3", ("buffer", "board")),
    ("Valves", "step 4", ("valve1", "valve2", "valve3", "shunt")),
    ("Sensing", "step 5", ("sensing",)),
    ("Button and status LED", "step 6", ("button",)),
    ("Receivers", "steps 7 and 8", ("beam1", "beam2", "light1", "receivers")),
    ("Camera", "step 9", ("camera",)),
    ("Flashes", "step 10", ("flash1", "flash2", "flash3")),
)
_RAILS = ("GND", "VS", "V5", "V3")


def _end(part: Part, pin: str, places: Mapping[str, Place]) -> str:
    function = part.pin_function(pin)
    name = pin if function == pin else f"{pin} ({function})"
    hole = f" {write_hole(places[part.ref].holes[pin])}" if part.ref in places else ""
    return f"{part.ref} {name}{hole}"


def _describe_part(part: Part) -> str:
    """What it is and its value: 'resistor, 10 kΩ'."""
    kind = part.item.description.split(",")[0]
    return kind if part.item.value in kind else f"{kind}, {part.item.value}"


def _describe_place(part: Part, places: Mapping[str, Place]) -> str:
    """Where a part goes, in words."""
    if part.ref in ON_CABLES:
        return "on its cable, not on the board"
    if part.item.kind == "board":
        return "in its two strips, see wiring/"
    place = places[part.ref]
    ends = [f"{pin} {write_hole(hole)}" for pin, hole in place.holes.items()]
    if len(ends) > 6:
        ends = [ends[0], "…", ends[-1]]
    where = ", ".join(ends)
    return f"in the case's wall; its wires: {where}" if part.ref in ON_PANEL else where


def connections_page(circuit: Circuit) -> str:
    """connections.md: by step of the guide, the parts with their holes, then one line for each connection to make."""
    places = place_parts(circuit)
    step_of = {block: n for n, (_, _, blocks) in enumerate(STEPS) for block in blocks}
    lines: dict[int, list[str]] = {n: [] for n in range(len(STEPS))}
    for net, pins in circuit.nets().items():
        if net in _RAILS:
            # A rail grows with every step: one line in each.
            for n in range(len(STEPS)):
                ends = [_end(part, pin, places) for part, pin in pins if step_of[part.block] == n]
                if ends:
                    lines[n].append(f"| rail **{net}** | {', '.join(ends)} |")
            continue
        # A connection grows too: each step that adds to it names all that hangs on it by then.
        for n in sorted({step_of[part.block] for part, _ in pins}):
            ends = [_end(part, pin, places) for part, pin in pins if step_of[part.block] <= n]
            if len(ends) > 1:
                lines[n].append(f"| {net} | {', '.join(ends)} |")
    out = [
        "# Connections",
        "",
        "Made by `python hardware/make.py` from the netlist and the placing plan: do not edit.",
        "",
        "For each step first its parts: value, and the hole of each leg, written column/row as in "
        "[the placing plan](pictures/placing.png).",
        "Then the connections: all pins in a line are joined with one another and with nothing else. "
        "`Q110 G 18/11` is leg G of Q110, in column",
        "18, row 11; `U2 18 (Y1) 27/18` is pin 18 of U2, called Y1 in its data sheet. Resistors, "
        "ceramic capacitors and fuses may be turned: 1 and 2",
        "are only names of their ends. A connection to which a later step adds a part is listed there "
        "again, whole; rails are listed with what each",
        "step adds, to be joined with the rail as it is. Pins of parts that you leave out are left "
        "out. Check each line off with a meter (continuity)",
        "before you go on.",
    ]
    for n, (title, steps, blocks) in enumerate(STEPS):
        out += ["", f"## {title}", "", f"For {steps} of [the guide](build.md).", ""]
        out += ["| part and value | legs |", "| --- | --- |"]
        out += [
            f"| {part.ref}, {_describe_part(part)} | {_describe_place(part, places)} |"
            for part in circuit.parts
            if part.block in blocks
        ]
        out += ["", "| connection | pins to join |", "| --- | --- |", *lines[n]]
    return "\n".join(out) + "\n"
