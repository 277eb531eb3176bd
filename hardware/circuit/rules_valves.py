"""Rules on valve drivers and supply: gates, clamps, fuses, polarity."""

from __future__ import annotations

from circuit.conditions import CONDITIONS, supply_max_v
from circuit.netlist import GROUND, SUPPLY, Circuit, Part


def check_gates_pulled_down(circuit: Circuit) -> list[str]:
    """Every MOSFET's gate has a resistor of 1 kΩ to 220 kΩ to ground (a P-channel one: that is what turns it on)."""
    findings = []
    for part in circuit.of_kind("nmos", "pmos"):
        gate = part.net("G")
        pulls = [
            r
            for r in circuit.between(gate, GROUND, "resistor")
            if 1e3 <= r.item.ratings["ohm"] <= 220e3
        ]
        if not pulls:
            findings.append(
                f"{part.ref}: no resistor of 1 kΩ to 220 kΩ from its gate ({gate}) to ground"
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
        # The divider of series resistor and pull-down takes its share; so does the shunt under the source.
        on_v = CONDITIONS.buffer_min_v * down / (down + up) - shunt_v
        if on_v < ratings["v_gs_on"] * 0.85:
            findings.append(
                f"{part.ref}: gate gets {on_v:.2f} V, {ratings['v_gs_on']:g} V (less 15 %) is asked"
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
        fuses = circuit.between(coil.net("1"), SUPPLY, "fuse")
        if not fuses:
            findings.append(f"{coil.ref}: no fuse between {SUPPLY} and {coil.net('1')}")
        for fuse in fuses:
            if fuse.item.ratings["amp"] < CONDITIONS.valve_max_a * 1.25:
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
    """Between the fuse and the supply rail sits a P-channel transistor whose body diode blocks a reversed supply."""
    for part in circuit.of_kind("pmos"):
        if part.net("S") == SUPPLY and circuit.on(part.net("D"), "fuse"):
            return []
    return [f"no P-channel transistor with its source at {SUPPLY} and its drain behind the fuse"]
