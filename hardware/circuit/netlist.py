"""The netlist: every part and the net at each of its pins. The only source of the circuit.

A net is a name; pins with the same name are connected. References tell the block: 1-9 supply, 20s buffer, 11x/12x/13x
valve 1/2/3, 21x/22x/23x flash, 31x/32x camera, 41x/42x beam, 43x flash-seen photodiode, 51x sensing, 52x button
and status LED.
The `board` part's pins carry the names of the signals in protocol/messages.toml; which pin of a real board
that is, is in
the firmware's profile and from there in wiring/.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from circuit.catalogue import ITEMS, PIN_NAMES
from circuit.errors import NetlistError
from circuit.items import Item

GROUND = "GND"
LOGIC_SUPPLY = "V3"
BUFFER_SUPPLY = "V5"
SUPPLY = "VS"

VALVES = (1, 2, 3)
FLASHES = (1, 2, 3)
CAMERAS = {1: "focus", 2: "shutter"}
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
# Level at the board's pin when the thing is so; the firmware's profiles must say the same.
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
    """

    ref: str
    item_key: str
    block: str
    pins: Mapping[str, str]
    optional: bool = False
    open_pins: tuple[str, ...] = ()

    @property
    def item(self) -> Item:
        """The catalogue's entry; NetlistError when there is none."""
        try:
            return ITEMS[self.item_key]
        except KeyError:
            raise NetlistError(
                f"{self.ref}: no item {self.item_key!r} in the catalogue; add it to hardware/circuit/catalogue.py"
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


def _supply() -> Iterable[Part]:
    yield Part("J1", "JDC", "supply", {"+": "VIN", "-": GROUND})
    yield Part("F1", "F2A", "supply", {"1": "VIN", "2": "VIN_FUSED"})
    yield Part("Q1", "PMOS60", "supply", {"G": "Q1_GATE", "D": "VIN_FUSED", "S": SUPPLY})
    yield Part("R1", "R100K", "supply", {"1": "Q1_GATE", "2": GROUND})
    yield Part("D1", "Z12", "supply", {"A": "Q1_GATE", "K": SUPPLY})
    yield Part("D2", "TVS28", "supply", {"A": GROUND, "K": SUPPLY})
    yield Part("C1", "C1000U", "supply", {"+": SUPPLY, "-": GROUND})
    yield Part("C2", "C100N", "supply", {"1": SUPPLY, "2": GROUND})
    yield Part("R2", "R10K", "supply", {"1": SUPPLY, "2": "LED1_A"})
    yield Part("LED1", "LEDG", "supply", {"A": "LED1_A", "K": GROUND})
    yield Part("U1", "BUCK5", "supply", {"IN": SUPPLY, "GND": GROUND, "OUT": "V5_CONV"})
    yield Part("D3", "DSCH", "supply", {"A": "V5_CONV", "K": BUFFER_SUPPLY})
    yield Part("C3", "C100U", "supply", {"+": BUFFER_SUPPLY, "-": GROUND})
    yield Part("R3", "R2K2", "supply", {"1": BUFFER_SUPPLY, "2": "LED2_A"})
    yield Part("LED2", "LEDG", "supply", {"A": "LED2_A", "K": GROUND})


def _board() -> Iterable[Part]:
    pins = {"V5": BUFFER_SUPPLY, "3V3": LOGIC_SUPPLY, "GND": GROUND}
    for signal in (*BUFFER_CHANNELS, *INPUT_LEVELS, *SENSE_LINES, STATUS_LED):
        pins[signal] = f"PIN_{signal.upper()}"
    yield Part("M1", "BOARD", "board", pins)


def _buffer() -> Iterable[Part]:
    pins = {"1": GROUND, "19": GROUND, "10": GROUND, "20": BUFFER_SUPPLY}
    for signal, channel in BUFFER_CHANNELS.items():
        pins[str(1 + channel)] = f"PIN_{signal.upper()}"
        pins[str(19 - channel)] = f"OUT_{signal.upper()}"
    yield Part("U2", "BUF541", "buffer", pins)
    yield Part("C20", "C100N", "buffer", {"1": BUFFER_SUPPLY, "2": GROUND})
    for signal, channel in BUFFER_CHANNELS.items():
        # 4.7 kΩ, not more: a pin of some boards leaks 0.12 mA towards high before the firmware runs.
        yield Part(
            f"R{20 + channel}", "R4K7", "buffer", {"1": f"PIN_{signal.upper()}", "2": GROUND}
        )


def _valve(n: int) -> Iterable[Part]:
    block, r, out = f"valve{n}", 100 + 10 * n, f"OUT_VALVE{n}"
    gate, drain, feed = f"GATE{n}", f"DRAIN{n}", f"VALVE{n}_FEED"
    yield Part(f"R{r}", "R220", block, {"1": out, "2": gate})
    yield Part(f"R{r + 1}", "R10K", block, {"1": gate, "2": GROUND})
    yield Part(f"R{r + 2}", "R2K2", block, {"1": out, "2": f"LED{r}_A"})
    yield Part(f"LED{r}", "LEDG", block, {"A": f"LED{r}_A", "K": GROUND})
    yield Part(f"Q{r}", "NMOS100", block, {"G": gate, "D": drain, "S": "SHUNT"})
    yield Part(f"D{r}", "DRECT", block, {"A": drain, "K": f"CLAMP{n}"})
    yield Part(f"D{r + 1}", "TVS36", block, {"A": feed, "K": f"CLAMP{n}"})
    yield Part(f"F{r}", "PTC", block, {"1": SUPPLY, "2": feed})
    yield Part(f"J{r}", "JTERM2", block, {"1": feed, "2": drain})
    yield Part(f"L{r}", "VALVE", block, {"1": feed, "2": drain})


def _flash(n: int) -> Iterable[Part]:
    block, r = f"flash{n}", 200 + 10 * n
    plus, minus, gate, led = f"FLASH{n}_P", f"FLASH{n}_N", f"FLASH{n}_G", f"FLASH{n}_LED"
    yield Part(f"R{r}", "R270", block, {"1": f"OUT_FLASH{n}", "2": led})
    yield Part(
        f"U{r}",
        "OPTO400",
        block,
        {"1": led, "2": GROUND, "4": gate, "5": plus, "6": f"FLASH{n}_B"},
        open_pins=("3",),
    )
    yield Part(f"R{r + 1}", "R1M", block, {"1": f"FLASH{n}_B", "2": gate})
    yield Part(f"R{r + 2}", "R1K", block, {"1": gate, "2": minus})
    yield Part(f"Q{r}", "SCR", block, {"A": plus, "K": minus, "G": gate}, optional=True)
    contacts = (f"FLASH{n}_1", f"FLASH{n}_2")
    yield Part(
        f"D{r}", "BRIDGE", block, {"~1": contacts[0], "~2": contacts[1], "+": plus, "-": minus}
    )
    yield Part(f"J{r}", "JFLASH", block, {"1": contacts[0], "2": contacts[1]})


def _camera() -> Iterable[Part]:
    for n, contact in CAMERAS.items():
        r, led, line = 300 + 10 * n, f"{contact.upper()}_LED", f"CAM_{contact.upper()}"
        yield Part(f"R{r}", "R680", "camera", {"1": f"OUT_{contact.upper()}", "2": led})
        yield Part(f"U{r}", "OPTO35", "camera", {"1": led, "2": GROUND, "3": "CAM_COM", "4": line})
    yield Part("J310", "JCAM", "camera", {"T": "CAM_SHUTTER", "R": "CAM_FOCUS", "S": "CAM_COM"})


def _receivers() -> Iterable[Part]:
    """Beams and flash-seen photodiode: the same comparator stage, more light makes the output low."""
    lines = {"BEAM1": 410, "BEAM2": 420, "LIGHT1": 430}
    comparator = {"3": BUFFER_SUPPLY, "12": GROUND, "10": LOGIC_SUPPLY, "11": GROUND}
    comparator_pins = {
        "BEAM1": ("4", "5", "2"),
        "BEAM2": ("6", "7", "1"),
        "LIGHT1": ("8", "9", "14"),
    }
    for name, r in lines.items():
        block = name.lower()
        signal, threshold, out = f"{name}_SIGNAL", f"{name}_THRESHOLD", f"{name}_OUT"
        yield Part(f"R{r}", "R10K", block, {"1": signal, "2": GROUND})
        yield Part(f"R{r + 1}", "R22K", block, {"1": LOGIC_SUPPLY, "2": threshold})
        yield Part(f"R{r + 2}", "R10K", block, {"1": threshold, "2": GROUND})
        yield Part(f"R{r + 3}", "R100K", block, {"1": out, "2": threshold})
        yield Part(f"R{r + 4}", "R4K7", block, {"1": LOGIC_SUPPLY, "2": out})
        yield Part(f"R{r + 5}", "R1K", block, {"1": out, "2": f"PIN_{name}"})
        minus, plus, output = comparator_pins[name]
        comparator |= {minus: signal, plus: threshold, output: out}
        if name == "LIGHT1":
            yield Part("J430", "JLIGHT", block, {"1": LOGIC_SUPPLY, "2": signal})
            yield Part("D430", "PDIODE", block, {"A": signal, "K": LOGIC_SUPPLY})
            continue
        feed = f"{name}_LED"
        middle = f"{name}_TRIM"
        yield Part(f"R{r + 6}", "R150", block, {"1": BUFFER_SUPPLY, "2": middle})
        yield Part(f"RV{r}", "TRIM1K", block, {"1": middle, "2": feed, "3": feed})
        yield Part(
            f"J{r}", "JBEAM", block, {"1": feed, "2": GROUND, "3": LOGIC_SUPPLY, "4": signal}
        )
        yield Part(f"D{r}", "LEDIR", block, {"A": feed, "K": GROUND})
        yield Part(f"Q{r}", "PTRANS", block, {"C": LOGIC_SUPPLY, "E": signal})
    yield Part("U3", "COMP4", "receivers", comparator, open_pins=("13",))
    yield Part("C30", "C100N", "receivers", {"1": BUFFER_SUPPLY, "2": GROUND})
    yield Part("C31", "C100N", "receivers", {"1": LOGIC_SUPPLY, "2": GROUND})


def _sensing() -> Iterable[Part]:
    yield Part("R510", "R0R22", "shunt", {"1": "SHUNT", "2": GROUND})
    yield Part("R511", "R1K", "sensing", {"1": "SHUNT", "2": "SENSE_IN"})
    yield Part("C511", "C10N", "sensing", {"1": "SENSE_IN", "2": GROUND})
    yield Part(
        "U4",
        "OPAMP2",
        "sensing",
        {
            "1": "COIL_AMP",
            "2": "COIL_FB",
            "3": "SENSE_IN",
            "4": GROUND,
            "5": "SUPPLY_DIV",
            "6": "SUPPLY_AMP",
            "7": "SUPPLY_AMP",
            "8": LOGIC_SUPPLY,
        },
    )
    yield Part("C510", "C100N", "sensing", {"1": LOGIC_SUPPLY, "2": GROUND})
    yield Part("R512", "R1K", "sensing", {"1": "COIL_FB", "2": GROUND})
    yield Part("R513", "R7K5", "sensing", {"1": "COIL_AMP", "2": "COIL_FB"})
    yield Part("R514", "R1K", "sensing", {"1": "COIL_AMP", "2": "PIN_COIL_CURRENT"})
    yield Part("R515", "R100K", "sensing", {"1": SUPPLY, "2": "SUPPLY_DIV"})
    yield Part("R516", "R10K", "sensing", {"1": "SUPPLY_DIV", "2": GROUND})
    yield Part("C512", "C100N", "sensing", {"1": "SUPPLY_DIV", "2": GROUND})
    yield Part("R517", "R1K", "sensing", {"1": "SUPPLY_AMP", "2": "PIN_SUPPLY_VOLTAGE"})


def _button() -> Iterable[Part]:
    yield Part("S520", "BUTTON", "button", {"1": "BUTTON", "2": GROUND})
    yield Part("R520", "R10K", "button", {"1": LOGIC_SUPPLY, "2": "BUTTON"})
    yield Part("C520", "C100N", "button", {"1": "BUTTON", "2": GROUND})
    yield Part("R521", "R1K", "button", {"1": "BUTTON", "2": "PIN_BUTTON1"})
    yield Part("R522", "R680", "button", {"1": "PIN_STATUS_LED", "2": "LED520_A"})
    yield Part("LED520", "LEDG", "button", {"A": "LED520_A", "K": GROUND})


def build_circuit() -> Circuit:
    """The whole controller; NetlistError when a reference is given twice."""
    parts = [*_supply(), *_board(), *_buffer()]
    for n in VALVES:
        parts += _valve(n)
    for n in FLASHES:
        parts += _flash(n)
    parts += [*_camera(), *_receivers(), *_sensing(), *_button()]
    seen: set[str] = set()
    for part in parts:
        if part.ref in seen:
            raise NetlistError(
                f"the reference {part.ref} is used twice; give one of them another number"
            )
        seen.add(part.ref)
    return Circuit(tuple(parts))
