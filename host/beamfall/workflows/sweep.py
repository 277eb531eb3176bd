"""Steps one timing through its range, and resumes a sweep that was stopped."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from beamfall.board import Board
from beamfall.planning.sweep.make import make_sweep
from beamfall.planning.sweep.progress import Entry, list_entries, list_open, make_entry
from beamfall.planning.sweep.schedule import Step, Sweep
from beamfall.setup.rig import Rig
from beamfall.shots import SeriesLine, ShotLog
from beamfall.workflows.series import settle_earlier
from beamfall.workflows.steps import Begin, Event, Fired, Workflow, begin, fire, let_drops_fall

REST = "rest_s"  # in the settings of a series: the rest between its shots


@dataclass(frozen=True)
class SweepBegun(Event):
    """A sweep has begun or resumed; `entries` are its shots so far."""

    plan: Sweep
    series: int
    entries: tuple[Entry, ...]


@dataclass(frozen=True)
class StepAhead(Event):
    """A step of a sweep is about to be fired."""

    plan: Sweep
    step: Step


@dataclass(frozen=True)
class StepFired(Event):
    """A step of a sweep was fired; `entries` are the sweep's shots so far, in the order of firing."""

    plan: Sweep
    step: Step
    fired: Fired
    entries: tuple[Entry, ...]


@dataclass(frozen=True)
class SweepStopped(Event):
    """Somebody has stopped a sweep; it can be resumed."""

    series: int


@dataclass(frozen=True)
class Swept:
    """A sweep at its end: all its shots, and those that were fired now with their values in s."""

    plan: Sweep
    series: int
    entries: tuple[Entry, ...]
    shots: tuple[tuple[float, Fired], ...]

    @property
    def fired(self) -> int:
        """How many steps have fired."""
        return count_fired(self.entries)

    @property
    def is_whole(self) -> bool:
        """Whether every step has fired."""
        return self.fired == len(self.plan.steps)


def count_fired(entries: Iterable[Entry]) -> int:
    """How many steps have fired."""
    return len({entry.step for entry in entries if entry.state == "fired"})


def sweep(
    rig: Rig,
    board: Board,
    of: str,
    *,
    rig_file: Path | None = None,
    rest_s: float | None = None,
    seed: int = 0,
    **choices: Any,
) -> Workflow[Swept]:
    """Sweep a timing; `choices` as `planning.sweep.make.make_sweep` takes them. `rest_s`: None for the rig's."""
    plan = make_sweep(rig, board, of, rig_file=rig_file, seed=seed, **choices)
    rest = rig.aim.rest_s if rest_s is None else rest_s
    settings = {**plan.to_settings(), "rig": rig.to_dict(), REST: rest}
    if board.traits.names_rig:
        settings["port"] = board.name
    return (yield from _fire_open(plan, Begin("sweep", rig, settings, rest_s=rest), []))


def resume(
    rig: Rig, board: Board, log: ShotLog, found: SeriesLine, *, rest_s: float | None = None
) -> Workflow[Swept]:
    """Resume a sweep (`planning.sweep.progress.find_series`): its own settings apply, except for a given `rest_s`.

    Raises UserError if the settings are not of a sweep.
    """
    plan = Sweep.from_settings(found.settings)
    settle_earlier(board, log)  # shots whose reports the board still has count as fired
    rest = found.settings.get(REST) if rest_s is None else rest_s
    step = Begin("sweep", rig, found.settings, rest_s=rest, resumes=found)
    return (yield from _fire_open(plan, step, list_entries(log, found.series)))


def choose_rig(found: SeriesLine, otherwise: Callable[[], Rig]) -> Rig:
    """The rig of a sweep that is resumed: its own, where the log has it."""
    return Rig.from_dict(found.settings["rig"]) if "rig" in found.settings else otherwise()


def _fire_open(plan: Sweep, step: Begin, entries: list[Entry]) -> Workflow[Swept]:
    left = list_open(plan, entries)
    if left:
        flashes = plan.build(left[0].value_s)
        step = replace(step, flashes=flashes, repeated=True)
    series = yield from begin(step)
    if left and step.rig is not None:
        yield from let_drops_fall(step.rig, step.rig.aim.warm_up)
    yield SweepBegun(plan, series, tuple(entries))
    shots: list[tuple[float, Fired]] = []
    try:
        while left:
            for one in left:
                yield StepAhead(plan, one)
                swept = one.to_swept(plan.of)
                fired = yield from fire(plan.build(one.value_s), swept)
                shots.append((one.value_s, fired))
                entries.append(make_entry(entries, fired.record, swept))
                yield StepFired(plan, one, fired, tuple(entries))
            left = list_open(plan, entries)
    except KeyboardInterrupt:
        yield SweepStopped(series)
        raise
    return Swept(plan, series, tuple(entries), tuple(shots))
