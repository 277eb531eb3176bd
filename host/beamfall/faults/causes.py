"""What can be wrong, one cause an entry, with how often it is.

`weight` is how often a cause is met compared with others, 1 being ordinary. The weights are our judgement of a rig
in amateur hands (no source); they are priors, not measurements.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from beamfall.faults.setup import Setup


@dataclass(frozen=True)
class Cause:
    """One thing that can be wrong. Of causes with the same `part` at most one can be true at a time."""

    name: str
    what: str
    weight: float = 1.0
    part: str = ""


NOTHING = "nothing-wrong"  # not a cause: the name of finding none

CAUSES: tuple[Cause, ...] = (
    Cause("beam-misaligned", "the drops fall beside the beam", 2.0),
    Cause("beam-unplugged", "a plug or wire of the beam has no contact", 1.2, "beam-wire"),
    Cause("beam-blind-by-ambient-light", "other light keeps the beam's receiver lit"),
    Cause("beam-stuck-dark", "something blocks the beam, or its emitter is dead", 1.2),
    Cause("beam-wire-shorted", "the beam's signal wire is shorted", 0.5, "beam-wire"),
    Cause("beam-polarity-wrong", "dark and clear of the beam are exchanged", 0.7),
    Cause("beam-contact-loose", "a contact of the beam is loose", 0.8, "beam-wire"),
    Cause("satellites-counted-as-drops", "a small drop behind each drop is counted too", 1.0),
    Cause("valve-unplugged", "the valve gets no current (supply, plug, wire or driver)", 1.2),
    Cause("valve-stuck-closed", "the valve's plunger is stuck closed", 0.8, "plunger"),
    Cause("valve-stuck-open", "the valve's plunger is stuck open", 0.5, "plunger"),
    Cause("valve-leaking", "the valve does not close tightly and drips by itself", 0.8, "plunger"),
    Cause("nozzle-clogged", "the nozzle or the tube is blocked", 0.8),
    Cause("reservoir-empty", "there is no liquid left in the reservoir", 1.0),
    Cause("air-inlet-blocked", "no air comes into the reservoir, so its liquid is held back", 1.0),
    Cause("outputs-swapped", "the plugs of valve and flash are exchanged", 0.8),
    Cause("flash-off", "the flash is off or its batteries are empty", 1.5, "flash-power"),
    Cause("flash-asleep", "the flash has gone to sleep", 1.5, "flash-power"),
    Cause("flash-not-manual", "the flash is in an automatic mode", 1.0),
    Cause("flash-cable", "the flash's cable or foot has no contact", 1.2),
    Cause("flash-recycling", "the flash takes longer to recycle than the rig file says", 1.0),
    Cause(
        "light-sensor-blind", "the flash-seen sensor does not see the flash, or is not fitted", 1.5
    ),
    Cause("camera-cable", "the camera's cable has no contact", 1.0),
    Cause("delay-too-long", "the flash delay is too long", 1.0, "delay"),
    Cause("delay-too-short", "the flash delay is too short", 1.0, "delay"),
    Cause("window-too-short", "the window for the beam closes before the drops are there", 0.7),
    Cause("supply-sagging", "the supply gives way when the valve opens", 1.0),
    Cause("usb-dropping-out", "the USB line drops out now and then", 0.8),
    Cause("firmware-differs", "the firmware on the board is of another version", 0.8),
    Cause("button-miswired", "the board's button is wired wrongly or not at all", 0.7),
)

BY_NAME = {cause.name: cause for cause in CAUSES}


def list_possible(setup: Setup, *, has_light: bool, has_button: bool) -> list[Cause]:
    """Return the causes that a setup can have: no beam, no trouble with one.

    Timings can be wrong where somebody has set them. The plan's own may miss, too, but that is what
    seeking is for.
    """
    beam, flash = setup.beam is not None, setup.flash is not None
    needs = {
        "beam": beam,
        "satellites": beam,
        "window": setup.sets_window,
        "flash": flash,
        "delay": flash and setup.sets_delay,
        "outputs": flash,
        "light": flash and has_light,
        "camera": setup.has_camera,
        "button": has_button,
    }
    return [cause for cause in CAUSES if needs.get(cause.name.split("-")[0], True)]
