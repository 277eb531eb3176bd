"""Blocks that exist more than once and are drawn once: which they are, and what is left out of the drawings."""

from __future__ import annotations

from circuit.netlist import Circuit

# Blocks that exist more than once are drawn once, for the first; the others differ in their references only.
REPEATED = {"valve1": ("valve2", "valve3"), "flash1": ("flash2", "flash3"), "beam1": ("beam2",)}


def skipped_refs(circuit: Circuit) -> list[str]:
    """References in blocks that are not drawn because a twin is."""
    blocks = {twin for twins in REPEATED.values() for twin in twins}
    return [part.ref for part in circuit.parts if part.block in blocks]


def skipped_pins(circuit: Circuit) -> list[tuple[str, str]]:
    """Pins of drawn parts that belong to a block not drawn: the second beam's part of the comparator."""
    nets = {net for ref in skipped_refs(circuit) for net in circuit.part(ref).pins.values()}
    own = nets - {
        net for part in circuit.parts if part.block in REPEATED for net in part.pins.values()
    }
    return [
        (ref, pin) for ref in ("U3",) for pin, net in circuit.part(ref).pins.items() if net in own
    ]


def twin_labels(circuit: Circuit, block: str) -> dict[str, str]:
    """Drawn reference to the text that names its twins too: R110 to R110/120/130."""
    columns = [[p.ref for p in circuit.parts if p.block == b] for b in (block, *REPEATED[block])]
    return {
        refs[0]: "/".join([refs[0], *(ref.lstrip("RDQULJFEV") for ref in refs[1:])])
        for refs in zip(*columns, strict=True)
    }
