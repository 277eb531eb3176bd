"""What the light of a plan would show: the same contact that the plan aims at, of the last drop."""

from __future__ import annotations

import pytest

from beamfall.planning.make import make_plan
from beamfall.planning.seek.moment import Moment, Outlooks
from beamfall.setup.rig import example_rig


def look(drops: int, later_s: float = 0.0) -> Moment:
    rig = example_rig().with_aim(drops=drops)
    plan = make_plan(rig)
    times = [drop.at_s for drop in plan.drops]
    return Outlooks(rig).look(times, plan.flash_delay_s + later_s, plan.anchor)


@pytest.mark.parametrize("drops", [2, 3])
def test_a_planned_light_comes_at_the_planned_stage_of_the_last_drop(drops: int) -> None:
    planned = make_plan(example_rig().with_aim(drops=drops)).stage_s
    moment = look(drops)
    assert moment.drops == drops
    assert moment.stage_s is not None
    assert moment.stage_s.p50 == pytest.approx(planned, abs=1e-3)
    assert moment.contact_m is not None and moment.contact_m.p50 > 0.0


@pytest.mark.parametrize("drops", [2, 3])
def test_a_later_flash_is_a_later_stage(drops: int) -> None:
    first, later = look(drops), look(drops, 3e-3)
    assert first.stage_s is not None and later.stage_s is not None
    assert later.stage_s.p50 - first.stage_s.p50 == pytest.approx(3e-3, abs=1e-5)
    assert later.chances["after"] > first.chances["after"]
