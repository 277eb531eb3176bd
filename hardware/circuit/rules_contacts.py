"""Rules on isolation: flash and camera contacts stand apart from everything, and their parts stand their voltage."""

from __future__ import annotations

import math

from circuit.conditions import CONDITIONS
from circuit.netlist import BUFFER_SUPPLY, GROUND, LOGIC_SUPPLY, Circuit, Part

# Kinds whose two sides are not joined electrically: light passes, current does not.
_ISOLATED_SIDES = {"opto": ({"A", "K"}, {"C", "E", "B"})}


def galvanic_groups(circuit: Circuit) -> list[frozenset[str]]:
    """Nets that are joined by anything that current can pass: every part except the gap in an optocoupler."""
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
    return net.startswith("FLASH") and net.split("_")[1] in ("1", "2", "P", "N", "G", "B", "AC")


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
        findings += _check_thyristor(circuit, opto)
        if "6" in opto.pins and not circuit.between(opto.net("B"), opto.net("E"), "resistor"):
            findings.append(f"{opto.ref}: no resistor from base to emitter")
    return findings


def surge_a(ohm: float, contact_v: float = CONDITIONS.flash_contact_max_v) -> float:
    """Peak current in amperes when a contact's trigger capacitor discharges through its inductance and `ohm`.

    Series circuit of R, L, C: I = V/Z·exp(−ζ/√(1−ζ²)·arccos ζ) with Z = √(L/C), ζ = R/2Z; V/Z where R is nothing.
    """
    impedance = math.sqrt(CONDITIONS.trigger_henry / CONDITIONS.trigger_farad)
    damping = ohm / (2 * impedance)
    if damping >= 1:
        return contact_v / ohm
    root = math.sqrt(1 - damping**2)
    return contact_v / impedance * math.exp(-damping / root * math.acos(damping))


def _check_thyristor(circuit: Circuit, opto: Part) -> list[str]:
    """The thyristor at this optocoupler takes the contact's pulse, and its gate gets enough current for years."""
    findings = []
    for scr in circuit.on(opto.net("C"), "thyristor"):
        series = 0.0
        for bridge in circuit.on(opto.net("C"), "bridge"):
            for net in (bridge.net("~1"), bridge.net("~2")):
                series += sum(r.item.ratings["ohm"] for r in circuit.on(net, "resistor"))
        pulse = surge_a(series * 0.95)
        rise = CONDITIONS.flash_contact_max_v / CONDITIONS.trigger_henry
        if pulse > scr.item.ratings["amp_peak"] * CONDITIONS.derating:
            findings.append(
                f"{scr.ref}: pulse of {pulse:.1f} A, surge rated {scr.item.ratings['amp_peak']:g} A"
            )
        if rise > scr.item.ratings["amp_per_s"] * CONDITIONS.derating:
            findings.append(
                f"{scr.ref}: the pulse rises at {rise * 1e-6:.0f} A/µs, more than rated"
            )
        gates = circuit.between(scr.net("G"), scr.net("K"), "resistor")
        if not gates:
            findings.append(f"{scr.ref}: no resistor from gate to cathode")
            continue
        led = circuit.between(
            opto.net("A"), f"OUT_{opto.net('A').removesuffix('_LED')}", "resistor"
        )
        buffers = circuit.of_kind("buffer")
        if not led or not buffers:
            continue  # the rule 'LED currents' finds that
        ohm = led[0].item.ratings["ohm"] * 1.01 + buffers[0].item.ratings["r_out"]
        led_a = (
            CONDITIONS.buffer_usb_min_v - opto.item.ratings["v_f"] - opto.item.ratings["v_f_tol"]
        ) / ohm
        gate_a = led_a * opto.item.ratings["ctr_min"] * CONDITIONS.opto_hot * CONDITIONS.opto_aged
        needed_a = (
            scr.item.ratings["v_gate"] / gates[0].item.ratings["ohm"] / 0.99
            + scr.item.ratings["i_gate"]
        )
        if gate_a < 1.5 * needed_a:
            findings.append(
                f"{scr.ref}: hot and aged its gate gets {gate_a * 1e3:.2f} mA, "
                f"1.5 times {needed_a * 1e3:.2f} mA is required"
            )
    return findings


def check_cables(circuit: Circuit) -> list[str]:
    """Nothing that leaves the box on a cable is a bare rail, or a chip's pin without resistor and protection."""
    findings = []
    chips = ("comparator", "opamp", "board", "buffer")
    for plug in circuit.of_kind("connector"):
        for pin, net in plug.pins.items():
            if net in (LOGIC_SUPPLY, BUFFER_SUPPLY):
                findings.append(
                    f"{plug.ref} pin {pin} carries {net}: a short in a wet head takes it down"
                )
            if net != GROUND:
                findings += [
                    f"{plug.ref} pin {pin} reaches {chip.ref} with nothing between"
                    for chip in circuit.on(net, *chips)
                ]
    for comparator in circuit.of_kind("comparator"):
        for n in (1, 2, 3):
            signal = comparator.net(f"IN{n}-")
            up = [d for d in circuit.between(signal, LOGIC_SUPPLY, "diode") if d.net("A") == signal]
            down = [d for d in circuit.between(signal, GROUND, "diode") if d.net("K") == signal]
            if not up or not down:
                findings.append(
                    f"{signal}: no diodes to {LOGIC_SUPPLY} and {GROUND} turn static charge away"
                )
    return findings


def check_beam_light(circuit: Circuit) -> list[str]:
    """The weakest emitter and receiver that the bill allows reach the clear level with half as much again to spare."""
    findings = []
    for receiver in circuit.of_kind("phototransistor"):
        beam = receiver.block
        emitters = [
            led
            for led in circuit.of_kind("led")
            if led.block == beam and "w_sr_per_a" in led.item.ratings
        ]
        series = [r for r in circuit.on(BUFFER_SUPPLY, "resistor") if r.block == beam]
        if not emitters or not series:
            findings.append(f"{receiver.ref}: no emitter with its resistor in {beam}")
            continue
        led = emitters[0].item.ratings
        led_a = (CONDITIONS.buffer_usb_min_v - led["v_f"] - led["v_f_tol"]) / (
            series[0].item.ratings["ohm"] * 1.01
        )
        light = led_a * led["w_sr_per_a"] / CONDITIONS.beam_gap_m**2  # W/m²
        photo_a = light * CONDITIONS.slit_share * receiver.item.ratings["a_per_w_m2"]
        if photo_a < 1.5 * CONDITIONS.clear_a:
            findings.append(
                f"{receiver.ref}: {photo_a * 1e6:.0f} µA at least, 1.5 times {CONDITIONS.clear_a * 1e6:.0f} µA required"
            )
    return findings
