"""The kinds of ports; opens a port by its name.

A port's name starts with its kind: `sim?seed=7`, `socket://host:4000`. `KINDS` says which module opens which kind.
A new kind takes one line here and one module. A module is imported only when one of its ports is opened, so a
real board never loads the simulation.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from importlib import import_module
from typing import TYPE_CHECKING, Any, Protocol, cast

from beamfall.link.probing import find_board
from beamfall.link.trace import trace_if_asked
from beamfall.link.traits import Picture, Prediction
from beamfall.link.transport import Transport

if TYPE_CHECKING:
    from beamfall.setup.rig import Rig
    from beamfall.setup.sequence import Sequence

KINDS = {"sim": "beamfall.sim.ports"}
PAINTER = "beamfall.sim.predicted"  # draws what any rig would most likely show
OTHER = "beamfall.link.serial_port"  # every other name: a serial port, or a pyserial URL

Opened = tuple[Transport, Callable[[], Transport] | None]


class PortModule(Protocol):
    """A module that opens ports."""

    brings_rig: bool  # the port includes what is connected to the board's pins

    def open_port(self, name: str, rig: Rig | None, seed: int) -> Opened:
        """Open a port; return its transport and a function that reopens it after a loss (None if it cannot).

        `rig` is the caller's rig file (None for the example rig); `seed` sets the random numbers. A real
        port needs neither.
        """

    # These only if its ports bring a rig.
    def open_jumpered(self, name: str, source: int, target: int) -> Transport:
        """Open a port with only a wire at its pins, from output `source` to input `target`."""

    def recall_picture(self, truth: Mapping[str, Any]) -> Picture | None:
        """Return what the port's own camera saw of a shot, from the truth in its record; None if it says too little."""


def open_transport(name: str | None, rig: Rig | None = None, seed: int = 0) -> Opened:
    """Open a port, see `PortModule.open_port`. Without a name, open the one board that is connected.

    A seed in the port's name overrides `seed`. Raises PortSyntaxError for a name that no port can have, and
    the errors of that kind of port.
    """
    chosen = find_board() if name is None else name
    transport, reopen = _find_module(chosen).open_port(chosen, rig, seed)
    if reopen is None:
        return trace_if_asked(transport), None
    return trace_if_asked(transport), lambda: trace_if_asked(reopen())


def brings_rig(name: str | None) -> bool:
    """Whether the port includes what is connected to the board's pins, so that nobody has to wire it."""
    return name is not None and _find_module(name).brings_rig


def open_jumpered(name: str, source: int, target: int) -> Transport:
    """Open a port of that kind with a wire from output `source` to input `target`."""
    return trace_if_asked(_find_module(name).open_jumpered(name, source, target))


def recall_picture(name: str, truth: Mapping[str, Any] | None) -> Picture | None:
    """Return what that port's camera saw of a logged shot, from the truth in its record; None: it has no camera."""
    if not isinstance(truth, Mapping) or not brings_rig(name):
        return None
    return _find_module(name).recall_picture(truth)


def predict_picture(
    rig: Rig, sequence: Sequence, known: Mapping[str, float], pixels: int
) -> Prediction:
    """Return what the rig of a file, a real one too, would most likely show of a sequence.

    `known`: what is known about the rig beyond its file, as the middle of a belief: standard deviations by the names of
    `planning.unknowns`. `pixels`: of the picture's longer side. Raises PhysicsRangeError for a rig beyond the physics.
    """
    module: Any = import_module(PAINTER)
    predicted: Prediction = module.predict_picture(rig, sequence, known, pixels)
    return predicted


def _find_module(name: str) -> PortModule:
    scheme = name.partition("?")[0].partition(":")[0]
    return cast(PortModule, import_module(KINDS.get(scheme, OTHER)))
