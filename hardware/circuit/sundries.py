"""What a builder needs beside the parts of the netlist: it carries no current of its own, so no net names it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Sundry:
    """A line of the bill of materials without references. cost as in the catalogue;
    'yours': not counted, since most have one, and it costs more than all the rest."""

    key: str
    quantity: str
    description: str
    purpose: str
    substitutes: str
    cost: str


SUNDRIES = (
    Sundry(
        "SUPPLY",
        "1",
        "plug-in supply, 12 V (or 24 V) DC, regulated, 3 A, centre positive, certified for your country",
        "power; the only part at mains voltage, bought whole and never opened",
        "desktop supply of the same voltage, 3 to 6 A: with less the fuses do not blow",
        "high",
    ),
    Sundry(
        "CIRCUIT_BOARD",
        "1",
        "printed circuit board from kicad/made/gerbers.zip: 2 layers, 198 × 114 mm, 1.6 mm",
        "carries the circuit",
        "",
        "high",
    ),
    Sundry(
        "CASE",
        "1",
        "closed plastic case, inside 240 × 150 × 60 mm or more, screw lid",
        "keeps fingers and liquid away; insulates the flash side",
        "larger; not metal",
        "high",
    ),
    Sundry(
        "SPACERS",
        "6",
        "spacers of 10 mm with their screws, all of plastic",
        "hold the board in the case",
        "",
        "low",
    ),
    Sundry(
        "GLANDS",
        "1 per cable",
        "cable gland or other strain relief for the case's wall",
        "keeps a pulled cable from straining the board",
        "knot and cable tie inside the wall",
        "low",
    ),
    Sundry(
        "SOCKETS",
        "1 each of 20, 14, 8 pins",
        "chip sockets",
        "chips go in after their pins have been measured",
        "turned-pin strips",
        "low",
    ),
    Sundry(
        "SOCKET3",
        "9",
        "3-pin pieces of turned-pin socket strip, 2.54 mm",
        "three for thyristors, two for each flash optocoupler",
        "3 pins cut from a longer strip",
        "low",
    ),
    Sundry(
        "HEADERS",
        "2",
        "socket strips as long as the microcontroller board's pin rows (Raspberry Pi Pico: 20 holes each)",
        "the board can be taken out",
        "",
        "low",
    ),
    Sundry(
        "WIRE_THIN",
        "5 m",
        "hook-up wire, 0.14 to 0.25 mm², insulation for 300 V, several colours",
        "signals",
        "solid wire of 0.5 mm",
        "low",
    ),
    Sundry(
        "WIRE_THICK", "2 m", "stranded wire, 0.5 mm²", "supply socket, switch", "0.75 mm²", "low"
    ),
    Sundry(
        "CABLE4", "2 × 1.5 m", "4-core cable, screened", "beams", "4-core telephone cable", "low"
    ),
    Sundry(
        "CABLE2",
        "5 × 1.5 m",
        "2-core cable; for flashes with insulation for 300 V",
        "valves, photodiode, flashes",
        "",
        "low",
    ),
    Sundry(
        "RCD",
        "1",
        "socket or adapter with a residual-current device (RCD, GFCI), certified for your country",
        "all plugs of the rig go into it",
        "a circuit that has one already",
        "high",
    ),
    Sundry(
        "FLASH",
        "1 to 3",
        "flash with manual power down to 1/32 or less, and a contact (foot or sync socket)",
        "short light: the lower its power, the shorter",
        "",
        "yours",
    ),
    Sundry(
        "CAMERA",
        "1",
        "camera with manual focus, bulb exposure and a socket for a cable release",
        "takes the picture",
        "without the socket: hold the shutter open by hand",
        "yours",
    ),
    Sundry(
        "COMPUTER", "1", "computer with USB and Python 3.11 or newer", "runs beamfall", "", "yours"
    ),
    Sundry(
        "FLASH_ADAPTER",
        "1 per flash",
        "hot-shoe or sync-socket adapter with a cable, that fits your flash",
        "reaches the flash's contact without opening it",
        "",
        "medium",
    ),
    Sundry(
        "CAMERA_CABLE",
        "1",
        "remote release cable that fits your camera, with a 3.5 mm jack",
        "reaches the camera",
        "a remote release cut open",
        "medium",
    ),
    Sundry("USB_CABLE", "1", "USB data cable that fits the board", "computer to board", "", "low"),
    Sundry(
        "USB_ISOLATOR",
        "1, advised",
        "USB isolator, full speed (12 Mbit/s), bought whole",
        "separates the computer's ground from everything near liquid",
        "laptop on battery",
        "high",
    ),
    Sundry(
        "TUBES",
        "4",
        "black tube, 6 mm inside, 20 mm long (an LED's flange is 5.9 mm wide); not with the printed beam head",
        "beam heads: keep lamp light out",
        "black drinking straw in heat-shrink",
        "low",
    ),
    Sundry(
        "SLITS",
        "2",
        "black card or sheet with a slit of 1 × 5 mm",
        "beam receivers: make the edge sharp",
        "two pieces of blade glued 1 mm apart (mind your fingers)",
        "low",
    ),
    Sundry(
        "BARS",
        "2",
        "strip of plastic or wood, about 100 × 20 × 5 mm, with two blocks 8 mm wide; glue; straight 6 mm rod; not with "
        "the printed beam head",
        "hold a beam's two tubes in line; the rod is pulled out again",
        "",
        "low",
    ),
    Sundry("SHRINK", "1 set", "heat-shrink tube", "insulates joints", "", "low"),
    Sundry(
        "TEST_LAMP",
        "1",
        "12 V lamp, 3 to 5 W (24 V: of that voltage)",
        "stands in for a valve in the first tests",
        "resistor 47 Ω 5 W (24 V: 150 Ω 5 W)",
        "low",
    ),
    Sundry(
        "TEST_PARTS",
        "1 each",
        "resistors 1 kΩ and 22 kΩ, 0.25 W, beside those of the circuit; two test leads with clips; torch",
        "test lead of step 0; battery test of step 10; photodiode",
        "",
        "low",
    ),
    Sundry(
        "JUMPER",
        "1",
        "jumper wire, female to female, for pins of 2.54 mm pitch",
        "`beamfall board measure` on the bare board, step 6",
        "",
        "low",
    ),
    Sundry("BATTERY9", "1", "9 V battery with clip", "first tests at harmless power", "", "low"),
    Sundry(
        "BOTTLE",
        "1",
        "bottle of 0.5 to 1 l, plastic, with stopper, air tube of 4 to 6 mm bore, outlet, hose",
        "Mariotte bottle",
        "see the drawing",
        "low",
    ),
    Sundry(
        "WET_TOOLS",
        "1 each",
        "clamp for the hose, beaker, kitchen scales (1 g), paper towels, mat",
        "filling, first drops, test of the bottle",
        "",
        "low",
    ),
    Sundry(
        "NOZZLE",
        "1 per valve",
        "nozzle, mouth 2 to 4 mm outside, cut square",
        "shapes the drop",
        "blunt dispensing needle",
        "low",
    ),
    Sundry(
        "STAND",
        "1",
        "stand, clamps, dish, tray, clear splash guard, plumb line, spirit level",
        "holds it all",
        "",
        "high",
    ),
)
