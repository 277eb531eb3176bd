"""The circuit as the KiCad schematic has it: every part and the net at each of its pins.

The source is hardware/kicad; its exported netlist is read here. A net is a name; pins with the same name are connected.
References tell the block: 1-9 supply, 14x valve supply, 20s buffer, 11x/12x/13x valve 1/2/3, 21x/22x/23x flash,
31x/32x camera, 41x/42x beam, 43x flash-seen photodiode, 51x sensing, 52x button and status LED.
The `board` part's pins carry the names of the signals in protocol/messages.toml; which pin of a real board
that is, is in the firmware's profile and from there in wiring/.
"""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

from circuit.catalogue import ITEMS, PAD_PINS, PIN_NAMES
from circuit.errors import NetlistError
from circuit.items import Item

NETLIST = Path(__file__).resolve().parent.parent / "kicad" / "made" / "netlist.xml"
GROUND = "GND"
LOGIC_SUPPLY = "V3"
BUFFER_SUPPLY = "V5"
SUPPLY = "VS"
VALVE_SUPPLY = "VV"  # behind the high-side switch: there only while a valve is commanded

VALVES = (1, 2, 3)
BEAMS = (1, 2)

# Which signal passes which channel of the buffer.
BUFFER_CHANNELS = {
    "valve1": 1,
    "valve2": 2,
    "valve3": 3,
    "flash1": 4,
    "flash2": 5,
    "flash3": 6,
    "focus": 7,
    "shutter": 8,
}
# Level at the board's pin when the line is on, dark or pressed; the firmware's profiles must agree.
OUTPUT_ON_LEVEL = True  # all outputs: pin high is on (the buffer does not invert)
INPUT_LEVELS = {"beam1": True, "beam2": True, "light1": False, "button1": False}
INPUT_MEANINGS = {
    "beam1": "high: dark (blocked, or receiver unplugged)",
    "beam2": "high: dark (blocked, or receiver unplugged)",
    "light1": "low: flash seen",
    "button1": "low: pressed",
}
# Lines that the circuit offers beyond the signals of the wire.
SENSE_LINES = ("coil_current", "supply_voltage")
STATUS_LED = "status_led"  # the profile's LED; on some boards it sits on the board itself


@dataclass(frozen=True)
class Part:
    """One part: reference, item of the catalogue, block it belongs to, net at each pin.

    optional: sits in a socket and is fitted only where the guide says so. open_pins: pins left open on purpose.
    pads: the footprint's pad at each pin; empty for what is not on the board.
    """

    ref: str
    item_key: str
    block: str
    pins: Mapping[str, str]
    optional: bool = False
    open_pins: tuple[str, ...] = ()
    footprint: str = ""
    pads: Mapping[str, str] = field(default_factory=dict)

    @property
    def item(self) -> Item:
        """The catalogue's entry; NetlistError when there is none."""
        try:
            return ITEMS[self.item_key]
        except KeyError:
            raise NetlistError(
                f"{self.ref}: no item {self.item_key!r} in the catalogue; add it to hardware/circuit/catalogue_*.py"
            ) from None

    def pin_function(self, pin: str) -> str:
        """What the pin is called on the part: its number's name, or the pin itself."""
        return PIN_NAMES.get(self.item_key, {}).get(pin, pin)

    def net(self, function: str) -> str:
        """The net at the pin with this function ('G', 'VCC', '1'); NetlistError when there is none."""
        for pin, name in self.pins.items():
            if self.pin_function(pin) == function:
                return name
        raise NetlistError(f"{self.ref} ({self.item_key}) has no pin {function!r}")


@dataclass(frozen=True)
class Circuit:
    """All parts. Looks things up; changes nothing: `with_part` and `without` give a new circuit."""

    parts: tuple[Part, ...]

    def part(self, ref: str) -> Part:
        """The part with this reference; NetlistError when there is none."""
        for part in self.parts:
            if part.ref == ref:
                return part
        raise NetlistError(f"no part {ref!r} in the netlist")

    def of_kind(self, *kinds: str) -> list[Part]:
        """All parts whose item is of one of these kinds, in the table's order."""
        return [part for part in self.parts if part.item.kind in kinds]

    def nets(self) -> dict[str, list[tuple[Part, str]]]:
        """Net name to the (part, pin) pairs on it."""
        nets: dict[str, list[tuple[Part, str]]] = {}
        for part in self.parts:
            for pin, net in part.pins.items():
                nets.setdefault(net, []).append((part, pin))
        return nets

    def on(self, net: str, *kinds: str) -> list[Part]:
        """The parts of these kinds that touch the net."""
        return [part for part in self.of_kind(*kinds) if net in part.pins.values()]

    def between(self, net: str, other: str, *kinds: str) -> list[Part]:
        """The parts of these kinds that touch both nets."""
        return [part for part in self.on(net, *kinds) if other in part.pins.values()]

    def without(self, *refs: str) -> Circuit:
        """The circuit with these parts left out."""
        for ref in refs:
            self.part(ref)
        return Circuit(tuple(part for part in self.parts if part.ref not in refs))

    def with_part(self, new: Part) -> Circuit:
        """The circuit with this part added, in place of one of the same reference."""
        return Circuit((*(part for part in self.parts if part.ref != new.ref), new))


def _pin_of(item_key: str, pad: str, net: str) -> str:
    """What the rules call a pad: a function such as 'G' for parts whose pads are numbered by custom."""
    if item_key == "BOARD":
        if not net.startswith("PIN_"):
            return {BUFFER_SUPPLY: "V5", LOGIC_SUPPLY: "3V3", GROUND: "GND"}[net]
        return net.removeprefix("PIN_").lower()
    return PAD_PINS.get(item_key, {}).get(pad, pad)


def read_netlist(path: Path = NETLIST) -> Circuit:
    """The circuit in KiCad's exported netlist (XML); NetlistError when a part has no Item or Block field."""
    root = ET.parse(path).getroot()
    pads: dict[str, dict[str, str]] = {}
    open_pads: dict[str, list[str]] = {}
    for net in root.iterfind("nets/net"):
        name = net.get("name", "").rpartition("/")[2]
        for node in net.iterfind("node"):
            ref, pad = node.get("ref", ""), node.get("pin", "")
            if name.startswith("unconnected-"):
                open_pads.setdefault(ref, []).append(pad)
            else:
                pads.setdefault(ref, {})[pad] = name
    parts = []
    for component in root.iterfind("components/comp"):
        ref = component.get("ref", "")
        if ref not in pads:  # a mounting hole
            continue
        fields = {f.get("name"): f.text or "" for f in component.iterfind("fields/field")}
        item, block = fields.get("Item", ""), fields.get("Block", "")
        if not item or not block:
            raise NetlistError(f"{ref} has no field Item or Block; give it both in the schematic")
        pins: dict[str, str] = {}
        numbers: dict[str, list[str]] = {}
        for pad, net_name in sorted(pads[ref].items(), key=lambda entry: (len(entry[0]), entry[0])):
            pin = _pin_of(item, pad, net_name)
            pins[pin] = net_name
            numbers.setdefault(pin, []).append(pad)
        parts.append(
            Part(
                ref,
                item,
                block,
                pins,
                optional=item == "SCR",
                open_pins=() if item == "BOARD" else tuple(open_pads.get(ref, ())),
                footprint=component.findtext("footprint", ""),
                pads={pin: ", ".join(pads) for pin, pads in numbers.items()},
            )
        )
    return Circuit(tuple(parts))


@cache
def build_circuit() -> Circuit:
    """The whole controller."""
    return read_netlist()
