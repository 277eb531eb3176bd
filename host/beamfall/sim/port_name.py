"""Reads the name of a simulated port.

sim                      firmware and rig in this process, virtual time
sim:micropython          the firmware under the MicroPython interpreter, the same virtual time
sim?seed=7&fault=NAME    options of either; several faults: fault=NAME,NAME or fault=NAME&fault=NAME
sim?edge=5               for `board measure`: a chip whose pins take 5 ticks
"""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import parse_qsl

from beamfall.errors import PortSyntaxError

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
