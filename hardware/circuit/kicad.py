"""Exports the netlist as a KiCad netlist: the s-expression form that layout editors import (.net, version "E")."""

from __future__ import annotations

from circuit.netlist import Circuit

# Footprints of KiCad's own libraries for the packages used. A person may choose others when laying out a board.
_FOOTPRINTS = {
    "resistor": "Resistor_THT:R_Axial_DIN0207_L6.3mm_D2.5mm_P7.62mm_Horizontal",
    "trimmer": "Potentiometer_THT:Potentiometer_Bourns_3296W_Vertical",
    "diode": "Diode_THT:D_DO-41_SOD81_P10.16mm_Horizontal",
    "tvs": "Diode_THT:D_DO-15_P10.16mm_Horizontal",
    "zener": "Diode_THT:D_DO-35_SOD27_P7.62mm_Horizontal",
    "bridge": "Diode_THT:Diode_Bridge_DIP-4_W7.62mm_P5.08mm",
    "nmos": "Package_TO_SOT_THT:TO-220-3_Vertical",
    "pmos": "Package_TO_SOT_THT:TO-220-3_Vertical",
    "thyristor": "Package_TO_SOT_THT:TO-92_Inline",
    "led": "LED_THT:LED_D3.0mm",
    "buffer": "Package_DIP:DIP-20_W7.62mm",
    "comparator": "Package_DIP:DIP-14_W7.62mm",
    "opamp": "Package_DIP:DIP-8_W7.62mm",
}
_BY_ITEM = {
    "OPTO400": "Package_DIP:DIP-6_W7.62mm",
    "OPTO35": "Package_DIP:DIP-4_W7.62mm",
    "C1000U": "Capacitor_THT:CP_Radial_D16.0mm_P7.50mm",
    "C100U": "Capacitor_THT:CP_Radial_D6.3mm_P2.50mm",
    "C100N": "Capacitor_THT:C_Disc_D5.0mm_W2.5mm_P5.00mm",
    "C10N": "Capacitor_THT:C_Disc_D5.0mm_W2.5mm_P5.00mm",
    "JTERM2": "TerminalBlock:TerminalBlock_bornier-2_P5.08mm",
}


def _quote(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


def kicad_netlist(circuit: Circuit) -> str:
    """The whole circuit as a KiCad netlist. No date in it: the same circuit gives the same file."""
    lines = [
        '(export (version "E")',
        '  (design (source "hardware/circuit/netlist.py") (tool "hardware/make.py"))',
        "  (components",
    ]
    for part in circuit.parts:
        footprint = _BY_ITEM.get(part.item_key) or _FOOTPRINTS.get(part.item.kind, "")
        lines += [
            f"    (comp (ref {_quote(part.ref)})",
            f"      (value {_quote(part.item.value)})",
            *([f"      (footprint {_quote(footprint)})"] if footprint else []),
            f"      (fields (field (name {_quote('item')}) {_quote(part.item_key)}) (field (name "
            f"{_quote('block')}) {_quote(part.block)})))",
        ]
    lines[-1] += ")"
    lines.append("  (nets")
    for code, (net, pins) in enumerate(sorted(circuit.nets().items()), start=1):
        lines.append(f"    (net (code {_quote(str(code))}) (name {_quote(net)})")
        for part, pin in pins:
            lines.append(
                f"      (node (ref {_quote(part.ref)}) (pin {_quote(pin)}) (pinfunction "
                f"{_quote(part.pin_function(pin))}))"
            )
        lines[-1] += ")"
    lines[-1] += "))"
    return "\n".join(lines) + "\n"
