"""What a person answers or brings about, and how likely under each cause.

The chances are those of the rig, reasoned as in `board_signs`; that people mishear, overlook and mistake is added in
`inference`, for all questions alike.
"""

from __future__ import annotations

from beamfall.faults.board_signs import NO_DROP, NO_LIGHT
from beamfall.faults.signs import Sign

SAW_DROP = Sign(
    "saw-drop",
    ("yes", "drips", "no", "runs"),
    sound={"drips": 0.01, "no": 0.015, "runs": 0.002},
    chances={
        **{cause: {"no": chance} for cause, chance in NO_DROP.items()},
        "air-inlet-blocked": {"no": 0.5},
        "valve-stuck-open": {"runs": 0.96},
        "valve-leaking": {"drips": 0.85},
    },
    words={
        "yes": "a drop fell",
        "drips": "drops fall by themselves",
        "no": "no drop fell",
        "runs": "liquid runs all the time",
    },
    person="answers",
)

HEARD_VALVE = Sign(
    "heard-valve",
    ("yes", "no"),
    sound={"no": 0.03},
    chances={
        "valve-unplugged": {"no": 0.97},
        "valve-stuck-closed": {"no": 0.93},  # what does not move does not click; coils may hum
        "valve-stuck-open": {"no": 0.93},
        "outputs-swapped": {"no": 0.97},
        "supply-sagging": {"no": 0.1},
    },
    words={"yes": "the valve clicked twice", "no": "the valve did not click twice"},
    person="answers",
)

FINGER = Sign(
    "finger",
    ("edges", "inverted", "none"),
    sound={"none": 0.01},
    chances={
        "beam-misaligned": {"none": 0.04},
        "beam-unplugged": {"none": 0.97},
        "beam-stuck-dark": {"none": 0.95},
        "beam-wire-shorted": {"none": 0.97},
        "beam-blind-by-ambient-light": {"none": 0.92},
        "beam-polarity-wrong": {"inverted": 0.97},
        "beam-contact-loose": {"none": 0.05},
    },
    words={
        "edges": "a finger in the beam was seen",
        "inverted": "a finger in the beam made it clear instead of dark",
        "none": "a finger in the beam was not seen",
    },
    person="acts",
)

COVER = Sign(
    "cover",
    ("changes", "no-change"),
    sound={"no-change": 0.01},
    chances={
        "beam-unplugged": {"no-change": 0.97},
        "beam-stuck-dark": {"no-change": 0.95},
        "beam-wire-shorted": {"no-change": 0.97},
        "beam-blind-by-ambient-light": {"no-change": 0.06},
    },
    words={
        "changes": "a hand right over the receiver was seen",
        "no-change": "not even a hand right over the receiver changed anything",
    },
    person="acts",
)

WIGGLE = Sign(
    "wiggle",
    ("quiet", "edges"),
    sound={"edges": 0.01},
    chances={
        "beam-contact-loose": {"edges": 0.92},
        "beam-unplugged": {"edges": 0.25},
        "valve-stuck-open": {"edges": 0.95},
        "valve-leaking": {"edges": 0.05},  # its drops are told from a contact's breaks
    },
    words={
        "quiet": "moving the beam's plugs and cables changed nothing",
        "edges": "moving the beam's plugs and cables made the beam flicker",
    },
    hiders=("beam-wire-shorted",),
    person="acts",
    undone="quiet",
)

BEAM_PLUG = Sign(
    "beam-plug",
    ("yes", "no"),
    sound={"no": 0.01},
    # Not every contact that fails looks like it.
    chances={"beam-unplugged": {"no": 0.75}, "beam-contact-loose": {"no": 0.4}},
    words={"yes": "the beam's plugs sit well", "no": "a plug of the beam does not sit well"},
    person="answers",
)

BEAM_PATH = Sign(
    "beam-path",
    ("yes", "no"),
    sound={"no": 0.02},
    chances={"beam-stuck-dark": {"no": 0.93}, "beam-unplugged": {"no": 0.35}},
    words={
        "yes": "the beam's path is free and its emitter glows",
        "no": "something is in the beam's path or its emitter does not glow",
    },
    person="answers",
)

SAW_FLASH = Sign(
    "saw-flash",
    ("yes", "no"),
    sound={"no": 0.01},
    chances={
        **{cause: {"no": chance} for cause, chance in NO_LIGHT.items()},
        "flash-recycling": {"no": 0.25},
        "flash-not-manual": {"no": 0.1},
    },
    words={"yes": "the flash was seen to fire", "no": "the flash was seen not to fire"},
    person="answers",
)

SAW_FLASHES = Sign(
    "saw-flashes",
    ("twice", "once", "no"),
    sound={"once": 0.01, "no": 0.01},
    chances={  # as of `board_signs.FLASH_LIGHT`, where a sensor sees it
        "flash-off": {"no": 0.98},
        "flash-asleep": {"once": 0.12, "no": 0.85},
        "flash-cable": {"once": 0.04, "no": 0.93},
        "flash-recycling": {"once": 0.85, "no": 0.05},
        "flash-not-manual": {"once": 0.4},
        "outputs-swapped": {"no": 0.96},
    },
    words={
        "twice": "the flash was seen to fire twice",
        "once": "of two flashes a recycling time apart only one was seen",
        "no": "none of two flashes was seen",
    },
    person="answers",
)

READY_LAMP = Sign(
    "ready-lamp",
    ("yes", "no"),
    sound={"no": 0.02},
    chances={
        "flash-off": {"no": 0.95},
        "flash-asleep": {"no": 0.8},  # some leave it blinking
        "flash-recycling": {"no": 0.4},  # it has had its rest, by the rig file
    },
    words={"yes": "the flash's ready lamp is on", "no": "the flash's ready lamp is off"},
    person="answers",
)

FLASH_BUTTON = Sign(
    "flash-button",
    ("yes", "no"),
    sound={"no": 0.01},
    chances={
        "flash-off": {"no": 0.97},
        "flash-asleep": {"no": 0.04},
        "flash-recycling": {"no": 0.25},
        "flash-not-manual": {"no": 0.1},
    },
    words={
        "yes": "the flash fires at its own test button",
        "no": "the flash does not even fire at its own test button",
    },
    person="answers",
)

SAW_WOKEN = Sign(
    "saw-woken",
    ("yes", "no"),
    sound={"no": 0.01},
    chances={  # as of `board_signs.FLASH_WOKEN`, where a sensor sees it
        "flash-off": {"no": 0.98},
        "flash-asleep": {"no": 0.04},
        "flash-cable": {"no": 0.96},
        "flash-recycling": {"no": 0.3},
        "flash-not-manual": {"no": 0.15},
        "outputs-swapped": {"no": 0.96},
    },
    words={
        "yes": "after its own button was pressed the flash was seen to obey the board",
        "no": "after its own button was pressed the flash was seen not to obey the board",
    },
    person="answers",
)

FLASH_MODE = Sign(
    "flash-mode",
    ("yes", "no"),
    sound={"no": 0.02},
    chances={"flash-not-manual": {"no": 0.95}},
    words={"yes": "the flash is set to M", "no": "the flash is not set to M"},
    person="answers",
)

RESERVOIR = Sign(
    "reservoir",
    ("yes", "no"),
    sound={"no": 0.01},
    chances={"reservoir-empty": {"no": 0.96}},
    words={
        "yes": "there is liquid in the reservoir",
        "no": "there is no liquid above the reservoir's outlet",
    },
    person="answers",
)

CAP = Sign(
    "cap",
    ("yes", "no"),
    sound={"no": 0.015},
    chances={
        **{cause: {"no": chance} for cause, chance in NO_DROP.items()},
        "air-inlet-blocked": {"no": 0.05},  # that lets air in: it is cured
    },
    words={
        "yes": "with the reservoir's cap open a drop fell",
        "no": "even with the reservoir's cap open no drop fell",
    },
    person="answers",
)

NOZZLE = Sign(
    "nozzle",
    ("yes", "no"),
    sound={"no": 0.015},
    chances={
        **{cause: {"no": chance} for cause, chance in NO_DROP.items()},
        "nozzle-clogged": {"no": 0.15},  # unless it is the tube above the valve
        "air-inlet-blocked": {"no": 0.5},
    },
    words={
        "yes": "with the nozzle taken off liquid came out of the valve",
        "no": "even with the nozzle taken off no liquid came out of the valve",
    },
    person="answers",
)

VALVE_PLUG = Sign(
    "valve-plug",
    ("yes", "no"),
    sound={"no": 0.01},
    chances={"valve-unplugged": {"no": 0.75}},
    words={
        "yes": "the valve's supply is on and its plug sits well",
        "no": "the valve's supply is off or its plug does not sit well",
    },
    person="answers",
)

COIL = Sign(
    "coil",
    ("yes", "no"),
    sound={"no": 0.03},
    chances={"valve-unplugged": {"no": 0.97}, "outputs-swapped": {"no": 0.95}},
    words={
        "yes": "the valve's coil draws steel when it is driven",
        "no": "the valve's coil draws no steel when it is driven",
    },
    person="answers",
)

BUTTON = Sign(
    "button",
    ("seen", "none"),
    sound={"none": 0.01},
    chances={"button-miswired": {"none": 0.55}},
    words={
        "seen": "the board saw its button pressed",
        "none": "the board did not see its button pressed",
    },
    person="acts",
)

SHUTTER = Sign(
    "shutter",
    ("yes", "no"),
    sound={"no": 0.02},
    chances={"camera-cable": {"no": 0.96}},
    words={"yes": "the camera's shutter opened", "no": "the camera's shutter did not open"},
    person="answers",
)

PICTURE = Sign(
    "picture",
    ("wanted", "missed", "early", "late", "black"),
    # A first try often misses by itself: the plan's intervals are wide.
    sound={"missed": 0.2, "early": 0.12, "late": 0.12, "black": 0.01},
    chances={
        "delay-too-short": {"early": 0.85},
        "delay-too-long": {"late": 0.85},
        "satellites-counted-as-drops": {"early": 0.85},
        "camera-cable": {"black": 0.96},
        **{cause: {"black": chance} for cause, chance in NO_LIGHT.items()},
        "flash-recycling": {"black": 0.2},
        "air-inlet-blocked": {"missed": 0.5},
    },
    words={
        "wanted": "the picture shows the drop on the jet",
        "missed": "the picture shows that the drops did not meet",
        "early": "the picture was taken before the drop met the jet",
        "late": "the picture was taken when all was over",
        "black": "the picture is black",
    },
    person="answers",
)
