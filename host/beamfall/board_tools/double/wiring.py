"""The wires between a controller and its double, made from the two boards' profiles.

`python -m beamfall.board_tools.double pico` prints the table for a controller with that profile.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from beamfall.errors import BoardProfileError
from beamfall.resources import find_firmware
from beamfall.setup.board_profiles import Profile, find_profile, read_profile
from beamfall.setup.signals import Signal, SignalKind

DOUBLE_NAME = "Bench double"  # how the double's own name begins, in its welcome
# Two outputs that meet by mistake drive 7 mA through 470 Ω at 3.3 V. With a pull-down of 10 kΩ behind a diode of 0.6 V
# the double's input still gets 2.6 V.
SERIES_OHM = 470


@dataclass(frozen=True, slots=True)
class Wire:
    """One wire: from an output of one board to an input of the other, signals as in messages.toml.

    `source` and `target` are `controller` or `double`. Wires `joined` share their input, each through a diode.
    """

    source: str
    output: str
    input: str

    @property
    def target(self) -> str:
        """The board at the wire's other end."""
        return "double" if self.source == "controller" else "controller"

    @property
    def joined(self) -> bool:
        """Whether the wire shares its input with others."""
        return self.source == "controller"

    @property
    def name(self) -> str:
        """The wire's name for people."""
        return f"{self.source} {self.output} to {self.target} {self.input}"


WIRES = (
    *(Wire("controller", valve, "beam1") for valve in SignalKind.VALVE.names),
    *(Wire("controller", contact, "beam2") for contact in SignalKind.CAMERA.names),
    *(Wire("controller", flash, "light1") for flash in SignalKind.FLASH.names),
    Wire("double", "flash1", "beam1"),
    Wire("double", "flash2", "beam2"),
    Wire("double", "flash3", "light1"),
    Wire("double", "valve1", "button1"),
)


@dataclass(frozen=True, slots=True)
class PinnedWire:
    """A wire with the pins of the two profiles, and the level of its input without the wire."""

    wire: Wire
    output_pin: Any
    input_pin: Any
    level_alone: int  # 1 is dark or on


def find_double_profile() -> Profile:
    """Return the profile of the double that comes with the firmware."""
    return read_profile(find_firmware() / "bench_double" / "bench_double_pico.py")


def list_wires(controller: Profile, double: Profile) -> list[PinnedWire]:
    """Return the wires between boards of these profiles, without the lines that the controller lacks.

    Raises BoardProfileError if a level does not mean the same at both ends.
    """
    return list(_pin_wires(controller, double))


def _pin_wires(controller: Profile, double: Profile) -> Iterator[PinnedWire]:
    boards = {"controller": controller.constants, "double": double.constants}
    for wire in WIRES:
        output = boards[wire.source]["OUTPUTS"].get(Signal.of(wire.output))
        entry = boards[wire.target]["INPUTS"].get(Signal.of(wire.input))
        if output is None or entry is None:
            absent = wire.source if output is None else wire.target
            if absent == "double":
                raise BoardProfileError(
                    f"{double.path}: the double needs both {wire.output} and {wire.input}: {wire.name}"
                )
            continue
        output_pin, active_high = output
        input_pin, on_level, pull = entry
        if bool(active_high) != bool(on_level):
            raise BoardProfileError(
                f"{wire.name}: {wire.output} is on when {_word(active_high)}, {wire.input} is dark or on "
                f"when {_word(on_level)}; give the double's profile the controller's polarity"
            )
        if wire.joined and not active_high:
            raise BoardProfileError(
                f"{wire.name}: lines joined by diodes must be on when high; this one is on when low"
            )
        rest = 1 if pull == "up" else 0  # the double's inputs have external pull-downs
        yield PinnedWire(wire, output_pin, input_pin, int(rest == int(bool(on_level))))


def _word(high: object) -> str:
    return "high" if high else "low"


def make_table(controller: str) -> str:
    """Return the wiring table for a controller with the profile of that name, in Markdown.

    Raises BoardProfileError for a profile that is unknown or does not match the double's.
    """
    pinned = list_wires(find_profile(controller), find_double_profile())
    lines = [
        "| | controller | pin | double | pin | through |",
        "| --- | --- | --- | --- | --- | --- |",
    ]
    for number, one in enumerate(pinned, 1):
        wire = one.wire
        through = f"{SERIES_OHM} Ω"
        if wire.joined:
            mine, other = (wire.output, one.output_pin), (wire.input, one.input_pin)
            through = f"{through}, then a diode, its ring to the double"
        else:
            mine, other = (wire.input, one.input_pin), (wire.output, one.output_pin)
        lines.append(f"| {number} | {mine[0]} | {mine[1]} | {other[0]} | {other[1]} | {through} |")
    lines.append(f"| {len(pinned) + 1} | ground | GND | ground | GND | nothing |")
    return "\n".join(lines) + "\n"
