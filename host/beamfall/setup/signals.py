"""The lines of a board as types: each signal has its kind, its number in that kind and its name.

`python -m beamfall.wire.regenerate` makes the members from protocol/messages.toml: do not edit those.

Signal.of("flash1").kind is SignalKind.FLASH
SignalKind.BEAM.nth(2) is Signal.beam2
"""

from __future__ import annotations

from enum import IntEnum, StrEnum
from typing import Self


class SignalKind(StrEnum):
    """What a signal is for; the board drives the kinds with `is_output` and reads the others."""

    is_output: bool

    def __new__(cls, name: str, is_output: bool) -> Self:
        """Make a kind; the members below are all there are."""
        kind = str.__new__(cls, name)
        kind._value_ = name
        kind.is_output = is_output
        return kind

    # generated: kinds
    CAMERA = ("camera", True)
    VALVE = ("valve", True)
    BEAM = ("beam", False)
    FLASH = ("flash", True)
    LIGHT = ("light", False)
    BUTTON = ("button", False)
    # end of generated: kinds

    @property
    def signals(self) -> tuple[Signal, ...]:
        """The signals of this kind, number 1 first."""
        return _BY_KIND[self]

    @property
    def names(self) -> tuple[str, ...]:
        """The names of the signals of this kind, number 1 first."""
        return tuple(signal.name for signal in self.signals)

    def nth(self, number: int) -> Signal:
        """Return signal `number` of this kind, counted from 1; raises LookupError if there is none."""
        if not 1 <= number <= len(self.signals):
            raise LookupError(f"there is no {self} {number}; there are {len(self.signals)}")
        return self.signals[number - 1]


class Signal(IntEnum):
    """A line of the board; its value is the number on the wire, `label` is its name in words."""

    kind: SignalKind
    number: int
    label: str
    formerly: str

    def __new__(
        cls, value: int, kind: SignalKind, number: int, label: str, formerly: str = ""
    ) -> Self:
        """Make a signal; the members below are all there are."""
        signal = int.__new__(cls, value)
        signal._value_ = value
        signal.kind = kind
        signal.number = number
        signal.label = label
        signal.formerly = formerly
        return signal

    # generated: signals
    valve1 = (1, SignalKind.VALVE, 1, "valve 1")
    valve2 = (2, SignalKind.VALVE, 2, "valve 2")
    valve3 = (3, SignalKind.VALVE, 3, "valve 3")
    flash1 = (4, SignalKind.FLASH, 1, "flash 1")
    flash2 = (5, SignalKind.FLASH, 2, "flash 2")
    flash3 = (6, SignalKind.FLASH, 3, "flash 3")
    focus = (7, SignalKind.CAMERA, 1, "camera focus", "camera1")
    shutter = (8, SignalKind.CAMERA, 2, "camera shutter", "camera2")
    beam1 = (9, SignalKind.BEAM, 1, "beam 1")
    beam2 = (10, SignalKind.BEAM, 2, "beam 2")
    light1 = (11, SignalKind.LIGHT, 1, "flash seen")
    button1 = (12, SignalKind.BUTTON, 1, "button")
    # end of generated: signals

    @property
    def is_output(self) -> bool:
        """Whether the board drives this signal."""
        return self.kind.is_output

    @classmethod
    def at(cls, value: int) -> Signal:
        """Return the signal that has this number on the wire; raises LookupError."""
        return _BY_VALUE[value]

    @classmethod
    def find(cls, name: str) -> Signal | None:
        """Return the signal that has this name, or had it in older files; None if there is none."""
        return _BY_NAME.get(name)

    @classmethod
    def of(cls, name: str) -> Signal:
        """Return the signal that has this name, or had it in older files; raises LookupError."""
        signal = _BY_NAME.get(name)
        if signal is None:
            raise LookupError(
                f"there is no signal '{name}'; there are {', '.join(cls.__members__)}"
            )
        return signal


_BY_KIND = {kind: tuple(one for one in Signal if one.kind is kind) for kind in SignalKind}
_BY_VALUE = {int(one): one for one in Signal}
_BY_NAME = {name: one for one in Signal for name in (one.name, one.formerly) if name}
OUTPUTS = tuple(one for one in Signal if one.is_output)
INPUTS = tuple(one for one in Signal if not one.is_output)
