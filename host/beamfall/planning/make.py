"""The entry to the planner: the rig's aim decides which plan is made."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from beamfall.setup.rig import Rig

if TYPE_CHECKING:
    from beamfall.planning.result import Plan


def make_plan(rig: Rig, **options: Any) -> Plan:
    """Plan what `aim.kind` of the rig asks for; options and errors as in `plan_collision`."""
    if rig.aim.kind == "collision":
        from beamfall.planning.collision import plan_collision

        return plan_collision(rig, **options)
    from beamfall.planning.single import plan_single

    return plan_single(rig, **options)
