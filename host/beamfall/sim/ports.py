"""Opens simulated ports for the port registry (`beamfall.ports`), by their names.

sim                      firmware and rig in this process, virtual time
sim:micropython          the firmware under the MicroPython interpreter, the same virtual time
sim?seed=7&fault=NAME    options of either; several faults: fault=NAME,NAME or fault=NAME&fault=NAME
sim?edge=5               for `board measure`: a chip whose pins take 5 ticks
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import parse_qsl

from beamfall.errors import PortSyntaxError
from beamfall.link.traits import Picture
from beamfall.link.transport import Transport
from beamfall.setup.rig import Rig
from beamfall.sim.build import build_rig
from beamfall.sim.embedded import JumperRig, RigAtPins, SimulatedTransport
from beamfall.sim.faulty_link import find_firmware_of, spoil_link
from beamfall.sim.firmware_modules import FirmwareModules
from beamfall.sim.interpreter import MicroPythonTransport
from beamfall.sim.picture import RecalledPicture
from beamfall.sim.traits import SimulatedTraits

EMBEDDED, INTERPRETER = "sim", "sim:micropython"


@dataclass(frozen=True)
class SimulatedPortName:
    """The parts of a name. `kind` is EMBEDDED or INTERPRETER; `fault`: names with commas between."""

    kind: str
    seed: int | None = None
    fault: str | None = None
    edge: int | None = None


def parse_port(name: str) -> SimulatedPortName:
    """Return the parts of a simulated port's name; raises PortSyntaxError for a wrong name."""
    kind, _, query = name.partition("?")
    if kind not in (EMBEDDED, INTERPRETER):
        raise PortSyntaxError(
            f"port {name!r}: there is no such simulation; use {EMBEDDED} or {INTERPRETER}"
        )
    seed: int | None = None
    faults: list[str] = []
    edge: int | None = None
    for key, value in parse_qsl(query, keep_blank_values=True):
        if key == "seed":
            # The shot log stores seeds, and its integers end there.
            if not value.isascii() or not value.isdigit() or len(value) > 19 or int(value) >= 2**63:
                raise PortSyntaxError(
                    f"port {name!r}: seed={value!r} is not a whole number from 0 to 2^63 - 1"
                )
            if seed is not None:
                raise PortSyntaxError(f"port {name!r}: two seeds; a rig has one")
            seed = int(value)
        elif key == "fault":
            faults.append(value)
        elif key == "edge":
            if value not in map(str, range(21)):
                raise PortSyntaxError(f"port {name!r}: edge={value!r} is not a number from 0 to 20")
            edge = int(value)
        else:
            raise PortSyntaxError(
                f"port {name!r}: option {key!r} is unknown; the options are seed, fault and edge"
            )
    if query and seed is None and not faults and edge is None:
        raise PortSyntaxError(
            f"port {name!r}: cannot read {query!r}; write, for example, sim?seed=7"
        )
    return SimulatedPortName(kind, seed, ",".join(faults) if faults else None, edge)


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
    """See `beamfall.ports.PortModule`. Logs of earlier versions keep no scene: None."""
    return RecalledPicture(truth) if isinstance(truth.get("scene"), Mapping) else None


def _open(
    kind: str, at_pins: RigAtPins, seed: int, label: str, firmware: FirmwareModules | None = None
) -> SimulatedTransport | MicroPythonTransport:
    if kind == INTERPRETER:
        return MicroPythonTransport(at_pins, seed=seed, name=label)
    return SimulatedTransport(at_pins, seed=seed, name=label, firmware=firmware)
