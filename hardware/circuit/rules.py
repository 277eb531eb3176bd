"""Rule checks on the netlist. Each rule takes the circuit and gives a list of findings: empty is good.

A finding names the part or net, the value found and what is required. `check_rules` runs them all.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from circuit.catalogue import ITEMS, PIN_NAMES
from circuit.conditions import CONDITIONS, supply_max_v, supply_min_v
from circuit.netlist import BUFFER_SUPPLY, GROUND, LOGIC_SUPPLY, SUPPLY, Circuit, Part
from circuit.rules_contacts import (
    check_beam_light,
    check_cables,
    check_contact_ratings,
    check_isolation,
    is_contact_net,
)
from circuit.rules_valves import (
    check_coils_clamped,
    check_coils_fused,
    check_fuses_open,
    check_gate_drive,
    check_gates_pulled_down,
    check_high_side,
    check_polarity_protected,
)


@dataclass(frozen=True)
class Finding:
    """A rule that is broken, and where."""

    rule: str
    text: str

    def __str__(self) -> str:
        return f"{self.rule}: {self.text}"


Rule = Callable[[Circuit], list[str]]


def check_parts_known(circuit: Circuit) -> list[str]:
    """Every part's item is in the catalogue, every item is used: the bill of materials and the netlist agree."""
    used = {part.item_key for part in circuit.parts}
    findings = [
        f"item {key!r} is used but not in the catalogue" for key in sorted(used - set(ITEMS))
    ]
    findings += [
        f"item {key!r} is in the catalogue but no part uses it" for key in sorted(set(ITEMS) - used)
    ]
    return findings


def check_pins_connected(circuit: Circuit) -> list[str]:
    """No net ends at one pin, no chip has a pin that is neither connected nor left open on purpose."""
    findings = [
        f"net {net} touches only {pins[0][0].ref} pin {pins[0][1]}"
        for net, pins in circuit.nets().items()
        if len(pins) < 2
    ]
    for part in circuit.parts:
        named = PIN_NAMES.get(part.item_key, {})
        for pin in named:
            if pin not in part.pins and pin not in part.open_pins:
                findings.append(f"{part.ref} pin {pin} ({named[pin]}) is not connected")
    return findings


def led_current_range_a(circuit: Circuit, led: Part) -> tuple[float, float] | None:
    """Least and largest current of an LED or optocoupler input in amperes when it is on; None without a resistor.

    Worst cases of feed voltage, buffer resistance, forward voltage and resistor tolerance.
    """
    ratings = led.item.ratings
    feeds = {
        SUPPLY: (supply_min_v(), supply_max_v()),
        BUFFER_SUPPLY: (CONDITIONS.buffer_usb_min_v, CONDITIONS.buffer_max_v),
        LOGIC_SUPPLY: (CONDITIONS.logic_min_v, CONDITIONS.logic_max_v),
        # A pin of the board at a few milliamperes: 0.2 V below its supply.
        "PIN_STATUS_LED": (CONDITIONS.logic_min_v - 0.2, CONDITIONS.logic_max_v),
    }
    net, low_ohm, high_ohm = led.net("A"), 0.0, 0.0
    seen = {led.ref}
    while net not in feeds:
        buffers = circuit.on(net, "buffer")
        if buffers:
            if not high_ohm:
                return None
            # At the input of a buffer's output stage: its resistance counts for the least current only.
            high_ohm += buffers[0].item.ratings["r_out"]
            low_ohm += buffers[0].item.ratings["r_out"] * 0.3
            net = BUFFER_SUPPLY
            break
        steps = [p for p in circuit.on(net, "resistor", "trimmer") if p.ref not in seen]
        if len(steps) != 1:
            return None
        step = steps[0]
        seen.add(step.ref)
        ohm, tol = step.item.ratings["ohm"], step.item.ratings["tol"]
        high_ohm += ohm * (1 + tol)
        low_ohm += 0.0 if step.item.kind == "trimmer" else ohm * (1 - tol)
        net = next(n for n in step.pins.values() if n != net)
    if low_ohm <= 0:
        return None
    feed_min, feed_max = feeds[net]
    v_f, tol_v = ratings["v_f"], ratings["v_f_tol"]
    return (feed_min - v_f - tol_v) / high_ohm, (feed_max - v_f + tol_v) / low_ohm


def check_led_currents(circuit: Circuit) -> list[str]:
    """Every LED and optocoupler has a resistor, and its current stays in its range in the worst cases."""
    findings = []
    for part in circuit.of_kind("led", "opto"):
        current = led_current_range_a(circuit, part)
        if current is None:
            findings.append(f"{part.ref}: no series resistor in its anode's path")
            continue
        least, most = part.item.ratings["i_f_min"], part.item.ratings["i_f_max"]
        if current[0] < least or current[1] > most:
            findings.append(
                f"{part.ref}: {current[0] * 1e3:.1f} to {current[1] * 1e3:.1f} mA, required "
                f"{least * 1e3:g} to {most * 1e3:g} mA"
            )
    return findings


def check_buffer(circuit: Circuit) -> list[str]:
    """The buffer's inputs are pulled down hard enough and its outputs and sum of currents stay in their ratings."""
    findings = []
    for buffer in circuit.of_kind("buffer"):
        ratings = buffer.item.ratings
        if CONDITIONS.logic_high_min_v < ratings["v_ih"]:
            findings.append(
                f"{buffer.ref}: a high of {CONDITIONS.logic_high_min_v} V is not enough"
            )
        total = 0.0
        for n in range(1, 9):
            pulls = circuit.between(buffer.net(f"A{n}"), GROUND, "resistor")
            level = min(
                (r.item.ratings["ohm"] * (1 + r.item.ratings["tol"]) for r in pulls), default=1e9
            )
            if level * CONDITIONS.pin_leak_a > ratings["v_il"]:
                findings.append(
                    f"{buffer.ref} A{n}: pull-down missing or too weak: the output may be on while the board starts"
                )
            out = buffer.net(f"Y{n}")
            for load in circuit.on(out, "resistor"):
                far = next(net for net in load.pins.values() if net != out)
                leds = circuit.on(far, "led", "opto")
                if leds:
                    current = led_current_range_a(circuit, leds[0])
                    total += current[1] if current else 0.0
                elif (CONDITIONS.buffer_max_v / load.item.ratings["ohm"]) > ratings["amp_pin"]:
                    findings.append(
                        f"{buffer.ref} Y{n}: {load.ref} lets more than {ratings['amp_pin'] * 1e3:g} mA through"
                    )
        if total > ratings["amp_total"]:
            findings.append(
                f"{buffer.ref}: all outputs on draw {total * 1e3:.0f} mA, rating {ratings['amp_total'] * 1e3:g} mA"
            )
    return findings


def check_powers_and_voltages(circuit: Circuit) -> list[str]:
    """Resistors stay below 60 % of their power, capacitors below 60 % of their voltage, the converter in its range."""
    findings = []
    rail_v = {
        SUPPLY: supply_max_v(),
        BUFFER_SUPPLY: CONDITIONS.buffer_max_v,
        LOGIC_SUPPLY: CONDITIONS.logic_max_v,
    }
    gates = {part.net("G") for part in circuit.of_kind("pmos")}
    contacts = {net for net in circuit.nets() if is_contact_net(net)}
    for part in circuit.of_kind("resistor"):
        ratings, nets = part.item.ratings, set(part.pins.values())
        if "SHUNT" in nets and GROUND in nets:
            power = (3 * CONDITIONS.valve_max_a) ** 2 * ratings["ohm"]
        else:
            # Worst: the highest rail that the part touches, straight across it; the 5 V rail where it touches none.
            across = max(
                (rail_v[net] for net in nets if net in rail_v), default=CONDITIONS.buffer_max_v
            )
            if any(is_contact_net(net) for net in nets):
                across = 2.0  # at most a gate-cathode voltage with the thyristor, see the optocoupler study
            power = across**2 / ratings["ohm"]
            if any(net in gates for net in nets) and SUPPLY not in nets and GROUND not in nets:
                # Between a P-channel gate and its driver: the Zener diode takes its share of the supply.
                power = max(0.0, supply_max_v() - 11.4) ** 2 / ratings["ohm"]
            if any(circuit.on(net, "bridge") for net in nets) and nets <= contacts:
                # In series with a contact: the trigger capacitor's energy, at most every 20 ms.
                energy = CONDITIONS.trigger_farad * CONDITIONS.flash_contact_max_v**2 / 2
                power = energy / 0.02 if ratings["ohm"] < 100 else power
        if power > ratings["watt"] * CONDITIONS.resistor_derating:
            findings.append(f"{part.ref}: up to {power:.2f} W in a {ratings['watt']:g} W resistor")
    for part in circuit.of_kind("capacitor"):
        across = max(
            (rail_v[net] for net in part.pins.values() if net in rail_v),
            default=CONDITIONS.logic_max_v,
        )
        if across > part.item.ratings["volt"] * CONDITIONS.capacitor_derating:
            findings.append(
                f"{part.ref}: {across:.1f} V on a {part.item.ratings['volt']:g} V capacitor"
            )
    for part in circuit.of_kind("converter"):
        if part.item.ratings["v_in_max"] < supply_max_v() * 1.2:
            findings.append(
                f"{part.ref}: input rated {part.item.ratings['v_in_max']:g} V, supply {supply_max_v():.1f} V"
            )
        least = part.item.ratings["v_out"] * (1 - part.item.ratings["tol"])
        drop = max(
            (d.item.ratings["v_f"] for d in circuit.on(part.net("OUT"), "diode")), default=0.0
        )
        if least - drop < CONDITIONS.buffer_min_v - 0.01:
            findings.append(
                f"{part.ref}: leaves {least - drop:.2f} V for the buffer, {CONDITIONS.buffer_min_v} V required"
            )
    for part in circuit.of_kind("tvs"):
        if "v_standoff" in part.item.ratings and part.item.ratings["v_standoff"] < supply_max_v():
            findings.append(f"{part.ref}: conducts at the highest supply")
    return findings


def sense_scales(circuit: Circuit) -> dict[str, float]:
    """Volts on the two analogue lines for one ampere of coil current and for one volt of the valves' supply."""
    shunt = circuit.between("SHUNT", GROUND, "resistor")[0].item.ratings["ohm"]
    feedback = circuit.between("COIL_AMP", "COIL_FB", "resistor")[0].item.ratings["ohm"]
    ground = circuit.between("COIL_FB", GROUND, "resistor")[0].item.ratings["ohm"]
    top = circuit.between(SUPPLY, "SUPPLY_DIV", "resistor")[0].item.ratings["ohm"]
    bottom = circuit.between("SUPPLY_DIV", GROUND, "resistor")[0].item.ratings["ohm"]
    return {
        "coil_current": shunt * (1 + feedback / ground),
        "supply_voltage": bottom / (top + bottom),
    }


def sense_voltages_v(circuit: Circuit) -> dict[str, float]:
    """Highest voltage in volts that the amplifiers want to put on the two analogue lines (they end at 3.3 V)."""
    scales = sense_scales(circuit)
    return {
        "coil_current": 3 * CONDITIONS.valve_max_a * scales["coil_current"],
        "supply_voltage": supply_max_v() * scales["supply_voltage"],
    }


def check_board_pins(circuit: Circuit) -> list[str]:
    """No pin of the board sees more than its supply, and every input line has a series resistor of 330 Ω or more."""
    findings = []
    board = circuit.of_kind("board")[0]
    for pin, net in board.pins.items():
        if pin in ("V5", "3V3", "GND"):
            continue
        touching = [part for part in circuit.on(net) if part.ref != board.ref] or [
            part for part, _ in circuit.nets()[net] if part.ref != board.ref
        ]
        for part in touching:
            if part.item.kind == "buffer":
                continue
            if part.item.kind != "resistor" or part.item.ratings["ohm"] < 330:
                findings.append(
                    f"{pin}: {part.ref} sits on the pin with no series resistor of 330 Ω or more"
                )
                continue
            far = next((n for n in part.pins.values() if n != net), net)
            if far in (SUPPLY, BUFFER_SUPPLY):
                findings.append(
                    f"{pin}: {part.ref} pulls it to {far}, above the board's own supply"
                )
            for pull in circuit.on(far, "resistor"):
                if {SUPPLY, BUFFER_SUPPLY} & set(pull.pins.values()):
                    findings.append(f"{pin}: {pull.ref} pulls it to more than the board's supply")
            for driver in circuit.on(far, "opamp"):
                if driver.net("VCC") != LOGIC_SUPPLY:
                    findings.append(
                        f"{pin}: {driver.ref} runs on {driver.net('VCC')} and can exceed the pin's rating"
                    )
    for line, volt in sense_voltages_v(circuit).items():
        if volt > CONDITIONS.logic_min_v:
            findings.append(
                f"{line}: {volt:.2f} V at full scale, {CONDITIONS.logic_min_v} V is the most"
            )
    return findings


RULES: dict[str, Rule] = {
    "parts are known": check_parts_known,
    "pins are connected": check_pins_connected,
    "gates are pulled down": check_gates_pulled_down,
    "gates are driven": check_gate_drive,
    "coils are clamped": check_coils_clamped,
    "coils are fused": check_coils_fused,
    "fuses open": check_fuses_open,
    "high-side switch": check_high_side,
    "polarity is protected": check_polarity_protected,
    "LED currents": check_led_currents,
    "isolation": check_isolation,
    "contact ratings": check_contact_ratings,
    "cables": check_cables,
    "beam has light": check_beam_light,
    "buffer": check_buffer,
    "powers and voltages": check_powers_and_voltages,
    "board pins": check_board_pins,
}


def check_rules(circuit: Circuit, names: Iterable[str] = tuple(RULES)) -> list[Finding]:
    """Runs the rules of these names (all by default) and gives what they find."""
    return [Finding(name, text) for name in names for text in RULES[name](circuit)]
