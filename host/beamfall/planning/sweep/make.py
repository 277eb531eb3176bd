"""A sweep of a rig on a board: the planner's range where none is given, every table checked first."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from beamfall.errors import UserError
from beamfall.planning.learned import find_file, load_learned
from beamfall.planning.make import make_plan
from beamfall.planning.sweep.schedule import OF, Sweep

if TYPE_CHECKING:
    from beamfall.board import Board
    from beamfall.setup.rig import Rig

_DEFAULT_STEP_S = {"flash": 0.001, "spacing": 0.004, "opening": 0.0005}  # our choice
_OPENING_RANGE = (0.8, 1.2)  # of the rig's opening (our choice)


def make_sweep(
    rig: Rig,
    board: Board,
    of: str,
    *,
    rig_file: Path | None = None,
    first_s: float | None = None,
    last_s: float | None = None,
    step_s: float | None = None,
    repeat: int = 1,
    order: str = "line",
    seed: int = 0,
) -> Sweep:
    """Return the sweep of `of` (flash, spacing or opening) around the plan of a rig; times in s.

    What was learned beside `rig_file` (None: of the example rig) with this board counts. Range and
    step that are None are the planner's 90 % interval and a usual step. Raises UserError for what
    cannot be swept, SequenceError where one of the values makes a table the board would not take:
    before the first drop falls.
    """

    if of not in OF:
        raise UserError(f"cannot sweep {of}: choose one of {', '.join(OF)}")
    plan = make_plan(rig, learned=load_learned(find_file(rig_file), board.info.unique_id.hex()))
    if of == "opening":
        low, high = (share * rig.valves[0].opening_s for share in _OPENING_RANGE)
    else:
        name = "spacing" if of == "spacing" else "flash_delay_at_planned_spacing"
        interval = plan.intervals.get(name) or plan.intervals["flash_delay"]
        if of == "spacing" and plan.spacing_s is None:
            raise UserError(
                f"a sweep of the spacing: a {plan.kind} takes one drop, it has no spacing"
            )
        low, high = (round(value, 4) for value in (interval.p5, interval.p95))
    made = Sweep(
        of=of,
        first_s=low if first_s is None else first_s,
        last_s=high if last_s is None else last_s,
        step_s=_DEFAULT_STEP_S[of] if step_s is None else step_s,
        base=plan.sequence,
        repeat=repeat,
        order=order,
        seed=seed,
    )
    for value in made.values_s:
        made.build(value).make_table(board.info)
    return made
