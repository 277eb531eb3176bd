"""Errors of the hardware tools. HardwareError is the root; each message says what, which value, and the cure.

HardwareError
├── NetlistError      the table of parts and nets is wrong in itself
├── ProfileError      a board profile of the firmware cannot be read or lacks a constant
├── KicadMissing      kicad-cli is not installed
├── KicadError        the KiCad project breaks its electrical or design rules, or an export failed
├── SimulatorMissing  ngspice is not installed
└── SimulationError   a deck did not run, or did not give what was asked
"""

from __future__ import annotations


class HardwareError(Exception):
    """Root of the errors that the hardware tools raise on purpose."""


class NetlistError(HardwareError, ValueError):
    """A part, an item or a pin in the netlist is wrong; correct the KiCad schematic or the catalogue."""


class ProfileError(HardwareError, ValueError):
    """A board profile under firmware/boards is missing a constant or has an impossible one."""


class KicadMissing(HardwareError, FileNotFoundError):
    """kicad-cli is not on the path: install KiCad 9."""


class KicadError(HardwareError, RuntimeError):
    """kicad-cli found a broken rule or could not export; the message ends with its report."""


class SimulatorMissing(HardwareError, FileNotFoundError):
    """ngspice is not on the path: install the Debian package `ngspice`."""


class SimulationError(HardwareError, RuntimeError):
    """ngspice failed on a deck, or a measurement in it found nothing; the message ends with its output."""
