"""What the board shows by itself, and how likely under each cause.

The chances are reasoned from how such parts work, in steps of about 'nearly always' (0.95), 'mostly' (0.8), 'often'
(0.5), 'now and then' (0.1 to 0.2), 'hardly' (0.03). They are judgements with no source and were not fitted to any rig,
simulated or real.
"""

from __future__ import annotations

from beamfall.faults.signs import Sign

# A beam that cannot see at all hides everything else that it could show.
BLIND = (
    *("beam-unplugged", "beam-stuck-dark", "beam-wire-shorted"),
    *("beam-blind-by-ambient-light",),
)
# No drop falls when one should; the air inlet's suction lets some fall at first.
NO_DROP = {
    "valve-unplugged": 0.97,
    "valve-stuck-closed": 0.95,
    "nozzle-clogged": 0.88,
    "reservoir-empty": 0.94,
    "outputs-swapped": 0.96,
}


def _no_drop(outcome: str) -> dict[str, dict[str, float]]:
    return {cause: {outcome: chance} for cause, chance in NO_DROP.items()}


CONNECTION = Sign(
    "connection",
    ("opened", "other-firmware"),
    sound={"other-firmware": 0.0005},
    chances={"firmware-differs": {"other-firmware": 0.99}},
    words={
        "opened": "board and library are of one version",
        "other-firmware": "the board says that its firmware is of another version",
    },
)

LINE = Sign(
    "line",
    ("steady", "damaged", "lost"),
    sound={"damaged": 0.01, "lost": 0.003},
    # Drop-outs come seconds or minutes apart; a supply that gives way takes the board with it,
    # which shows as a restart (below) more than as a lost port.
    chances={
        "usb-dropping-out": {"damaged": 0.1, "lost": 0.7},
        "supply-sagging": {"damaged": 0.03, "lost": 0.05},
    },
    words={
        "steady": "the line to the board stayed up",
        "damaged": "frames came damaged over the line",
        "lost": "the port vanished and came back",
    },
)

RESTARTS = Sign(
    "restarts",
    ("stays", "restarted"),
    sound={"restarted": 0.002},
    chances={"supply-sagging": {"restarted": 0.45}, "usb-dropping-out": {"restarted": 0.03}},
    words={
        "stays": "the board kept running",
        "restarted": "the board restarted as the valve opened",
    },
)

RESTARTS_ALONE = Sign(
    "restarts-alone",
    ("stays", "restarted"),
    sound={"restarted": 0.002},
    # A board that has no other supply loses its power with its USB plug.
    chances={"supply-sagging": {"restarted": 0.02}, "usb-dropping-out": {"restarted": 0.15}},
    words={
        "stays": "the board kept running",
        "restarted": "the board restarted while no valve was driven",
    },
)

REST = Sign(
    "rest",
    ("clear", "drops", "flicker", "much-dark", "dark"),
    sound={"drops": 0.003, "flicker": 0.008, "much-dark": 0.002, "dark": 0.005},
    chances={
        "beam-unplugged": {"dark": 0.95},  # the line's pull-up makes it read dark (hardware/)
        "beam-stuck-dark": {"dark": 0.96},
        "beam-polarity-wrong": {"dark": 0.97},
        "beam-misaligned": {"dark": 0.05},  # mostly the drops are off; sometimes the emitter is
        # Now and then its only break is as long as a drop's; or it is open most of the time.
        "beam-contact-loose": {"drops": 0.07, "flicker": 0.65, "much-dark": 0.08, "dark": 0.05},
        # A lamp on the mains flickers.
        "beam-blind-by-ambient-light": {"flicker": 0.03, "much-dark": 0.02},
        "valve-stuck-open": {"flicker": 0.05, "much-dark": 0.7, "dark": 0.2},
        "valve-leaking": {"drops": 0.8, "flicker": 0.05},
    },
    words={
        "clear": "the beam was clear and quiet at rest",
        "drops": "the beam was darkened as by drops with nothing released",
        "flicker": "with nothing released the beam flickered as no drops would make it",
        "much-dark": "the beam was dark for much of the time and changed again and again with nothing released",
        "dark": "the beam was dark at rest",
    },
    hiders=("beam-wire-shorted", "beam-unplugged", "beam-stuck-dark"),
)

DRIP_BEAM = Sign(
    "drip-beam",
    ("on-time", "small", "off-time", "stray", "extra", "inverted", "none", "busy"),
    sound={"small": 0.01, "off-time": 0.02, "stray": 0.005, "extra": 0.02, "none": 0.01},
    chances={
        "beam-misaligned": {"none": 0.88, "small": 0.08},  # a drop cut at its rim is dark for less
        "beam-unplugged": {"none": 0.96},
        "beam-stuck-dark": {"none": 0.96},
        "beam-wire-shorted": {"none": 0.97},
        "beam-blind-by-ambient-light": {"none": 0.92},
        "beam-polarity-wrong": {"inverted": 0.97},
        "beam-contact-loose": {"stray": 0.25, "extra": 0.1, "none": 0.05, "busy": 0.35},
        "satellites-counted-as-drops": {"extra": 0.92},
        **_no_drop("none"),
        "valve-stuck-open": {"none": 0.05, "busy": 0.9},
        "valve-leaking": {"off-time": 0.05, "stray": 0.5, "busy": 0.05},
        "nozzle-clogged": {"none": 0.85, "small": 0.1},
        "air-inlet-blocked": {"none": 0.35, "small": 0.35},
        "supply-sagging": {"small": 0.1, "off-time": 0.08, "none": 0.05},
    },
    words={
        "on-time": "a drop darkened the beam when it had to",
        "small": "a drop darkened the beam for much less long than it should",
        "off-time": "something darkened the beam at a time when no drop could",
        "stray": "the beam was darkened once more at another time than the drop's",
        "extra": "a shorter darkening came right behind the drop's",
        "inverted": "the beam became clear when the drop had to darken it",
        "none": "no edge came when a drop had to cross the beam",
        "busy": "many edges came from one opening of the valve",
    },
    hiders=(*BLIND, "beam-misaligned"),
)

DRIP_OPENING = Sign(
    "drip-opening",
    ("quiet", "pulse"),
    sound={"pulse": 0.004},
    chances={
        "supply-sagging": {"pulse": 0.6},
        "beam-contact-loose": {"pulse": 0.08},
        "valve-stuck-open": {"pulse": 0.5},
        "valve-leaking": {"pulse": 0.03},
    },
    words={
        "quiet": "the beam was not disturbed by the valve's opening",
        "pulse": "the beam went dark at the valve's opening and before any drop could be there",
    },
    hiders=BLIND,
)

DRIP_LIGHT = Sign(
    "drip-light",
    ("none", "lit"),
    sound={"lit": 0.002},
    chances={"outputs-swapped": {"lit": 0.9}},
    words={
        "none": "no light came as the valve was driven",
        "lit": "the flash fired when the valve was driven",
    },
    hiders=("light-sensor-blind", "flash-off", "flash-asleep", "flash-cable"),
    by_light=True,
)

REPEAT = Sign(
    "repeat",
    ("steady", "scattered", "fading", "none"),
    sound={"scattered": 0.04, "fading": 0.003, "none": 0.008},
    chances={
        **_no_drop("none"),
        "nozzle-clogged": {"none": 0.8, "scattered": 0.1, "fading": 0.03},
        "reservoir-empty": {"none": 0.88, "fading": 0.08},
        "air-inlet-blocked": {"none": 0.25, "fading": 0.7},
        "beam-misaligned": {"none": 0.85, "scattered": 0.1},
        "beam-contact-loose": {"scattered": 0.5, "none": 0.05},
        "valve-stuck-open": {"scattered": 0.9},
        "valve-leaking": {"scattered": 0.3},
        "supply-sagging": {"scattered": 0.3, "none": 0.03},
        **{cause: {"none": 0.95} for cause in BLIND},
    },
    words={
        "steady": "six drops in a row darkened the beam equally long",
        "scattered": "drops in a row darkened the beam for times that differ much",
        "fading": "drops in a row became smaller and smaller",
        "none": "none of six drops in a row was seen by the beam",
    },
    hiders=(*BLIND, "beam-misaligned"),
)

# Causes for which no light comes when a flash's contact closes.
NO_LIGHT = {
    "flash-off": 0.98,
    "flash-asleep": 0.9,  # some wake at the contact and fire at the next
    "flash-cable": 0.96,
    "outputs-swapped": 0.96,
}

FLASH_LIGHT = Sign(
    "flash-light",
    ("both", "first-only", "second-only", "none"),
    sound={"first-only": 0.01, "second-only": 0.005, "none": 0.01},
    chances={
        "flash-off": {"none": 0.98},
        "flash-asleep": {"none": 0.85, "second-only": 0.12},
        "flash-cable": {"none": 0.93, "first-only": 0.02, "second-only": 0.02},
        "flash-recycling": {"first-only": 0.85, "none": 0.05},
        "flash-not-manual": {"first-only": 0.4},  # it spends more, so it recycles for longer
        "light-sensor-blind": {"none": 0.95},
        "outputs-swapped": {"none": 0.96},
    },
    words={
        "both": "the board saw the light of two flashes",
        "first-only": "of two flashes a recycling time apart only the first gave light",
        "second-only": "only the second of two flashes gave light",
        "none": "the board saw no light when the flash's contact closed",
    },
    by_light=True,
)

FLASH_LENGTH = Sign(
    "flash-length",
    ("short", "long"),
    sound={"long": 0.02},
    chances={"flash-not-manual": {"long": 0.85}},
    words={
        "short": "the light was as short as the rig file says",
        "long": "the light lasted many times longer than the rig file says",
    },
    only_if=("flash-light", ("both", "first-only", "second-only")),
    by_light=True,
)

FLASH_DROP = Sign(
    "flash-drop",
    ("quiet", "edges"),
    sound={"edges": 0.01},
    chances={
        "outputs-swapped": {"edges": 0.6},  # so short an opening makes a small drop or none
        "valve-stuck-open": {"edges": 0.9},
        "valve-leaking": {"edges": 0.7},
        "beam-contact-loose": {"edges": 0.75},
    },
    words={
        "quiet": "the beam stayed quiet after the flash's contact had closed",
        "edges": "the beam saw something after the flash's contact had closed",
    },
    hiders=BLIND,
)

SETTING_DELAY = Sign(
    "setting-delay",
    ("fits", "short", "long"),
    sound={"short": 0.04, "long": 0.04},  # what was tuned by pictures may well leave the plan
    chances={"delay-too-short": {"short": 0.9}, "delay-too-long": {"long": 0.9}},
    words={
        "fits": "the flash delay lies where the plan expects it",
        "short": "the flash delay is shorter than any rig of this file should need",
        "long": "the flash delay is longer than any rig of this file should need",
    },
)

SETTING_WINDOW = Sign(
    "setting-window",
    ("enough", "short"),
    sound={"short": 0.003},
    chances={"window-too-short": {"short": 0.9}},
    words={
        "enough": "the window is long enough for the drops to reach the beam",
        "short": "the window closes before the awaited drop can be at the beam",
    },
)

SHOT_END = Sign(
    "shot-end",
    ("fired", "few-edges", "no-edge", "blocked"),
    sound={"few-edges": 0.02, "no-edge": 0.01, "blocked": 0.005},
    chances={
        **_no_drop("no-edge"),
        "beam-misaligned": {"no-edge": 0.85, "few-edges": 0.05, "blocked": 0.05},
        "beam-unplugged": {"blocked": 0.96},
        "beam-stuck-dark": {"blocked": 0.96},
        "beam-polarity-wrong": {"blocked": 0.97},
        "beam-wire-shorted": {"no-edge": 0.97},
        "beam-blind-by-ambient-light": {"no-edge": 0.93},
        "beam-contact-loose": {"few-edges": 0.05, "no-edge": 0.05, "blocked": 0.05},
        "valve-stuck-open": {"blocked": 0.7},
        "air-inlet-blocked": {"no-edge": 0.3, "few-edges": 0.25},
        "window-too-short": {"no-edge": 0.5, "few-edges": 0.45},
        "supply-sagging": {"few-edges": 0.05},
    },
    words={
        "fired": "a shot counted its beam edges and fired",
        "few-edges": "a shot counted fewer beam edges than it waits for",
        "no-edge": "a shot waited for the beam in vain",
        "blocked": "the board refused the shot because the beam is dark",
    },
    hiders=("beam-wire-shorted", "beam-unplugged", "beam-stuck-dark"),
)

SHOT_LIGHT = Sign(
    "shot-light",
    ("lit", "dark"),
    sound={"dark": 0.015},
    chances={
        **{cause: {"dark": chance} for cause, chance in NO_LIGHT.items()},
        "light-sensor-blind": {"dark": 0.95},
        "flash-recycling": {"dark": 0.1},
    },
    words={
        "lit": "the board saw the light of the shot's flash",
        "dark": "the shot fired but the board saw no light",
    },
    only_if=("shot-end", ("fired",)),
    by_light=True,
)

BUTTON_SPOKE = Sign(
    "button-spoke",
    ("silent", "spoke"),
    sound={"spoke": 0.004},
    chances={"button-miswired": {"spoke": 0.4}},  # inverted, it is down from the start
    words={
        "silent": "the button was not pressed by itself",
        "spoke": "the board saw its button pressed with nobody at it",
    },
)

FLASH_WOKEN = Sign(
    "flash-woken",
    ("lit", "dark"),
    sound={"dark": 0.01},
    chances={
        "flash-off": {"dark": 0.98},
        "flash-asleep": {"dark": 0.04},  # it is awake now
        "flash-cable": {"dark": 0.96},
        "flash-recycling": {"dark": 0.3},
        "flash-not-manual": {"dark": 0.15},
        "light-sensor-blind": {"dark": 0.95},
        "outputs-swapped": {"dark": 0.96},
    },
    words={
        "lit": "after its own button was pressed the flash obeys the board",
        "dark": "after its own button was pressed the flash still does not obey the board",
    },
    by_light=True,
)
