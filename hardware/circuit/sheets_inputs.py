"""Schematic sheets: beams, flash-seen photodiode, sensing, button and status LED."""

from __future__ import annotations

from circuit.netlist import GROUND, Circuit
from circuit.sheet import Sheet, elements
from circuit.twins import twin_labels


def _draw_receiver(s: Sheet, name: str, r: int, y: float, comparator: dict[str, str]) -> None:
    """One comparator stage: load, threshold with hysteresis, pull-up, series resistor to the pin."""
    elm = elements()

    sx, ox = 6.0, 13.0
    s.two(f"R{r}", elm.Resistor(), (sx, y), (sx, y - 2.4), loc="bottom")
    s.tag(GROUND, (sx, y - 2.4))
    s.part(
        "U3",
        elm.Opamp(leads=True).at((9.4, y)).anchor("in1"),
        {comparator["-"]: "in1", comparator["+"]: "in2", comparator["o"]: "out"},
        text="",
    )
    minus, plus, out = (s.at("U3", comparator[k]) for k in "-+o")
    s.wire((sx, y), minus)
    s.dot((sx, y))
    s.note((minus[0] - 0.05, minus[1] + 0.5), comparator["-"], size=8)
    s.note((plus[0] - 0.05, plus[1] + 0.5), comparator["+"], size=8)
    s.note((out[0] - 0.25, out[1] + 0.5), comparator["o"], size=8)
    s.note((minus[0] + 0.75, minus[1] + 1.15), "U3 (part)")
    s.tag(f"{name}_SIGNAL", (sx - 1.8, y), "bottom", f"test point\n{name}_SIGNAL")
    tx = plus[0] - 1.2
    s.wire(plus, (tx, plus[1]), (tx, y - 3.4))
    s.wire((tx - 3.0, y - 3.4), (ox - 2.4 + 0.8, y - 3.4))
    s.dot((tx, y - 3.4))
    s.two(f"R{r + 2}", elm.Resistor(), (tx, y - 3.4), (tx, y - 5.6), loc="top")
    s.tag(GROUND, (tx, y - 5.6))
    s.two(f"R{r + 1}", elm.Resistor(), (tx - 5.4, y - 3.4), (tx - 3.0, y - 3.4))
    s.tag("V3", (tx - 5.4, y - 3.4), "left")
    s.two(
        f"R{r + 3}",
        elm.Resistor(),
        (ox - 1.6, y - 3.4),
        (ox + 0.8, y - 3.4),
        pins="21",
        loc="bottom",
    )
    s.wire((ox + 0.8, y - 3.4), (ox + 0.8, out[1]))
    s.wire(out, (ox + 2.4, out[1]))
    s.two(f"R{r + 4}", elm.Resistor(), (ox + 1.6, y + 2.2), (ox + 1.6, out[1]), loc="top")
    s.tag("V3", (ox + 1.6, y + 2.2), "top")
    s.two(f"R{r + 5}", elm.Resistor(), (ox + 2.4, out[1]), (ox + 4.8, out[1]))
    s.tag(f"PIN_{name}", (ox + 4.8, out[1]), "right")
    s.dot((ox + 0.8, out[1]), (ox + 1.6, out[1]))


def draw_beam(circuit: Circuit) -> Sheet:
    """A beam: emitter with trimmer, phototransistor, comparator."""
    elm = elements()

    s = Sheet(
        circuit,
        "Beam (two alike: references for beam 1/2)",
        "beam_schematic",
        twin_labels(circuit, "beam1"),
    )
    # Emitter at the left, receiver beside it, both behind the cable's connector.
    s.tag("V5", (-5.6, 4.6), "top")
    s.two("R416", elm.Resistor(), (-5.6, 4.6), (-5.6, 2.4), loc="bottom")
    s.part(
        "RV410",
        elm.Potentiometer().at((-5.6, 2.4)).to((-5.6, 0)),
        {"1": "start", "2": "tap", "3": "end"},
        loc="bottom",
    )
    tap = s.at("RV410", "2")
    s.note((-5.9, 2.5), "1", size=8)
    s.note((-5.9, 0.2), "3", size=8)
    s.note((tap[0] - 0.1, tap[1] + 0.5), "2", size=8)
    s.wire(tap, (tap[0], -0.4), (-5.6, -0.4))
    s.wire((-5.6, 0), (-5.6, -0.8))
    s.dot((-5.6, -0.4))
    s.two(
        "D410",
        elm.LED(),
        (-5.6, -0.8),
        (-5.6, -3.2),
        pins="AK",
        text="{ref}\n{value},\nin the head",
        loc="bottom",
    )
    s.tag(GROUND, (-5.6, -3.2))
    s.part(
        "Q410",
        elm.NpnPhoto().at((1.6, 2.6)).anchor("collector"),
        {"C": "collector", "E": "emitter"},
        text="",
    )
    c, e = s.at("Q410", "C"), s.at("Q410", "E")
    s.note((c[0] - 2.6, c[1] + 1.0), "Q410/420\nIR receiver,\nin the head")
    s.note((c[0] + 0.12, c[1] + 0.45), "C", size=8)
    s.note((e[0] + 0.12, e[1] - 0.05), "E", size=8)
    s.wire(c, (c[0], 4.0))
    s.tag("V3", (c[0], 4.0), "top")
    s.wire(e, (e[0], 0), (6.0, 0))
    s.box(
        "J410", (-0.4, -5.2), left=["1", "2", "3", "4"], width=1.6, spacing=1.0, text="{ref} cable"
    )
    for pin, net in (("1", "BEAM1_LED"), ("2", GROUND), ("3", "V3"), ("4", "BEAM1_SIGNAL")):
        x, y = s.at("J410", pin)
        if pin == "2":
            s.wire((x, y), (x - 4.0, y), (x - 4.0, y - 0.4))
            s.tag(GROUND, (x - 4.0, y - 0.4))
        else:
            s.wire((x, y), (x - 0.8, y))
            s.tag(net, (x - 0.8, y), "left")
    s.wire((-5.6, -0.8), (-4.6, -0.8))
    s.tag("BEAM1_LED", (-4.6, -0.8), "right")
    _draw_receiver(s, "BEAM1", 410, 0.0, {"-": "4", "+": "5", "o": "2"})
    comparator = circuit.part("U3")
    minus, plus, out = (
        next(pin for pin, net in comparator.pins.items() if net == f"BEAM2_{end}")
        for end in ("SIGNAL", "THRESHOLD", "OUT")
    )
    s.note(
        (-7.2, -10.2),
        "Set RV410 with the beam clear until the test point has 2.4 V. Light: output low. Dark, or "
        "cable unplugged: output high.\n"
        f"Beam 2 uses U3 pins {minus} (−), {plus} (+) and {out} (output). "
        "D410 and Q410 sit in the head, at the far end of the cable from J410.",
    )
    return s


def draw_light(circuit: Circuit) -> Sheet:
    """Flash-seen photodiode, and the comparator's supply."""
    elm = elements()

    s = Sheet(circuit, "Flash-seen photodiode, and the comparator's supply", "light_schematic")
    s.two(
        "D430",
        elm.Photodiode(),
        (2.6, 0),
        (2.6, 2.6),
        pins="AK",
        text="{ref} {value}\nphotodiode",
        loc="top",
    )
    s.wire((2.6, 0), (6.0, 0))
    s.wire((2.6, 2.6), (2.6, 3.0))
    s.tag("V3", (2.6, 3.0), "top")
    s.box("J430", (-4.4, 2.0), left=["1", "2"], width=1.2, spacing=2.0, text="{ref} cable")
    one, two = s.at("J430", "1"), s.at("J430", "2")
    s.wire(one, (one[0] - 0.5, one[1]))
    s.tag("V3", (one[0] - 0.5, one[1]), "left")
    s.wire(two, (two[0] - 0.5, two[1]))
    s.tag("LIGHT1_SIGNAL", (two[0] - 0.5, two[1]), "left")
    _draw_receiver(s, "LIGHT1", 430, 0.0, {"-": "8", "+": "9", "o": "14"})
    x, y = 1.0, -8.0
    s.box(
        "U3",
        (x, y),
        left=["3", "10", "11", "12"],
        width=2.6,
        text="U3 LM339 class\nsupply and unused part",
    )
    for pin, net in (("3", "V5"), ("10", "V3")):
        px, py = s.at("U3", pin)
        s.wire((px, py), (px - 0.5, py))
        s.tag(net, (px - 0.5, py), "left")
    a, b = s.at("U3", "11"), s.at("U3", "12")
    s.wire(a, (a[0] - 0.5, a[1]), (a[0] - 0.5, b[1] - 0.8))
    s.wire(b, (b[0] - 0.5, b[1]))
    s.dot((b[0] - 0.5, b[1]))
    s.tag(GROUND, (b[0] - 0.5, b[1] - 0.8))
    for n, (ref, net) in enumerate((("C30", "V5"), ("C31", "V3"))):
        cx = x + 5 + 3.6 * n
        s.two(ref, elm.Capacitor(), (cx, y - 0.4), (cx, y - 2.6), loc="bottom")
        s.tag(net, (cx, y - 0.4), "top")
        s.tag(GROUND, (cx, y - 2.6))
    s.note(
        (-3, -13.4),
        "The same stage as a beam's: light makes the output low. A flash gives 0.1 mA and more "
        "through D430; a lit room does not.",
    )
    return s


def draw_sensing(circuit: Circuit) -> Sheet:
    """Coil current and supply voltage, button, status LED."""
    elm = elements()

    s = Sheet(
        circuit, "Sensing of coil current and supply, button, status LED", "sensing_schematic"
    )
    s.tag("SHUNT", (0, 0), "top", "SHUNT (valve drivers)")
    s.two("R510", elm.Resistor(), (0, 0), (0, -3.0), loc="bottom")
    s.tag(GROUND, (0, -3.0))
    s.two("R511", elm.Resistor(), (0.8, 0), (3.2, 0))
    s.wire((0, 0), (0.8, 0))
    s.part(
        "U4",
        elm.Opamp(leads=True).flip().at((7.0, 0)).anchor("in2"),
        {"3": "in2", "2": "in1", "1": "out"},
        text="",
    )
    plus, minus, out = s.at("U4", "3"), s.at("U4", "2"), s.at("U4", "1")
    s.wire((3.2, 0), plus)
    s.two("C511", elm.Capacitor(), (4.0, 0), (4.0, -2.4), loc="bottom")
    s.dot((4.0, 0))
    s.tag(GROUND, (4.0, -2.4))
    s.note((plus[0] + 0.6, plus[1] + 1.0), "U4 (half)")
    for pin, p in (("3", plus), ("2", minus)):
        s.note((p[0] - 0.05, p[1] + 0.5), pin, size=8)
    s.note((out[0] - 0.25, out[1] + 0.5), "1", size=8)
    fy = minus[1] - 1.4
    s.wire(minus, (minus[0], fy))
    s.two("R512", elm.Resistor(), (minus[0], fy), (minus[0], fy - 2.4), loc="bottom")
    s.tag(GROUND, (minus[0], fy - 2.4))
    ox = out[0] + 0.8
    s.two("R513", elm.Resistor(), (ox, fy), (minus[0] + 0.6, fy), loc="bottom")
    s.wire((minus[0] + 0.6, fy), (minus[0], fy))
    s.wire(out, (ox + 0.4, out[1]))
    s.wire((ox, out[1]), (ox, fy))
    s.dot((ox, out[1]), (minus[0], fy))
    s.two("R514", elm.Resistor(), (ox + 0.4, out[1]), (ox + 2.8, out[1]))
    s.tag("PIN_COIL_CURRENT", (ox + 2.8, out[1]), "right")
    # supply voltage
    y = -8.4
    s.tag("VS", (0, y + 2.4), "top")
    s.two("R515", elm.Resistor(), (0, y + 2.4), (0, y), loc="bottom")
    s.two("R516", elm.Resistor(), (0, y), (0, y - 2.4), loc="bottom")
    s.tag(GROUND, (0, y - 2.4))
    s.two("C512", elm.Capacitor(), (3.0, y), (3.0, y - 2.4), loc="bottom")
    s.tag(GROUND, (3.0, y - 2.4))
    s.part(
        "U4",
        elm.Opamp(leads=True).flip().at((5.6, y)).anchor("in2"),
        {"5": "in2", "6": "in1", "7": "out"},
        text="",
    )
    plus, minus, out = s.at("U4", "5"), s.at("U4", "6"), s.at("U4", "7")
    s.wire((0, y), plus)
    s.dot((0, y), (3.0, y))
    s.note((plus[0] + 0.6, plus[1] + 1.0), "U4 (half)")
    for pin, p in (("5", plus), ("6", minus)):
        s.note((p[0] - 0.05, p[1] + 0.5), pin, size=8)
    s.note((out[0] - 0.25, out[1] + 0.5), "7", size=8)
    s.wire(minus, (minus[0], minus[1] - 1.0), (out[0], minus[1] - 1.0), out)
    s.wire(out, (out[0] + 0.8, out[1]))
    s.dot(out)
    s.two("R517", elm.Resistor(), (out[0] + 0.8, out[1]), (out[0] + 3.2, out[1]))
    s.tag("PIN_SUPPLY_VOLTAGE", (out[0] + 3.2, out[1]), "right")
    # supply of the amplifier
    x = 18.5
    s.box("U4", (x, -1.0), left=["8", "4"], width=1.8, spacing=1.6, text="U4 supply")
    v, g = s.at("U4", "8"), s.at("U4", "4")
    s.wire(v, (x - 1.6, v[1]))
    s.tag("V3", (x - 1.6, v[1]), "left")
    s.two("C510", elm.Capacitor(), (x - 0.8, v[1]), (x - 0.8, g[1]), loc="bottom", text="{ref}")
    s.wire(g, (x - 0.8, g[1]))
    s.tag(GROUND, (x - 0.8, g[1]))
    s.dot((x - 0.8, v[1]))
    # button and status LED
    bx = 16.5
    s.tag("V3", (bx, y + 2.4), "top")
    s.two("R520", elm.Resistor(), (bx, y + 2.4), (bx, y), loc="bottom")
    s.two("S520", elm.Button(), (bx, y), (bx, y - 2.4), loc="bottom")
    s.tag(GROUND, (bx, y - 2.4))
    s.two("C520", elm.Capacitor(), (bx + 3.0, y), (bx + 3.0, y - 2.4), loc="bottom")
    s.tag(GROUND, (bx + 3.0, y - 2.4))
    s.wire((bx, y), (bx + 4.4, y))
    s.dot((bx, y), (bx + 3.0, y))
    s.two("R521", elm.Resistor(), (bx + 4.4, y), (bx + 6.8, y))
    s.tag("PIN_BUTTON1", (bx + 6.8, y), "right")
    lx = bx + 12.4
    s.tag("PIN_STATUS_LED", (lx, y + 2.4), "top")
    s.two("R522", elm.Resistor(), (lx, y + 2.4), (lx, y), loc="bottom")
    s.two("LED520", elm.LED(), (lx, y), (lx, y - 2.4), pins="AK", loc="bottom")
    s.tag(GROUND, (lx, y - 2.4))
    return s
