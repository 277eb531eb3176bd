"""Schematic sheets: the isolated contacts of flashes and camera."""

from __future__ import annotations

from circuit.netlist import GROUND, Circuit
from circuit.sheet import Sheet, elements
from circuit.twins import twin_labels


def draw_flash(circuit: Circuit) -> Sheet:
    """A flash output."""
    elm = elements()

    s = Sheet(
        circuit,
        "Flash output (three alike: references for flash 1/2/3)",
        "flash_schematic",
        twin_labels(circuit, "flash1"),
    )
    s.tag("OUT_FLASH1", (0, 0), "left", "OUT_FLASH1/2/3")
    s.two("R210", elm.Resistor(), (0, 0), (2.6, 0))
    s.part(
        "U210",
        elm.Optocoupler(base=True, box=True).at((4, 0)).anchor("anode"),
        {"1": "anode", "2": "cathode", "4": "emitter", "5": "collector", "6": "base"},
        text="{ref}\n{value}",
    )
    a, k, e, c, b = (s.at("U210", p) for p in "12456")
    s.wire((2.6, 0), a)
    s.wire(k, (k[0] - 0.6, k[1]), (k[0] - 0.6, k[1] - 0.8))
    s.tag(GROUND, (k[0] - 0.6, k[1] - 0.8))
    s.note((a[0] - 0.4, a[1] + 0.45), "1", size=8)
    s.note((k[0] - 0.4, k[1] + 0.45), "2", size=8)
    s.note((c[0] + 0.1, c[1] + 0.45), "5", size=8)
    s.note((e[0] + 0.1, e[1] + 0.45), "4", size=8)
    s.note((b[0] + 0.08, b[1] - 0.02), "6", size=8)
    top, bottom = 3.0, -4.6
    gx = e[0] + 2.2
    s.wire(e, (gx, e[1]))
    by = b[1] - 1.0
    s.wire(b, (b[0], by), (b[0] + 0.2, by))
    s.two("R211", elm.Resistor(), (b[0] + 0.2, by), (b[0] + 2.6, by), loc="bottom")
    s.wire((b[0] + 2.6, by), (gx, by), (gx, e[1])) if gx != b[0] + 2.6 else s.wire(
        (gx, by), (gx, e[1])
    )
    s.dot((gx, e[1]), (gx, by))
    s.two("R212", elm.Resistor(), (gx, by - 0.0), (gx, bottom), loc="bottom")
    s.wire(c, (c[0] + 0.6, c[1]), (c[0] + 0.6, top))
    tx = gx + 3.0
    s.part(
        "Q210",
        elm.SCR().at((tx, top - 1.6)).to((tx, top - 3.6)),
        {"A": "start", "K": "end", "G": "gate"},
        text="{ref}\n{value}\n(socket)",
        loc="bottom",
    )
    s.note((tx - 0.35, top - 1.3), "A", size=8)
    s.note((tx - 0.35, top - 3.3), "K", size=8)
    s.wire((tx, top), (tx, top - 1.6))
    s.wire((tx, top - 3.6), (tx, bottom))
    g = s.at("Q210", "G")
    s.note((g[0] - 0.35, g[1] + 0.3), "G", size=8)
    s.wire(g, (g[0], e[1] - 0.0) if abs(g[0] - tx) > 0.3 else g)
    s.wire((g[0], e[1]), (gx, e[1]))
    right = tx + 4.2
    s.part(
        "D210",
        elm.Rectifier().at((right, (top + bottom) / 2 + 2.1)).anchor("N"),
        {"~1": "N", "~2": "S", "-": "W", "+": "E"},
        text="",
    )
    n, so, w, ea = (s.at("D210", p) for p in ("~1", "~2", "-", "+"))
    for corner, sign, dx, dy in (
        (n, "~", 0.15, 0.5),
        (so, "~", 0.15, 0.0),
        (w, "−", -0.3, 0.5),
        (ea, "+", 0.1, 0.5),
    ):
        s.note((corner[0] + dx, corner[1] + dy), sign, size=10)
    s.note((right + 1.3, w[1] - 1.3), "D210/220/230\n1 A 1000 V bridge")
    s.wire((c[0] + 0.6, top), (right + 3.6, top), (right + 3.6, ea[1]), ea)
    s.wire((gx, bottom), (w[0] - 0.8, bottom), (w[0] - 0.8, w[1]), w)
    s.dot((tx, top), (tx, bottom))
    jx = right + 5.2
    s.box(
        "J210",
        (jx, n[1] + 0.5),
        left=["1", "2"],
        width=1.4,
        spacing=2.6,
        text="{ref}\nto the flash",
    )
    one, two = s.at("J210", "1"), s.at("J210", "2")
    s.wire(n, (n[0], one[1]), one)
    s.wire(so, (so[0], bottom - 0.8), (two[0] - 0.5, bottom - 0.8), (two[0] - 0.5, two[1]), two)
    gap = (a[0] + c[0]) / 2
    s.dashed((gap, top + 1.2), (gap, a[1] + 0.9))
    s.dashed((gap, k[1] - 0.9), (gap, bottom - 1.2))
    s.note(
        (gap - 0.2, top + 1.9),
        "isolation gap: nothing crosses it but light; 8 mm of bare board",
        color="#b03030",
    )
    s.note(
        (0, bottom - 1.6),
        "Right of the gap everything may be at the flash's voltage, up to 320 V. Q210/220/230 only "
        "for contacts that show more than 48 V.",
        color="#b03030",
    )
    return s


def draw_camera(circuit: Circuit) -> Sheet:
    """Camera focus and shutter."""
    elm = elements()

    s = Sheet(circuit, "Camera: focus and shutter, isolated", "camera_schematic")
    for n, (y, contact) in enumerate(((0.0, "FOCUS"), (-4.0, "SHUTTER")), start=1):
        r = 300 + 10 * n
        s.tag(f"OUT_{contact}", (0, y), "left", f"OUT_{contact}")
        s.two(f"R{r}", elm.Resistor(), (0, y), (2.6, y))
        s.part(
            f"U{r}",
            elm.Optocoupler(base=False, box=True).at((4, y)).anchor("anode"),
            {"1": "anode", "2": "cathode", "3": "emitter", "4": "collector"},
            text="",
        )
        s.wire((2.6, y), s.at(f"U{r}", "1"))
        s.note((3.7, y + 1.0), f"U{r} {circuit.part(f'U{r}').item.value}", size=9.5)
        k = s.at(f"U{r}", "2")
        s.wire(k, (k[0] - 0.6, k[1]), (k[0] - 0.6, k[1] - 0.6))
        s.tag(GROUND, (k[0] - 0.6, k[1] - 0.6))
        for pin, dx in (("1", -0.4), ("2", -0.4), ("3", 0.15), ("4", 0.15)):
            p = s.at(f"U{r}", pin)
            s.note((p[0] + dx, p[1] + 0.45), pin, size=8)
    jx = 10.5
    s.box(
        "J310",
        (jx, 0),
        left=["R", "T", "S"],
        width=2.6,
        spacing=2.0,
        text="{ref} jack",
        names={"R": "ring: focus", "T": "tip: shutter", "S": "sleeve: common"},
    )
    ring, tip, sleeve = (s.at("J310", p) for p in "RTS")
    c1, e1, c2, e2 = s.at("U310", "4"), s.at("U310", "3"), s.at("U320", "4"), s.at("U320", "3")
    s.wire(c1, (c1[0], ring[1]), ring) if c1[1] != ring[1] else s.wire(c1, ring)
    s.wire(e1, (e1[0] + 0.9, e1[1]), (e1[0] + 0.9, e2[1]))
    s.wire(e2, (sleeve[0] - 0.6, e2[1]), (sleeve[0] - 0.6, sleeve[1]), sleeve)
    s.dot((e1[0] + 0.9, e2[1]))
    s.wire(c2, (c2[0] + 1.6, c2[1]), (c2[0] + 1.6, tip[1]), tip)
    gap = (s.at("U310", "1")[0] + c1[0]) / 2
    s.dashed((gap, 1.9), (gap, 1.1))
    s.dashed((gap, -2.0), (gap, -2.8))
    s.dashed((gap, -6.0), (gap, -6.8))
    s.note((0, -7.2), "The camera's common is not the controller's ground.")
    return s
