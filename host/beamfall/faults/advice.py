"""For each cause, what to do about it, with the caution that belongs to it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from beamfall.faults.causes import NOTHING

_PLUGS = "switch the supply off before you touch plugs or wires"
_WET = "keep liquid away from the board and the plugs"
_CONTACTS = (
    "do not touch the flash's contacts, which can carry hundreds of volts even when it is off"
)
_STROBE = "warn everybody before it flashes, since flashes can trigger photosensitive epilepsy"


@dataclass(frozen=True)
class Advice:
    """What to do, in one sentence, and what to take care of, as its end."""

    do: str
    caution: str = ""

    @property
    def text(self) -> str:
        """The sentence."""
        return f"{self.do}; {self.caution}." if self.caution else f"{self.do}."


ADVICE: Mapping[str, Advice] = MappingProxyType(
    {
        NOTHING: Advice("Fire a shot with `beamfall shoot`, and check again when something fails"),
        "beam-misaligned": Advice(
            "Move the beam sideways until drops darken it longest, watching `beamfall beam --drops`"
        ),
        "beam-unplugged": Advice(
            "Push both plugs of the beam home and measure its wires for a break", _PLUGS
        ),
        "beam-blind-by-ambient-light": Advice(
            "Keep lamps and the sun from the beam's receiver, or put a short dark tube before it"
        ),
        "beam-stuck-dark": Advice(
            "Clear the beam's path, dry both lenses, and see in a phone's camera that the emitter glows",
            _WET,
        ),
        "beam-wire-shorted": Advice(
            "Look for a short between the beam's signal wire and ground, first in the plug", _PLUGS
        ),
        "beam-polarity-wrong": Advice(
            "Use a receiver that pulls its line low in light, or change the beam's level in the board's profile"
        ),
        "beam-contact-loose": Advice(
            "Renew the beam's loose contact and give its cable a strain relief", _PLUGS
        ),
        "satellites-counted-as-drops": Advice(
            "Set the beam's blanking in the rig file longer than the satellite's lag, or shorten the valve's opening"
        ),
        "valve-unplugged": Advice(
            "See that the valves' supply is on, since the board runs from USB without it; then push the valve's plug "
            "home, and measure its coil and the driver's output",
            _PLUGS,
        ),
        "valve-stuck-closed": Advice(
            "Rinse the valve with warm clean water and tap it, or take it apart and clean its plunger",
            f"{_PLUGS}, and {_WET}",
        ),
        "valve-stuck-open": Advice(
            "Close the feed, put a container below, and clean or replace the valve",
            f"{_PLUGS}, and {_WET}",
        ),
        "valve-leaking": Advice("Clean the valve's seat and seal, or lower the reservoir", _WET),
        "nozzle-clogged": Advice(
            "Rinse nozzle and tube with warm clean water until they run freely", _WET
        ),
        "reservoir-empty": Advice(
            "Fill the reservoir, then purge the air from the tube with `beamfall rinse`", _WET
        ),
        "air-inlet-blocked": Advice(
            "Clear the reservoir's air inlet, and see bubbles rise from it while the valve is held open by "
            "`beamfall rinse`",
            _WET,
        ),
        "outputs-swapped": Advice(
            "Exchange the plugs of the valve and the flash on the board",
            f"{_PLUGS}, and {_CONTACTS}",
        ),
        "flash-off": Advice("Switch the flash on, with fresh batteries", _STROBE),
        "flash-asleep": Advice(
            "Wake the flash and switch its sleep off, or fire it with `beamfall flash` before each series",
            _STROBE,
        ),
        "flash-not-manual": Advice(
            "Set the flash to M and a low power such as 1/64, for a short light", _STROBE
        ),
        "flash-cable": Advice(
            "Switch the flash off, seat its cable and foot anew, and try another cable", _CONTACTS
        ),
        "flash-recycling": Advice(
            "Give the flash fresh batteries or less power, and set `recycle` and `rest` "
            "in the rig file to what it needs"
        ),
        "light-sensor-blind": Advice(
            "Point the flash-seen sensor at the flash and check its plug; without one, go by your eyes",
            _PLUGS,
        ),
        "camera-cable": Advice(
            "Seat the camera's cable at both ends and set the camera to bulb, with its autofocus off"
        ),
        "delay-too-long": Advice(
            "Shorten the flash delay, or leave it out of the rig file and let `beamfall plan` reckon it"
        ),
        "delay-too-short": Advice(
            "Lengthen the flash delay, or leave it out of the rig file and let `beamfall plan` reckon it"
        ),
        "window-too-short": Advice(
            "Make the window longer than valve latency, spacing and fall together, such as 1 s"
        ),
        "supply-sagging": Advice(
            "Give the valve a stronger supply or its own, with a capacitor and short thick wires",
            _PLUGS,
        ),
        "usb-dropping-out": Advice(
            "Use a short USB cable that sits firmly, without a hub, away from the valve's wires"
        ),
        "firmware-differs": Advice(
            "Install the firmware that belongs to this library with `beamfall board install`, or update the library"
        ),
        "button-miswired": Advice(
            "Wire the button as hardware/wiring shows for this board, between its input and ground",
            _PLUGS,
        ),
    }
)

AGAIN = "Check again, and answer to the end; where you cannot tell, say so."
_SEEK = Advice(
    "The picture missed the moment, and that is a matter of the timings: `beamfall seek` finds them from what "
    "your pictures show, and `beamfall sweep` walks through them",
    _STROBE,
)
MISSED = ("early", "late", "missed")  # pictures that show drops and light, at another moment
_NO_SENSOR = (
    "If there is no flash-seen sensor on this controller, write `flash_seen = false` under `[fitted]` in the rig "
    "file, and nothing waits for its light any more."
)
_NO_BUTTON = (
    "If there is no button on this controller, write `button = false` under `[fitted]` in the rig file, and "
    "nothing looks for a fault there any more."
)


def list_advice(causes: Iterable[str], outcomes: Mapping[str, str]) -> list[str]:
    """What to do about the causes named, in sentences, after what was seen (outcomes by sign)."""
    said = []
    missed = outcomes.get("picture") in MISSED
    for name in causes:
        if name == NOTHING and missed:
            said.append(_SEEK.text)
            continue
        said.append(ADVICE[name].text)
        if name == "light-sensor-blind":
            said.append(_NO_SENSOR)
        elif name == "button-miswired" and outcomes.get("button-spoke") != "spoke":
            said.append(_NO_BUTTON)
        elif name.startswith("delay-") and missed:
            said.append(_SEEK.text)
    return said
