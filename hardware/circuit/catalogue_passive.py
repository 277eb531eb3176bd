"""Items: resistors and capacitors."""

from __future__ import annotations

from circuit.items import Item, capacitor, resistor

PASSIVE_ITEMS = (
    # ------------------------------------------------------------------------------------------------ resistors
    resistor(
        "R0R22",
        0.22,
        "0.22 Ω 2 W",
        "shunt: the three coil currents together become a voltage",
        watt=2.0,
        substitutes="none: gain and gate drive are made for it",
    ),
    resistor(
        "R150",
        150,
        "150 Ω 0.5 W",
        "least resistance of a beam emitter, with its trimmer at zero",
        watt=0.5,
    ),
    resistor(
        "R220",
        220,
        "220 Ω",
        "gate resistor: keeps the buffer's current and the edge's slope in bounds; current of a flash "
        "optocoupler's LED (no substitute there)",
    ),
    resistor(
        "R680",
        680,
        "680 Ω",
        "current of a camera optocoupler's LED; of the status LED",
        substitutes="560 Ω to 820 Ω",
    ),
    resistor("R1K", 1e3, "1 kΩ", "series protection of a pin and of the comparators' inputs; gain"),
    resistor(
        "R2K2",
        2.2e3,
        "2.2 kΩ",
        "current of an indicator LED; gate to cathode of a flash output; gate of the high-side switch",
        substitutes="none in flashes",
    ),
    resistor(
        "R4K7",
        4.7e3,
        "4.7 kΩ",
        "pull-down of the buffer's inputs: outputs off while the board starts; pull-up of a "
        "comparator's open collector; base of the high-side switch's driver",
    ),
    resistor("R7K5", 7.5e3, "7.5 kΩ", "gain of the coil current amplifier: 1 + 7.5/1 = 8.5"),
    resistor(
        "R10K", 10e3, "10 kΩ", "photocurrent loads; dividers; button pull-up; supply indicator"
    ),
    resistor("R22K", 22e3, "22 kΩ", "beam threshold: upper arm of the divider"),
    resistor(
        "R100K",
        100e3,
        "100 kΩ",
        "hysteresis of the comparators; supply divider; gate pull-downs of the valves and of the reverse-polarity "
        "transistor",
    ),
    resistor("R47K", 47e3, "47 kΩ", "holds the high-side switch off"),
    resistor(
        "R100",
        100,
        "100 Ω",
        "series protection of the camera's contacts",
        substitutes="47 Ω to 220 Ω",
    ),
    resistor(
        "R470",
        470,
        "470 Ω",
        "feed of a receiver on a cable: a short in a wet head takes 7 mA and leaves the 3.3 V alone",
        substitutes="330 Ω to 560 Ω",
    ),
    resistor(
        "R4R7",
        4.7,
        "4.7 Ω 1 W",
        "in series with a flash's contact: keeps an old flash's pulse within the thyristor's surge",
        watt=1.0,
        substitutes="4.7 to 6.8 Ω, wire-wound or metal film",
    ),
    resistor(
        "R1M",
        1e6,
        "1 MΩ",
        "base-emitter resistor of a flash optocoupler: needed for its full voltage rating",
    ),
    Item(
        "TRIM1K",
        "trimmer",
        "1 kΩ",
        "trimmer potentiometer, 1 kΩ, multi-turn, 0.5 W",
        "3-pin, 2.54 mm pitch",
        "brightness of a beam emitter: sets the receiver's clear level",
        "single-turn (coarser); 500 Ω to 2 kΩ",
        "low",
        {"ohm": 1e3, "tol": 0.1, "watt": 0.5},
    ),
    # ----------------------------------------------------------------------------------------------- capacitors
    capacitor(
        "C1000U",
        1e-3,
        50,
        "1000 µF 50 V",
        "radial, 16 mm",
        "keeps the supply up when valves switch on",
    ),
    capacitor("C100U", 100e-6, 16, "100 µF 16 V", "radial, 6.3 mm", "buffer of the 5 V rail"),
    capacitor(
        "C10U",
        10e-6,
        25,
        "10 µF 25 V",
        "radial, 5 mm",
        "takes static charge that the inputs' diodes pass on",
    ),
    capacitor(
        "C100N",
        100e-9,
        50,
        "100 nF 50 V",
        "radial, 5.08 mm",
        "decoupling beside each chip; filter of slow inputs",
    ),
    capacitor(
        "C10N",
        10e-9,
        50,
        "10 nF 50 V",
        "radial, 5.08 mm",
        "noise filter of the coil current amplifier, 10 µs",
    ),
)
