"""Board, link and events as plain values with the words that people see."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from beamfall.setup.signals import Signal

if TYPE_CHECKING:
    from beamfall.board import Board
    from beamfall.events import EdgesSeen
    from beamfall.wire import WireEnum
    from beamfall.workflows.series import UnclaimedShot
    from beamfall.workflows.service import Dripped, Flashed
    from beamfall.workflows.steps import ContainerBelow, Progress, WarmingUp
    from beamfall.workflows.waits import Left

CONTAINER_CHOICES = (("yes", "Yes: open the valve"), ("no", "No"))
HOT_COIL = "The coil warms while the valve is held open; it can burn fingers."


def describe_board(board: Board) -> dict[str, Any]:
    """What the board says of itself."""
    info = board.info
    return {
        "name": info.name,
        "port": board.name,
        "firmware": info.firmware,
        "unique_id": info.unique_id.hex(),
        "boot_id": info.boot_id,
        "timing": info.timing.label,
        "clock_hz": info.clock_hz,
        "simulated": board.traits.studio is not None,
        "has_light": info.has(Signal.light1),
        "rinse_max_ms": info.rinse_max_ms,
        "valve_max_ms": info.valve_max_us / 1e3,
    }


def describe_link(board: Board, round_trip_ms: float | None) -> dict[str, Any]:
    """How good the line is. Frames are not counted on: the page would be told of each."""
    counters = board.counters
    bad = counters.frames_bad_total
    health = "good" if not bad and not counters.retransmissions else "mended"
    return {
        "state": "up",
        "health": health,
        "round_trip_ms": None if round_trip_ms is None else _coarse(round_trip_ms),
        "frames_bad": bad,
        "retransmissions": counters.retransmissions,
        "reconnections": counters.reconnections,
        "restarts": counters.restarts,
    }


def _coarse(milliseconds: float) -> float:
    """To 1, 2 or 5: a figure that flickers tells nobody anything."""
    for step in (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000):
        if milliseconds <= step:
            return step
    return 2000


def describe_cause(cause: WireEnum) -> dict[str, str] | None:
    """A cause with its meaning and cure; None for none."""
    if cause == 0:
        return None
    return {"word": cause.label, "meaning": cause.meaning, "cure": cause.cure}


def describe_unclaimed(shot: UnclaimedShot) -> str:
    """A shot that the page has not released, in a sentence."""
    if shot.shot is None:
        return f"The board reports a shot ({shot.state}) of another program; it is not in this log."
    text = f"The board fired by its own button: {shot.state}. It is shot {shot.shot} in the log"
    return text + (
        "." if shot.planned else ", with measured edges only: its sequence is not known."
    )


def describe_edges(event: EdgesSeen, clock_hz: int) -> list[dict[str, Any]]:
    """Edges in ms from the release (of a watch: from its begin)."""
    return [
        {"what": edge.signal.name, "word": edge.word, "ms": edge.ticks / clock_hz * 1e3}
        for edge in event.edges
    ]


# -- workflows -------------------------------------------------------------------------------------------------
def say_left(left: Left) -> str:
    """When the next shot can go, for somebody who asked too early."""
    if left.recycle_s >= left.rest_s:
        return f"Ready again in {left.recycle_s:.1f} s: the flash recycles."
    return f"Ready again in {left.rest_s:.1f} s: the surface is settling. Shift+R releases anyway."


def say_warming_up(event: WarmingUp) -> str:
    """What falls before a series."""
    return f"{event.drops} drops to warm up, without flash"


def say_progress(event: Progress) -> str:
    """How far a series is."""
    return f"shot {event.done + 1} of {event.of}" if event.done < event.of else ""


def say_container_below(question: ContainerBelow) -> str:
    """What is asked before a rinse."""
    return f"Valve {question.valve} will stay open for {question.duration_s:g} s. Is a container under it?"


def say_dripped(dripped: Dripped) -> str:
    """What one drop did."""
    if dripped.crossed_s is None:
        return "Nothing crossed the beam: find out why under Check."
    return f"The beam saw it, {dripped.crossed_s * 1e3:.1f} ms after the opening."


def say_flashed(flashed: Flashed) -> str:
    """What one flash did."""
    if flashed.lit is None:
        return "The contact closed."
    if flashed.lit:
        return "The light was seen."
    return "The contact closed, but the flash-seen sensor saw no light. Did you see the flash?"
