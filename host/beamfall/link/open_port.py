"""From a port's name to a transport.

sim                      firmware and rig in this process, virtual time
sim:micropython          the firmware under the MicroPython interpreter, the same virtual time
sim?seed=7&fault=NAME    options of a simulated port; several faults: fault=NAME,NAME or fault=NAME&fault=NAME
anything else            a serial port or a pyserial URL
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING
from urllib.parse import parse_qsl

from beamfall.errors import PortSyntaxError
from beamfall.link.trace import trace_if_asked
from beamfall.link.transport import Transport

if TYPE_CHECKING:
    from beamfall.setup.rig import Rig

_SIMULATED = ("sim", "sim:micropython")


@dataclass(frozen=True)
class SimulatedPortName:
    """A simulated port's name, taken apart. `fault`: names with commas between."""

    kind: str  # sim or sim:micropython
    seed: int | None = None
    fault: str | None = None


def parse_port(name: str) -> SimulatedPortName | None:
    """Return the parts of a simulated port's name, or None for any other port.

    Raises PortSyntaxError for a simulated port with options that it does not have.
    """
    kind, _, query = name.partition("?")
    if kind not in _SIMULATED:
        if kind.startswith("sim:"):
            raise PortSyntaxError(
                f"port {name!r}: there is no such simulation; there are sim and sim:micropython"
            )
        return None
    seed: int | None = None
    faults: list[str] = []
    for key, value in parse_qsl(query, keep_blank_values=True):
        if key == "seed":
            # Seeds are kept in the shot log, whose whole numbers end there.
            if not value.isascii() or not value.isdigit() or len(value) > 19 or int(value) >= 2**63:
                raise PortSyntaxError(
                    f"port {name!r}: seed={value!r} is not a whole number from 0 to 2^63 - 1"
                )
            if seed is not None:
                raise PortSyntaxError(f"port {name!r}: two seeds; a rig has one")
            seed = int(value)
        elif key == "fault":
            faults.append(value)
        else:
            raise PortSyntaxError(
                f"port {name!r}: option {key!r} is unknown; there are seed and fault"
            )
    if query and seed is None and not faults:
        raise PortSyntaxError(
            f"port {name!r}: cannot read {query!r}; write for instance sim?seed=7"
        )
    return SimulatedPortName(kind, seed, ",".join(faults) if faults else None)


def open_transport(
    name: str | None, rig: Rig | None = None, seed: int = 0
) -> tuple[Transport, Callable[[], Transport] | None]:
    """Open a port; return its transport and how to open it again after it was lost (None: it cannot be).

    Without a name, the one board that is connected. A seed in a simulated port's name goes before `seed`.
    """
    transport, reopen = _open(name, rig, seed)
    if reopen is None:
        return trace_if_asked(transport), None
    return trace_if_asked(transport), lambda: trace_if_asked(reopen())


def _open(
    name: str | None, rig: Rig | None, seed: int
) -> tuple[Transport, Callable[[], Transport] | None]:
    port = parse_port(name) if name is not None else None
    if port is None:
        from beamfall.link.probing import find_board
        from beamfall.link.serial_port import SerialReconnector

        url = name if name is not None else find_board()
        reconnector = SerialReconnector(url)
        return reconnector.open(), reconnector.open
    return _open_simulated(port, rig, seed)


def _open_simulated(
    port: SimulatedPortName, rig: Rig | None, seed: int
) -> tuple[Transport, Callable[[], Transport] | None]:
    from beamfall.sim.build import build_rig
    from beamfall.sim.faulty_link import find_firmware_of, spoil_link

    chosen = port.seed if port.seed is not None else seed
    at_pins = build_rig(rig, chosen, port.fault)
    label = f"{port.kind}?seed={chosen}" + (f"&fault={port.fault}" if port.fault else "")
    firmware = find_firmware_of(at_pins, port.kind)
    if port.kind == "sim:micropython":
        from beamfall.sim.interpreter import MicroPythonTransport

        return spoil_link(MicroPythonTransport(at_pins, seed=chosen, name=label), at_pins)
    from beamfall.sim.embedded import SimulatedTransport

    inner = SimulatedTransport(at_pins, seed=chosen, name=label, firmware=firmware)
    return spoil_link(inner, at_pins)
