"""The list of connections: for each net, every pin that hangs on it. For soldering and for checking off with a
meter.
"""

from __future__ import annotations

from circuit.netlist import Circuit, Part

# Build order of the guide; a net is listed with the first block that has a pin on it.
STEPS = (
    ("Supply", ("supply",)),
    ("Buffer and board", ("buffer", "board")),
    ("Valves", ("valve1", "valve2", "valve3", "shunt")),
    ("Sensing", ("sensing",)),
    ("Button and status LED", ("button",)),
    ("Receivers", ("beam1", "beam2", "light1", "receivers")),
    ("Camera", ("camera",)),
    ("Flashes", ("flash1", "flash2", "flash3")),
)
_RAILS = ("GND", "VS", "V5", "V3")


def _end(part: Part, pin: str) -> str:
    function = part.pin_function(pin)
    name = pin if function == pin else f"{pin} ({function})"
    return f"{part.ref} {name}"


def connections_page(circuit: Circuit) -> str:
    """connections.md: by step of the guide, one line for each connection to make."""
    step_of = {block: n for n, (_, blocks) in enumerate(STEPS) for block in blocks}
    lines: dict[int, list[str]] = {n: [] for n in range(len(STEPS))}
    for net, pins in circuit.nets().items():
        if net in _RAILS:
            # A rail grows with every step: one line in each.
            for n in range(len(STEPS)):
                ends = [_end(part, pin) for part, pin in pins if step_of[part.block] == n]
                if ends:
                    lines[n].append(f"| rail **{net}** | {', '.join(ends)} |")
            continue
        # A connection grows too: each step that adds to it names all that hangs on it by then.
        for n in sorted({step_of[part.block] for part, _ in pins}):
            ends = [_end(part, pin) for part, pin in pins if step_of[part.block] <= n]
            if len(ends) > 1:
                lines[n].append(f"| {net} | {', '.join(ends)} |")
    out = [
        "# Connections",
        "",
        "Made by `python hardware/make.py` from the netlist: do not edit. Each line is one "
        "connection: all pins in it are joined with",
        "one another and with nothing else. A connection to which a later step adds a part is "
        "listed there again, whole; rails are",
        "listed with what each step adds. Check each line off with a meter (continuity) before you "
        "go on. `Q110 G` is pin G of Q110,",
        "`U2 18 (Y1)` is pin 18 of U2, called Y1 in its data sheet.",
    ]
    for n, (title, _) in enumerate(STEPS):
        out += ["", f"## {title}", "", "| connection | pins to join |", "| --- | --- |", *lines[n]]
    return "\n".join(out) + "\n"
