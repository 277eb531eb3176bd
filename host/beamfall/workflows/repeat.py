"""Fires a logged shot again: its own sequence, and how today's edges differ from that day's."""

from __future__ import annotations

from dataclasses import dataclass

from beamfall.board import Board
from beamfall.shots import LoggedShot, ShotLog
from beamfall.shots.repeat import EdgeChange, compare_shots, find_peers, rebuild_sequence
from beamfall.workflows.steps import Begin, Fired, Progress, Workflow, begin, fire

_REST_S = 5.0  # of a shot whose rig is not known: as of a rig file that does not say


@dataclass(frozen=True)
class RepeatProgress(Progress):
    """The progress of the shots that repeat this one."""

    of_shot: int


@dataclass(frozen=True)
class Difference:
    """Something about the board that differs from that day."""

    what: str
    then: str
    now: str


@dataclass(frozen=True)
class Repeated:
    """A shot repeated."""

    logged: LoggedShot
    shots: tuple[Fired, ...]
    changes: tuple[EdgeChange, ...]
    differences: tuple[Difference, ...]

    @property
    def is_same(self) -> bool:
        """Whether all of them ended as the first one did."""
        return all(one.record.state == self.logged.record.state for one in self.shots)


def repeat(board: Board, log: ShotLog, shot: int, count: int = 1) -> Workflow[Repeated]:
    """Fire the sequence of a logged shot `count` times and compare the edges.

    Raises NoSuchShot, UserError if the log does not have its sequence.
    """
    logged = log.read_shot(shot)
    rig = logged.make_rig()
    sequence = rebuild_sequence(logged.table, f"shot {shot} again")
    board.traits.renew_chance(log.count_shots())
    differences = tuple(_compare_boards(board, logged))
    yield from begin(
        Begin(
            "repeat", rig, {"of_shot": shot, "count": count},
            rest_s=_REST_S if rig is None else None, flashes=sequence, repeated=count > 1,
        )
    )  # fmt: skip
    shots: list[Fired] = []
    for number in range(count):
        yield RepeatProgress(number, count, shot)
        shots.append((yield from fire(sequence)))
    yield RepeatProgress(count, count, shot)
    changes = compare_shots(logged.record, [one.record for one in shots], find_peers(log, shot))
    return Repeated(logged, tuple(shots), tuple(changes), differences)


def _compare_boards(board: Board, logged: LoggedShot) -> list[Difference]:
    info, then = board.info, logged.board
    pairs = (
        ("board", str(then["unique_id"]), info.unique_id.hex()),
        ("firmware", str(then["firmware"]), info.firmware),
        ("timing class", str(then["timing"]), info.timing.label),
        ("clock", f"{logged.record.clock_hz} Hz", f"{info.clock_hz} Hz"),
    )
    return [Difference(name, old, new) for name, old, new in pairs if old != new]
