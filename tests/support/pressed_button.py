"""Somebody who presses the board's button, and a board whose rig nobody knows."""

from __future__ import annotations

from beamfall.board import Board
from beamfall.link import PortTraits
from beamfall.link.traits import REAL
from beamfall.setup.signals import Signal
from beamfall.sim.embedded import SimulatedTransport
from beamfall.sim.rig import SimulatedRig

_BUTTON1 = int(Signal["button1"])


class RigWithButton(SimulatedRig):
    """A simulated rig beside which somebody presses the board's button."""

    def press(self, at: Board | SimulatedTransport, for_s: float = 0.1) -> None:
        """Hold the button down, and wait until the shot is over; no host listens where `at` is only the transport."""
        self._covers.setdefault(_BUTTON1, 0)
        channel = (at.transport if isinstance(at, Board) else at)._channel
        now_s = channel.now / channel.clock_hz  # the rig's time: since the board's newest start
        self._schedule(now_s + 0.01, now_s + 0.01 + for_s, _BUTTON1, self._ticks(now_s))
        at.sleep(6.0)


class RealBoard(Board):
    """As behind a real port, nothing is known of the rig, and a boot id belongs to one life only."""

    @property
    def traits(self) -> PortTraits:
        return REAL
