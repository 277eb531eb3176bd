"""Items: resistors and capacitors."""

from __future__ import annotations

from circuit.items import Item, capacitor, resistor

PASSIVE_ITEMS = (
    # ------------------------------------------------------------------------------------------------ resistors
    resistor(
        "R0R22",
        0.22,
        "0.22 Ω 1 W",
        "shunt: the three coil currents together become a voltage",
        watt=1.0,
        substitutes="0.1 to 0.33 Ω, 1 W, if the gain is changed with it",
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
        "gate resistor: keeps the buffer's current and the edge's slope in bounds",
    ),
    resistor(
        "R270",
        270,
        "270 Ω",
        "current of a flash optocoupler's LED",
        substitutes="none: see the optocoupler study",
    ),
    resistor(
        "R680",
        680,
        "680 Ω",
        "current of a camera optocoupler's LED; of the status LED",
        substitutes="560 Ω to 820 Ω",
    ),
    resistor(
        "R1K", 1e3, "1 kΩ", "series protection of a pin; emitter load of a flash optocoupler; gain"
    ),
    resistor(
        "R2K2",
        2.2e3,
        "2.2 kΩ",
        "current of an indicator LED (valve driven, 5 V)",
        substitutes="1.5 kΩ to 4.7 kΩ",
    ),
    resistor(
        "R4K7",
        4.7e3,
        "4.7 kΩ",
        "pull-down of the buffer's inputs: outputs off while the board starts; pull-up of a "
        "comparator's open collector",
    ),
    resistor("R7K5", 7.5e3, "7.5 kΩ", "gain of the coil current amplifier: 1 + 7.5/1 = 8.5"),
    resistor(
        "R10K",
        10e3,
        "10 kΩ",
        "gate pull-downs; photocurrent loads; dividers; button pull-up; supply indicator",
    ),
    resistor("R22K", 22e3, "22 kΩ", "beam threshold: upper arm of the divider"),
    resistor(
        "R100K",
        100e3,
        "100 kΩ",
        "hysteresis of the comparators; supply divider; gate of the reverse-polarity transistor",
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
