"""Rules on valve drivers and supply: gates, clamps, fuses, polarity."""

from __future__ import annotations

import math

from circuit.conditions import CONDITIONS, supply_max_v
from circuit.netlist import GROUND, SUPPLY, VALVE_SUPPLY, VALVES, Circuit, Part


def check_gates_pulled_down(circuit: Circuit) -> list[str]:
    """Every gate has a resistor of 1 kΩ to 220 kΩ that holds it: to ground, or to the source of a high-side switch.

    A P-channel transistor that protects against reversed polarity is on by its resistor to ground.
    """
    findings = []
    for part in circuit.of_kind("nmos", "pmos"):
        gate = part.net("G")
        rest = part.net("S") if is_high_side(part) else GROUND
        pulls = [
            r
            for r in circuit.between(gate, rest, "resistor")
            if 1e3 <= r.item.ratings["ohm"] <= 220e3
        ]
        if not pulls:
            findings.append(
                f"{part.ref}: no resistor of 1 kΩ to 220 kΩ from its gate ({gate}) to {rest}"
            )
    return findings


def is_high_side(part: Part) -> bool:
    """True for a P-channel transistor between the supply and the valves' supply."""
    return part.item.kind == "pmos" and (part.net("S"), part.net("D")) == (SUPPLY, VALVE_SUPPLY)


def check_high_side(circuit: Circuit) -> list[str]:
    """The valves' supply is there only while a valve is commanded: a transistor that fails short opens nothing."""
    switches = [part for part in circuit.of_kind("pmos") if is_high_side(part)]
    if len(switches) != 1:
        return [
            f"{len(switches)} high-side switches between {SUPPLY} and {VALVE_SUPPLY}, one is required"
        ]
    findings = [
        f"{part.ref} joins {SUPPLY} and {VALVE_SUPPLY} beside the switch"
        for part in circuit.parts
        if {SUPPLY, VALVE_SUPPLY} <= set(part.pins.values()) and part is not switches[0]
    ]
    gate = switches[0].net("G")
    drivers = [
        (r, npn)
        for r in circuit.on(gate, "resistor")
        for npn in circuit.of_kind("npn")
        if npn.net("C") in r.pins.values() and npn.net("E") == GROUND
    ]
    if not drivers:
        return [*findings, f"{switches[0].ref}: nothing drives its gate"]
    series, npn = drivers[0]
    if not circuit.between(npn.net("B"), GROUND, "resistor"):
        findings.append(f"{npn.ref}: no resistor from base to ground holds it off")
    feeds = [r for r in circuit.on(npn.net("B"), "resistor") if GROUND not in r.pins.values()]
    joint = next((n for r in feeds for n in r.pins.values() if n != npn.net("B")), "")
    for n in VALVES:
        if not any(d.net("K") == joint for d in circuit.on(f"OUT_VALVE{n}", "diode")):
            findings.append(f"valve {n}: no diode from OUT_VALVE{n} switches the valves' supply on")
    if feeds:
        # Least base current: the buffer at its least, two junctions below it; what the base's own resistor takes.
        base_a = (CONDITIONS.buffer_min_v - 1.6) / feeds[0].item.ratings["ohm"] - 0.8 / 10e3
        collector_a = supply_max_v() / series.item.ratings["ohm"]
        if base_a * npn.item.ratings["gain"] < 1.5 * collector_a:
            findings.append(
                f"{npn.ref}: base current {base_a * 1e3:.2f} mA is too little for {collector_a * 1e3:.0f} mA"
            )
    return findings


def check_gate_drive(circuit: Circuit) -> list[str]:
    """A gate gets enough voltage to be fully on, and never more than its rating."""
    findings = []
    for part in circuit.of_kind("nmos"):
        ratings, gate = part.item.ratings, part.net("G")
        series = [r for r in circuit.on(gate, "resistor") if GROUND not in r.pins.values()]
        pulls = circuit.between(gate, GROUND, "resistor")
        if not series or not pulls:
            findings.append(f"{part.ref}: gate needs a series resistor and a pull-down")
            continue
        down = min(r.item.ratings["ohm"] for r in pulls)
        up = series[0].item.ratings["ohm"]
        shunt_v = sum(
            3 * CONDITIONS.valve_max_a * r.item.ratings["ohm"]
            for r in circuit.between(part.net("S"), GROUND, "resistor")
        )
        # The indicator LED loads the buffer's output; the divider takes its share; so does the shunt under the source.
        out = next(net for net in series[0].pins.values() if net != gate)
        load_a = sum(
            CONDITIONS.buffer_min_v / r.item.ratings["ohm"]
            for r in circuit.on(out, "resistor")
            if r is not series[0]
        ) * (1 - 1.8 / CONDITIONS.buffer_min_v)
        drop_v = sum(b.item.ratings["r_out"] * load_a for b in circuit.on(out, "buffer"))
        on_v = (CONDITIONS.buffer_min_v - drop_v) * down / (down + up) - shunt_v
        if on_v < ratings["v_gs_on"]:
            findings.append(
                f"{part.ref}: gate gets {on_v:.2f} V, {ratings['v_gs_on']:g} V is required"
            )
        if CONDITIONS.buffer_max_v > ratings["v_gs_max"]:
            findings.append(
                f"{part.ref}: gate gets {CONDITIONS.buffer_max_v} V, rating {ratings['v_gs_max']} V"
            )
    for part in circuit.of_kind("pmos"):
        clamps = [
            z
            for z in circuit.between(part.net("G"), part.net("S"), "zener")
            if z.net("K") == part.net("S")
            and z.item.ratings["v_z"] * 1.1 < part.item.ratings["v_gs_max"]
        ]
        if supply_max_v() > part.item.ratings["v_gs_max"] and not clamps:
            findings.append(
                f"{part.ref}: gate-source sees {supply_max_v():.1f} V, no Zener diode limits it"
            )
    return findings


def clamp_peak_v(circuit: Circuit, coil: Part, supply_v: float) -> float | None:
    """Highest drain voltage in volts when the coil's driver opens, or None when nothing clamps it.

    Supply + clamp at its upper tolerance and 5 % for its own resistance and warmth + diode drop of 1.1 V.
    """
    driver_net = coil.net("2")
    for diode in circuit.on(driver_net, "diode"):
        if diode.net("A") != driver_net:
            continue
        for clamp in circuit.on(diode.net("K"), "tvs", "zener"):
            if clamp.net("K") == diode.net("K") and clamp.net("A") == coil.net("1"):
                return (
                    supply_v
                    + clamp.item.ratings["v_z"] * (1 + clamp.item.ratings["tol"]) * 1.05
                    + 1.1
                )
    return None


def check_coils_clamped(circuit: Circuit) -> list[str]:
    """Every coil has a clamp (diode and TVS in series, the right way round) that keeps its transistor below 80 %."""
    findings = []
    for coil in circuit.of_kind("coil"):
        peak = clamp_peak_v(circuit, coil, supply_max_v())
        if peak is None:
            findings.append(f"{coil.ref}: no clamp from {coil.net('2')} back to {coil.net('1')}")
            continue
        for driver in circuit.on(coil.net("2"), "nmos"):
            limit = driver.item.ratings["v_ds"] * CONDITIONS.derating
            if peak > limit:
                findings.append(
                    f"{coil.ref}: {driver.ref} sees {peak:.0f} V, its limit is {limit:.0f} V"
                )
    return findings


def check_coils_fused(circuit: Circuit) -> list[str]:
    """Every coil is fed through a fuse that holds its current; the whole through one that holds all three."""
    findings = []
    for coil in circuit.of_kind("coil"):
        fuses = circuit.between(coil.net("1"), VALVE_SUPPLY, "fuse")
        if not fuses:
            findings.append(f"{coil.ref}: no fuse between {VALVE_SUPPLY} and {coil.net('1')}")
        for fuse in fuses:
            if fuse.item.ratings["amp"] < CONDITIONS.valve_max_a * 1.25 - 1e-9:
                findings.append(
                    f"{fuse.ref}: holds {fuse.item.ratings['amp']} A, the coil may draw {CONDITIONS.valve_max_a} A"
                )
            if fuse.item.ratings["volt"] < supply_max_v():
                findings.append(
                    f"{fuse.ref}: rated {fuse.item.ratings['volt']} V, supply {supply_max_v():.1f} V"
                )
    for source in circuit.of_kind("connector"):
        if source.item_key == "JDC" and not circuit.on(source.net("+"), "fuse"):
            findings.append(f"{source.ref}: no fuse behind the supply socket")
    return findings


def check_polarity_protected(circuit: Circuit) -> list[str]:
    """Behind fuse and switch sits a P-channel transistor whose body diode blocks a reversed supply."""
    for part in circuit.of_kind("pmos"):
        if part.net("S") == SUPPLY and circuit.on(part.net("D"), "switch"):
            return []
    return [f"no P-channel transistor with its source at {SUPPLY} and its drain behind the switch"]


def opening_limit_s(fuse: Part, current_a: float) -> float:
    """The longest time in seconds that a fuse takes to open at a steady current; infinite below its ratio.

    A body that warms with one time constant: t = −τ·ln(1 − (k·In/I)²), fitted to the slowest fuse that IEC 60127-2
    allows (from memory): F opens within 2 s at 2.75 times its rating, T within 2 minutes at 2.1 and more slowly at
    first.
    """
    ratings = fuse.item.ratings
    share = (ratings["blow_ratio"] * ratings["amp"] / current_a) ** 2
    return math.inf if share >= 1 else -ratings["blow_tau_s"] * math.log(1 - share)


def check_fuses_open(circuit: Circuit) -> list[str]:
    """A shorted valve's fuse opens within 2 s, the main fuse within 5 minutes, at all that a supply may give.

    Until then the shunt takes at most five times its power (5 s are allowed for that; common practice, no source).
    """
    findings = []
    least, most = CONDITIONS.supply_limit_a
    shunts = circuit.between("SHUNT", GROUND, "resistor")
    for fuse in circuit.of_kind("fuse"):
        limit_s = 2.0 if VALVE_SUPPLY in fuse.pins.values() else 300.0
        slowest = opening_limit_s(fuse, least)
        if slowest > limit_s:
            findings.append(
                f"{fuse.ref}: opens only after {slowest:.1f} s at {least:g} A, {limit_s:g} s are allowed"
            )
    for shunt in shunts:
        watt = most**2 * shunt.item.ratings["ohm"]
        if watt > 5 * shunt.item.ratings["watt"]:
            findings.append(
                f"{shunt.ref}: {watt:.1f} W in a short circuit, rated {shunt.item.ratings['watt']:g} W"
            )
    return findings
