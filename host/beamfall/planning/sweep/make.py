"""A sweep of a rig on a board: the planner's range if none is given, and every table checked first."""

from __future__ import annotations

from pathlib import Path

from beamfall.board import Board
from beamfall.errors import UserError
from beamfall.planning.learned import find_file, load_learned
from beamfall.planning.make import make_plan
from beamfall.planning.result import Plan
from beamfall.planning.sweep.schedule import Sweep, check_swept, read_row_value, say_swept
from beamfall.setup.rig import Rig
from beamfall.setup.sequence import Sequence

_DEFAULT_STEP_S = {"flash": 0.001, "spacing": 0.004, "opening": 0.0005}  # our choice
_ROW_STEP_S = 0.001
_OPENING_RANGE = (0.8, 1.2)  # of the rig's opening (our choice)


def make_sweep(
    rig: Rig,
    board: Board,
    of: str,
    *,
    rig_file: Path | None = None,
    base: Sequence | None = None,
    first_s: float | None = None,
    last_s: float | None = None,
    step_s: float | None = None,
    repeat: int = 1,
    order: str = "line",
    seed: int = 0,
) -> Sweep:
    """Return the sweep of `of` around the plan of a rig, or around the sequence `base`; times in s.

    `of` is flash, spacing, opening, or a value of a row such as `row3.delay`.

    What was learned beside `rig_file` (None: of the example rig) with this board counts. Range and
    step that are None are the planner's 90 % interval and a usual step; a `base` and a row's value
    need a range. Raises UserError for what cannot be swept, SequenceError if one of the values
    makes a table the board would not take:
    before the first drop falls.
    """
    check_swept(of)
    if base is None:
        plan = make_plan(rig, learned=load_learned(find_file(rig_file), board.info.unique_id.hex()))
        base = plan.sequence
        low, high = (None, None) if read_row_value(of) else _find_range(rig, plan, of)
        first_s, last_s = (
            first_s if first_s is not None else low,
            last_s if last_s is not None else high,
        )
    if first_s is None or last_s is None:
        raise UserError(f"a sweep of {say_swept(of)} needs a first and a last value: give both")
    made = Sweep(
        of=of,
        first_s=first_s,
        last_s=last_s,
        step_s=_DEFAULT_STEP_S.get(of, _ROW_STEP_S) if step_s is None else step_s,
        base=base,
        repeat=repeat,
        order=order,
        seed=seed,
    )
    for value in made.values_s:
        made.build(value).make_table(board.info)
    return made


def _find_range(rig: Rig, plan: Plan, of: str) -> tuple[float, float]:
    """The first and the last value that the planner would try."""
    if of == "opening":
        low, high = (share * rig.valves[0].opening_s for share in _OPENING_RANGE)
        return low, high
    name = "spacing" if of == "spacing" else "flash_delay_at_planned_spacing"
    interval = plan.intervals.get(name) or plan.intervals["flash_delay"]
    if of == "spacing" and plan.spacing_s is None:
        raise UserError(f"a {plan.kind} takes one drop, so there is no spacing to sweep")
    return round(interval.p5, 4), round(interval.p95, 4)
