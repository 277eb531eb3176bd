"""Reads the firmware's board profiles, and what the boards' headers look like.

The profiles under firmware/boards say which pin carries which signal; nothing here repeats that. This adds only what a
person with wires also needs: where a pin is on the header, which pin is the 5 V rail, and which analogue pins are free.
"""

from __future__ import annotations

import runpy
import sys
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import Any

from circuit.errors import ProfileError

ROOT = Path(__file__).resolve().parent.parent.parent
PROFILES = ROOT / "firmware" / "boards"
MESSAGES = ROOT / "protocol" / "messages.toml"
LIMIT_NAMES = (
    "VALVE_MAX_US",
    "VALVE_GAP_US",
    "DUTY_PERCENT",
    "DUTY_WINDOW_MS",
    "RINSE_MAX_MS",
    "FLASH_MAX_US",
    "FLASH_GAP_US",
    "CAMERA_MAX_MS",
)


@dataclass(frozen=True)
class Header:
    """A board as the person wiring it sees it.

    positions: profile pin to header position. power: rail of the circuit (V5, 3V3, GND) to the board's print and
    position. sense: lines of the circuit beyond the wire's signals to free analogue pins. led_on_board: no wire for
    the status LED.
    """

    positions: Mapping[Any, str] = field(default_factory=dict)
    power: Mapping[str, str] = field(default_factory=dict)
    sense: Mapping[str, Any] = field(default_factory=dict)
    print_name: str = "{}"
    led_on_board: bool = False
    notes: tuple[str, ...] = ()


_PICO_POSITIONS = {
    **{
        gpio: str(n)
        for gpio, n in zip(
            range(0, 16), (1, 2, 4, 5, 6, 7, 9, 10, 11, 12, 14, 15, 16, 17, 19, 20), strict=True
        )
    },
    **{gpio: str(n) for gpio, n in zip(range(16, 23), (21, 22, 24, 25, 26, 27, 29), strict=True)},
    26: "31",
    27: "32",
    28: "34",
}
_PICO_POWER = {"V5": "VSYS (39)", "3V3": "3V3 OUT (36)", "GND": "GND (3, 8, 13, 18, 23, 28, 38)"}
_PICO_NOTES = (
    "Positions are counted as in the board's own pin drawing. Seen from above with the USB socket at the top, "
    "1 is at the top left, 20 at the bottom left, 21 at the bottom right, and 40 at the top right.",
    "The board goes straight into M1's socket strips, USB socket towards the board's edge.",
    "Pins that the table does not name stay free.",
    "USB feeds VSYS through the board's own diode, so the converter cannot feed back into the "
    "computer: USB and the plug-in supply may be connected at once. Do not use VBUS (40).",
)
_OTHER_NOTES = (
    "Boards with this chip are sold with different headers: go by the printed pin name, and look at "
    "your board's own drawing. It does not fit M1's socket strips: fix it beside the controller's board and connect "
    "each of its pins to the socket position of that line by a wire of 10 cm or less.",
    "Pins that the table does not name stay free.",
    "Look at the board's drawing for a diode between its USB socket and its 5 V pin. Where there is "
    "none, never connect USB and "
    "the 12 V or 24 V supply at once unless a USB isolator or a cable without its 5 V wire is in between.",
)

_PICO: dict[str, Any] = {
    "positions": _PICO_POSITIONS,
    "power": _PICO_POWER,
    "sense": {"coil_current": 26, "supply_voltage": 27},
    "print_name": "GP{}",
}
_SUPPLY_FIRST = (
    "Where USB does not feed the board's 5 V pin, the buffer has no supply with USB alone: always "
    "switch the 12 V or 24 V supply on "
    "before you plug USB in.",
)
_PICO2_LEAK = (
    "On early versions of this chip, idle pins leak about 0.12 mA; the circuit's 4.7 kΩ pull-downs "
    "still hold the outputs off."
)
HEADERS: Mapping[str, Header] = MappingProxyType(
    {
        "pico": Header(**_PICO, led_on_board=True, notes=_PICO_NOTES),
        "pico_generic": Header(**_PICO, led_on_board=True, notes=_PICO_NOTES),
        # Inputs 34 and 35 of the ESP32 are analogue and inputs only; many boards have an LED of their own on GPIO2.
        "esp32_generic": Header(
            power={"V5": "5V (VIN on some boards)", "3V3": "3V3", "GND": "GND"},
            sense={"coil_current": 34, "supply_voltage": 35},
            print_name="GPIO{}",
            notes=_OTHER_NOTES,
        ),
        "stm32_generic": Header(
            power={"V5": "V+ (5V on other boards)", "3V3": "3V3", "GND": "GND"},
            sense={"coil_current": "X11", "supply_voltage": "X12"},
            led_on_board=True,
            notes=(*_OTHER_NOTES, *_SUPPLY_FIRST),
        ),
        "pico_w": Header(**_PICO, notes=_PICO_NOTES),
        "pico2": Header(**_PICO, led_on_board=True, notes=(*_PICO_NOTES, _PICO2_LEAK)),
        "pico2_w": Header(**_PICO, notes=(*_PICO_NOTES, _PICO2_LEAK)),
    }
)


def header_of(board: str) -> Header:
    """The header of a board, or one that names pins only, for a board not described here."""
    return HEADERS.get(board) or Header(
        power={"V5": "5V or VIN", "3V3": "3V3", "GND": "GND"}, notes=_OTHER_NOTES
    )


@dataclass(frozen=True)
class Profile:
    """A firmware board profile: its file's name and its constants."""

    board: str
    values: Mapping[str, Any]

    def __getitem__(self, name: str) -> Any:
        try:
            return self.values[name]
        except KeyError:
            raise ProfileError(
                f"firmware/boards/{self.board}.py has no {name}; add it, every profile must have it"
            ) from None

    def limits(self) -> dict[str, int]:
        """The limits that depend on the circuit."""
        return {name: int(self[name]) for name in LIMIT_NAMES}


def read_profile(path: Path) -> Profile:
    """One profile; ProfileError when it does not run or lacks OUTPUTS or INPUTS."""
    # A profile may build on another one: `from boards.pico import …`, as it does on a board.
    sys.path.insert(0, str(path.parent.parent))
    try:
        values = runpy.run_path(str(path))
    except Exception as error:
        raise ProfileError(f"{path.name} cannot be read: {error}; correct the profile") from error
    finally:
        sys.path.remove(str(path.parent.parent))
        for name in [name for name in sys.modules if name.split(".")[0] == "boards"]:
            del sys.modules[name]
    profile = Profile(path.stem, {name: value for name, value in values.items() if name.isupper()})
    for name in ("NAME", "PORT", "OUTPUTS", "INPUTS"):
        profile[name]
    return profile


def read_profiles(folder: Path = PROFILES) -> list[Profile]:
    """All profiles of real boards, by name. Profiles of the simulated port name no pins and are left out."""
    paths = sorted(path for path in folder.glob("*.py") if path.stem != "__init__")
    return [profile for profile in map(read_profile, paths) if profile["PORT"] != "simulated"]


def read_signals(path: Path = MESSAGES) -> dict[int, str]:
    """Signal value to name, from the wire's definition."""
    definition = tomllib.loads(path.read_text())
    values = definition["enums"]["signal"]["values"]
    return {entry["value"]: name for name, entry in values.items()}
