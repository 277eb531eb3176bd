"""The list of parts and connections by step of the guide: what to fit, and for each net every pin on it, to check
with a meter.
"""

from __future__ import annotations

from circuit.netlist import Circuit, Part

# Build order of the guide: title, steps of the guide, blocks. A net is listed with the first block on it.
STEPS = (
    ("Supply", "steps 1 and 2", ("supply", "highside")),
    ("Buffer and board", "step 3", ("buffer", "board")),
    ("Valves", "step 4", ("valve1", "valve2", "valve3", "shunt")),
    ("Sensing", "step 5", ("sensing",)),
    ("Button and status LED", "step 6", ("button",)),
    ("Receivers", "steps 7 and 8", ("beam1", "beam2", "light1", "receivers")),
    ("Camera", "step 9", ("camera",)),
    ("Flashes", "step 10", ("flash1", "flash2", "flash3")),
)
_RAILS = ("GND", "VS", "V5", "V3")


def _end(part: Part, pin: str) -> str:
    function = part.pin_function(pin)
    return f"{part.ref} {pin}" if function == pin else f"{part.ref} {pin} ({function})"


def _describe_part(part: Part) -> str:
    """What it is and its value: 'resistor, 10 kΩ'."""
    kind = part.item.description.split(",")[0]
    return kind if part.item.value in kind else f"{kind}, {part.item.value}"


def _describe_place(part: Part) -> str:
    """Where a part goes, in words."""
    if part.footprint:
        return "board"
    return (
        "on a cable"
        if part.item.kind in ("coil", "led", "phototransistor", "photodiode")
        else "in the case's wall"
    )


def connections_page(circuit: Circuit) -> str:
    """connections.md: by step of the guide, the parts then one line for each connection."""
    step_of = {block: n for n, (_, _, blocks) in enumerate(STEPS) for block in blocks}
    lines: dict[int, list[str]] = {n: [] for n in range(len(STEPS))}
    for net, pins in circuit.nets().items():
        if net in _RAILS:
            # A rail grows with every step: one line in each.
            for n in range(len(STEPS)):
                ends = [_end(part, pin) for part, pin in pins if step_of[part.block] == n]
                if ends:
                    lines[n].append(f"| rail **{net}** | {', '.join(ends)} |")
            continue
        # A connection grows too: each step that adds to it lists everything on it so far.
        for n in sorted({step_of[part.block] for part, _ in pins}):
            ends = [_end(part, pin) for part, pin in pins if step_of[part.block] <= n]
            if len(ends) > 1:
                lines[n].append(f"| {net} | {', '.join(ends)} |")
    out = [
        "# Connections",
        "",
        "Made by `python hardware/make.py` from the KiCad netlist: do not edit.",
        "",
        "For each step, the first table lists its parts. The second lists the connections that the board makes: check "
        "them with a meter (continuity) when a reading is wrong.",
        "All pins in a line are joined to one another and to nothing else. `Q110 G` is leg G of Q110; `U2 18 (Y1)` "
        "is pin 18 of U2, called Y1 in its data sheet.",
        "Your own wires join parts on a cable or in the case's wall to the connector in the same line.",
    ]
    for n, (title, steps, blocks) in enumerate(STEPS):
        out += ["", f"## {title}", "", f"For {steps} of [the guide](build.md).", ""]
        out += ["| part and value | where |", "| --- | --- |"]
        out += [
            f"| {part.ref}, {_describe_part(part)} | {_describe_place(part)} |"
            for part in circuit.parts
            if part.block in blocks
        ]
        out += ["", "| connection | pins to join |", "| --- | --- |", *lines[n]]
    return "\n".join(out) + "\n"
