"""Single actions: one drop, one flash, a valve held open."""

from __future__ import annotations

from dataclasses import dataclass

from beamfall.events import Outcome
from beamfall.link import Welcome
from beamfall.setup.rig import Rig
from beamfall.setup.rig_sections import Flash
from beamfall.setup.signals import Signal, SignalKind
from beamfall.workflows.steps import Drip, HoldOpen, TestFlash, Workflow, serve


@dataclass(frozen=True)
class Dripped:
    """What one drop did. `crossed_s`: when its first edge came in a beam, from the opening; None: none came."""

    outcome: Outcome
    crossed_s: float | None


@dataclass(frozen=True)
class Flashed:
    """What one flash did. `lit`: whether the flash-seen sensor saw light; None: the board has no sensor."""

    outcome: Outcome
    lit: bool | None


def find_opening(rig: Rig, valve: int) -> float:
    """How long a valve (1 to 3) opens for one drop, in s; a valve that the rig does not have opens as its first."""
    own = [one for one in rig.valves if Signal.of(one.output).number == valve]
    return (own or list(rig.valves))[0].opening_s


def drip(
    rig: Rig, board: Welcome, valve: int = 1, opening_s: float | None = None
) -> Workflow[Dripped]:
    """Let one drop fall, with the rig file's opening unless another one is given."""
    if opening_s is None:
        opening_s = find_opening(rig, valve)
    outcome = yield from serve(Drip(valve, opening_s))
    assert outcome is not None
    ticks = [edge.ticks for edge in outcome.edges if edge.signal.kind is SignalKind.BEAM]
    return Dripped(outcome, ticks[0] / board.clock_hz if ticks else None)


def flash_once(
    rig: Rig, board: Welcome, flash: int = 1, contact_s: float | None = None
) -> Workflow[Flashed]:
    """Fire a flash (1 to 3) once, with the rig file's contact unless another one is given.

    A flash that the rig does not have gets the contact that a rig file gets by default.
    """
    if contact_s is None:
        own = [one for one in rig.flashes if Signal.of(one.output).number == flash]
        contact_s = (own or [Flash()])[0].contact_s
    outcome = yield from serve(TestFlash(flash, contact_s, rig))
    assert outcome is not None
    lit = any(edge.signal.kind is SignalKind.LIGHT and edge.level for edge in outcome.edges)
    return Flashed(outcome, lit if board.has(Signal.light1) else None)


def rinse(valve: int = 1, duration_s: float = 2.0) -> Workflow[Outcome | None]:
    """Hold a valve open once somebody has confirmed that a container is below it; None: nobody did."""
    return (yield from serve(HoldOpen(valve, duration_s)))
