"""Opens simulated ports for the port registry (`beamfall.ports`)."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from beamfall.link.traits import Picture
from beamfall.link.transport import Transport
from beamfall.setup.rig import Rig
from beamfall.sim.build import build_rig
from beamfall.sim.embedded import RigAtPins, SimulatedTransport
from beamfall.sim.faulty_link import find_firmware_of, spoil_link
from beamfall.sim.firmware_modules import FirmwareModules
from beamfall.sim.interpreter import MicroPythonTransport
from beamfall.sim.jumper import JumperRig
from beamfall.sim.picture import RecalledPicture
from beamfall.sim.port_name import INTERPRETER, parse_port
from beamfall.sim.traits import SimulatedTraits

brings_rig = SimulatedTraits.brings_rig


def open_port(
    name: str, rig: Rig | None, seed: int
) -> tuple[Transport, Callable[[], Transport] | None]:
    """See `beamfall.ports.PortModule`. Raises PortSyntaxError, UserError for a fault that is not known,
    InterpreterMissing."""
    port = parse_port(name)
    chosen = port.seed if port.seed is not None else seed
    at_pins = build_rig(rig, chosen, port.fault)
    label = f"{port.kind}?seed={chosen}" + (f"&fault={port.fault}" if port.fault else "")
    firmware = find_firmware_of(at_pins, port.kind)
    return spoil_link(_open(port.kind, at_pins, chosen, label, firmware), at_pins)


def open_jumpered(name: str, source: int, target: int) -> Transport:
    """See `beamfall.ports.PortModule`."""
    port = parse_port(name)
    rig = JumperRig(source, target)
    if port.edge is not None:
        rig.edge_constant = port.edge
    return _open(port.kind, rig, port.seed or 0, port.kind)


def recall_picture(truth: Mapping[str, Any]) -> Picture | None:
    """See `beamfall.ports.RigPortModule`. Logs of earlier versions keep no scene: None."""
    return RecalledPicture(truth) if isinstance(truth.get("scene"), Mapping) else None


def _open(
    kind: str, at_pins: RigAtPins, seed: int, label: str, firmware: FirmwareModules | None = None
) -> SimulatedTransport | MicroPythonTransport:
    if kind == INTERPRETER:
        return MicroPythonTransport(at_pins, seed=seed, name=label)
    return SimulatedTransport(at_pins, seed=seed, name=label, firmware=firmware)
