"""Faults of the simulated rig, by name: `sim?fault=NAME`.

A fault is a function from the sound model to the faulty rig; `FAULTS` is the one list of them.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import MappingProxyType

from beamfall.errors import UserError
from beamfall.simulation.model import RigModel
from beamfall.simulation.rig import SimulatedRig

Fault = Callable[[RigModel, int], SimulatedRig]

FAULTS: Mapping[str, Fault] = MappingProxyType({})


def find_fault(name: str) -> Fault:
    """Return the fault of that name; raises UserError listing those there are."""
    fault = FAULTS.get(name)
    if fault is None:
        known = f"there are {', '.join(sorted(FAULTS))}" if FAULTS else "there is none yet"
        raise UserError(f"fault '{name}' is unknown to the simulated rig; {known}")
    return fault
