"""Schematic sheets: supply, board and buffer, valve driver."""

from __future__ import annotations

from circuit.netlist import BUFFER_CHANNELS, GROUND, Circuit
from circuit.sheet import Sheet, elements
from circuit.twins import twin_labels


def draw_supply(circuit: Circuit) -> Sheet:
    """Supply: socket, fuse, reverse-polarity transistor, surge clamp, converter."""
    elm = elements()

    s = Sheet(circuit, "Supply: fuse, reverse-polarity protection, 5 V", "supply_schematic")
    s.box("J1", (2, 0), right=["+", "-"], width=1.8)
    minus = s.at("J1", "-")
    s.wire(minus, (2.4, minus[1]), (2.4, -5))
    s.two("F1", elm.Fuse(), (2.4, 0), (4.8, 0))
    s.wire((2, 0), (2.4, 0))
    s.part(
        "Q1",
        elm.PFet().at((5.4, 0)).anchor("drain").theta(-90),
        {"G": "gate", "D": "drain", "S": "source"},
        text="",
    )
    drain, source, gate = (s.at("Q1", p) for p in "DSG")
    s.note((drain[0] + 0.15, drain[1] + 1.2), "Q1\n60 V 5 A")
    s.note((drain[0] - 0.35, drain[1] + 0.45), "D", size=8)
    s.note((source[0] + 0.1, source[1] + 0.45), "S", size=8)
    s.note((gate[0] - 0.4, gate[1] + 0.1), "G", size=8)
    s.wire((4.8, 0), drain)
    s.two("R1", elm.Resistor(), (gate[0], -2.6), (gate[0], -4.6), loc="bottom")
    s.wire(gate, (gate[0], -2.6))
    s.wire((gate[0], -4.6), (gate[0], -5))
    zx = 8.2
    s.wire(source, (24.2, 0))
    s.two("D1", elm.Zener(), (zx, -2.2), (zx, 0), pins="AK", loc="bottom")
    s.wire((zx, -2.2), (gate[0], -2.2))
    s.dot((zx, 0), (gate[0], -2.2))
    s.two("D2", elm.Zener(), (11.6, -5), (11.6, 0), pins="AK", loc="bottom")
    s.two("C1", elm.Capacitor(polar=True), (15.6, 0), (15.6, -5), pins="+-", loc="bottom")
    s.two("C2", elm.Capacitor(), (18.6, 0), (18.6, -5), loc="bottom")
    s.two("R2", elm.Resistor(), (21.8, 0), (21.8, -2.4), loc="bottom")
    s.two("LED1", elm.LED(), (21.8, -2.4), (21.8, -5), pins="AK", loc="bottom")
    s.wire((2.4, -5), (21.8, -5))
    for x in (11.6, 15.6, 18.6, 21.8):
        s.dot((x, 0), (x, -5))
    s.dot((gate[0], -5))
    s.tag("VS", (24.2, 0), "top", "VS: 12 V or 24 V")
    s.tag(GROUND, (2.4, -5))
    # Second row: the 5 V converter.
    oy, low = -7.6, -11.4
    s.tag("VS", (3.4, oy), "left")
    s.box("U1", (5.0, oy), left=["IN", "GND"], right=["OUT"], width=2.6)
    s.wire((3.4, oy), s.at("U1", "IN"))
    ground = s.at("U1", "GND")
    s.wire(ground, (4.0, ground[1]), (4.0, low))
    out = s.at("U1", "OUT")
    s.two("D3", elm.Schottky(), out, (out[0] + 2.4, out[1]), pins="AK")
    x = out[0] + 2.4
    s.wire((x, out[1]), (x + 7.4, out[1]))
    s.two(
        "C3", elm.Capacitor(polar=True), (x + 0.8, out[1]), (x + 0.8, low), pins="+-", loc="bottom"
    )
    s.two("R3", elm.Resistor(), (x + 4.4, out[1]), (x + 4.4, -9.6), loc="bottom")
    s.two("LED2", elm.LED(), (x + 4.4, -9.6), (x + 4.4, low), pins="AK", loc="bottom")
    s.wire((4.0, low), (x + 4.4, low))
    s.dot((x + 0.8, out[1]), (x + 4.4, out[1]), (x + 0.8, low))
    s.tag("V5", (x + 7.4, out[1]), "right")
    s.tag(GROUND, (4.0, low))
    s.note(
        (2.4, -13.0),
        "Q1: a reversed supply meets its body diode the wrong way round and no current flows. D1 "
        "keeps its gate within the rating on 24 V.\n"
        "D3 keeps the converter from feeding back; the microcontroller board has such a diode for its USB.",
    )
    return s


def draw_buffer(circuit: Circuit) -> Sheet:
    """Microcontroller board and buffer."""
    elm = elements()

    s = Sheet(circuit, "Microcontroller board and buffer (3.3 V in, 5 V out)", "buffer_schematic")
    signals = list(BUFFER_CHANNELS)
    inputs = ["beam1", "beam2", "light1", "button1", "coil_current", "supply_voltage", "status_led"]
    s.box(
        "M1",
        (0, 0),
        left=["V5", "3V3", "GND", "", *inputs],
        right=signals,
        width=4.6,
        text="{ref} microcontroller board",
    )
    for pin, net in (("V5", "V5"), ("3V3", "V3")):
        x, y = s.at("M1", pin)
        s.tag(net, (x - 0.6, y), "left")
        s.wire((x, y), (x - 0.6, y))
    x, y = s.at("M1", "GND")
    s.wire((x, y), (x - 0.6, y), (x - 0.6, y - 0.5))
    s.tag(GROUND, (x - 0.6, y - 0.5))
    for pin in inputs:
        x, y = s.at("M1", pin)
        s.wire((x, y), (x - 0.6, y))
        s.tag(f"PIN_{pin.upper()}", (x - 0.6, y), "left")
    bx = s.at("M1", "valve1")[0] + 12.0
    by = s.at("M1", "valve1")[1]
    s.box(
        "U2",
        (bx, by),
        left=[str(1 + n) for n in range(1, 9)] + ["1", "19"],
        right=[str(19 - n) for n in range(1, 9)] + ["20", "10"],
        width=3.4,
        text="{ref} {value}",
    )
    for n, signal in enumerate(signals, start=1):
        start, end = s.at("M1", signal), s.at("U2", str(1 + n))
        s.wire(start, end)
        rx = start[0] + 0.8 + (n - 1) * 1.3
        s.two(f"R{20 + n}", elm.Resistor(), (rx, -9.2), (rx, -11.2), text="{ref}", loc="bottom")
        s.wire((rx, start[1]), (rx, -9.2))
        s.dot((rx, start[1]))
        s.wire((rx, -11.2), (rx, -11.6))
        out = s.at("U2", str(19 - n))
        s.wire(out, (out[0] + 0.6, out[1]))
        s.tag(f"OUT_{signal.upper()}", (out[0] + 0.6, out[1]), "right")
    first = s.at("M1", "valve1")[0] + 0.8
    s.wire((first, -11.6), (first + 7 * 1.3, -11.6))
    s.tag(GROUND, (first, -11.6))
    s.note(
        (first + 0.4, -12.0),
        "R21 to R28: 4.7 kΩ each. They hold every output off while the board starts, is being "
        "programmed, or is not plugged in.",
    )
    for pin in ("1", "19"):
        p = s.at("U2", pin)
        s.wire(p, (bx - 0.4, p[1]))
    p1, p19 = s.at("U2", "1"), s.at("U2", "19")
    s.wire((bx - 0.4, p1[1]), (bx - 0.4, p19[1] - 0.7))
    s.dot((bx - 0.4, p19[1]))
    s.tag(GROUND, (bx - 0.4, p19[1] - 0.7))
    v, g = s.at("U2", "20"), s.at("U2", "10")
    cx = v[0] + 2.2
    s.wire(v, (cx + 1.2, v[1]))
    s.tag("V5", (cx + 1.2, v[1]), "right")
    s.two("C20", elm.Capacitor(), (cx, v[1]), (cx, v[1] - 2), loc="bottom")
    s.dot((cx, v[1]))
    s.wire(g, (v[0] + 0.5, g[1]), (v[0] + 0.5, v[1] - 2), (cx, v[1] - 2))
    s.tag(GROUND, (v[0] + 0.5, v[1] - 2))
    return s


def draw_valve(circuit: Circuit) -> Sheet:
    """A valve driver."""
    elm = elements()

    s = Sheet(
        circuit,
        "Valve driver (three alike: references for valve 1/2/3)",
        "valve_schematic",
        twin_labels(circuit, "valve1"),
    )
    s.tag("OUT_VALVE1", (0, 0), "left", "OUT_VALVE1/2/3")
    s.wire((0, 0), (3.2, 0))
    s.two("R112", elm.Resistor(), (1.4, 0), (1.4, -2.2), loc="bottom")
    s.two("LED110", elm.LED(), (1.4, -2.2), (1.4, -4.4), pins="AK", loc="bottom")
    s.tag(GROUND, (1.4, -4.4))
    s.dot((1.4, 0))
    s.two("R110", elm.Resistor(), (3.2, 0), (5.6, 0))
    s.part(
        "Q110",
        elm.NFet(bulk=False).at((8.0, 0)).anchor("gate").reverse(),
        {"G": "gate", "D": "drain", "S": "source"},
        text="",
    )
    gate, drain, source = (s.at("Q110", p) for p in "GDS")
    s.wire((5.6, 0), (gate[0], 0), gate)
    s.two("R111", elm.Resistor(), (6.2, 0), (6.2, -2.4), loc="bottom")
    s.dot((6.2, 0))
    s.tag(GROUND, (6.2, -2.4))
    s.note((drain[0] + 0.4, drain[1] - 0.4), "Q110/120/130\n100 V logic level")
    s.note((gate[0] - 0.1, gate[1] + 0.4), "G", size=8)
    s.note((drain[0] + 0.12, drain[1] + 0.45), "D", size=8)
    s.note((source[0] + 0.12, source[1] - 0.05), "S", size=8)
    s.wire(source, (source[0], -3.0))
    s.tag("SHUNT", (source[0], -3.0), "bottom", "SHUNT (all three, to R510)")
    dx, top = drain[0], 6.6
    s.wire(drain, (dx, 2.2))
    s.two("D110", elm.Diode(), (dx, 2.2), (dx, 4.2), pins="AK", loc="top")
    s.two("D111", elm.Zener(), (dx, top), (dx, 4.2), pins="AK", loc="bottom")
    s.wire((dx, 2.2), (dx + 7.6, 2.2))
    s.wire((dx, top), (dx + 7.6, top))
    s.two(
        "L110",
        elm.Inductor2(loops=3),
        (dx + 7.6, top),
        (dx + 7.6, 2.2),
        text="{ref} valve,\non its cable\n{value}",
        loc="bottom",
    )
    s.box("J110", (dx + 4.0, top - 1.7), left=["1", "2"], width=1.2, text="")
    s.note((dx + 4.2, top - 0.25), "J110/120/130")
    one, two = s.at("J110", "1"), s.at("J110", "2")
    s.wire(one, (one[0], top))
    s.wire(two, (two[0] - 0.0, 2.2))
    s.dot((dx, 2.2), (dx, top), (one[0], top), (two[0], 2.2))
    s.two("F110", elm.Fuse(), (dx - 3.4, top), (dx - 0.8, top))
    s.wire((dx - 0.8, top), (dx, top))
    s.wire((dx - 4.2, top), (dx - 3.4, top))
    s.tag("VS", (dx - 4.2, top), "left")
    s.note(
        (0, -5.6),
        "D110 and D111 together are the clamp: when Q110 opens, the coil's current runs on through "
        "both until 36 V has used it up.\n"
        "D110 alone would hold the valve open about six times as long. D111's ring faces D110's ring.",
    )
    return s
