"""Rules on isolation: flash and camera contacts stand apart from everything, and their parts stand their voltage."""

from __future__ import annotations

from circuit.conditions import CONDITIONS
from circuit.netlist import GROUND, Circuit

# Kinds whose two sides are not joined electrically: light passes, current does not.
_ISOLATED_SIDES = {"opto": ({"A", "K"}, {"C", "E", "B"})}


def galvanic_groups(circuit: Circuit) -> list[frozenset[str]]:
    """Nets that are joined by anything a current can pass, so by every part but the gap in an optocoupler."""
    parent: dict[str, str] = {net: net for net in circuit.nets()}

    def root(net: str) -> str:
        while parent[net] != net:
            net = parent[net]
        return net

    for part in circuit.parts:
        sides = _ISOLATED_SIDES.get(part.item.kind)
        groups = (
            [
                [net for pin, net in part.pins.items() if part.pin_function(pin) in side]
                for side in sides
            ]
            if sides
            else [list(part.pins.values())]
        )
        for group in groups:
            for net in group[1:]:
                parent[root(net)] = root(group[0])
    groups_by_root: dict[str, set[str]] = {}
    for net in parent:
        groups_by_root.setdefault(root(net), set()).add(net)
    return [frozenset(group) for group in groups_by_root.values()]


def check_isolation(circuit: Circuit) -> list[str]:
    """No flash or camera contact is joined to logic ground, nor flashes to one another or to the camera."""
    findings = []
    for group in galvanic_groups(circuit):
        outside = {net.split("_")[0] for net in group if is_contact_net(net)}
        if GROUND in group and outside:
            findings.append(f"{', '.join(sorted(outside))} is joined to {GROUND}")
        elif len(outside) > 1:
            findings.append(f"{' and '.join(sorted(outside))} are joined")
    return findings


def is_contact_net(net: str) -> bool:
    """True for nets on the far side of an optocoupler."""
    if net.startswith("CAM_"):
        return True
    return net.startswith("FLASH") and net.split("_")[1] in ("1", "2", "P", "N", "G", "B")


def check_contact_ratings(circuit: Circuit) -> list[str]:
    """What lies across a flash's contact stands its voltage with margin; the optocoupler has its base resistor."""
    findings = []
    contact_v = CONDITIONS.flash_contact_max_v
    for opto in circuit.of_kind("opto"):
        if not opto.net("E").startswith("FLASH"):
            continue
        if opto.item.ratings["v_ce"] * CONDITIONS.derating < contact_v:
            findings.append(
                f"{opto.ref}: {opto.item.ratings['v_ce']:g} V, the contact may have {contact_v:g} V"
            )
        plus = opto.net("C")
        bridges = circuit.on(plus, "bridge")
        if not bridges:
            findings.append(f"{opto.ref}: no bridge: the contact would depend on polarity")
        for part in (*bridges, *circuit.on(plus, "thyristor")):
            if part.item.ratings["v_r"] * CONDITIONS.derating < contact_v:
                findings.append(
                    f"{part.ref}: {part.item.ratings['v_r']:g} V, the contact may have {contact_v:g} V"
                )
        if "6" in opto.pins and not circuit.between(opto.net("B"), opto.net("E"), "resistor"):
            findings.append(f"{opto.ref}: no resistor from base to emitter")
    return findings
