"""Moving the flash of a plan gives what planning again would give, without planning again."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from tiers import in_full

from beamfall.page.desk import Desk
from beamfall.page.hub import Hub
from beamfall.planning.make import make_plan
from beamfall.planning.retime import with_flash_delay
from beamfall.setup.rig import Rig, example_rig


def two_flashes(rig: Rig) -> Rig:
    second = replace(rig.flashes[0], output="flash2", latency_s=200e-6)
    return replace(rig, flashes=(*rig.flashes, second))


def no_beam(rig: Rig) -> Rig:
    return replace(rig, beams=())


def crown(rig: Rig) -> Rig:
    return rig.with_aim(kind="crown", drops=1)


@pytest.mark.parametrize("change", [lambda rig: rig, two_flashes, no_beam, crown])
@pytest.mark.parametrize("by_ms", [0.5, *in_full(-3.0, 60.0)])
def test_as_planning_again(change: Any, by_ms: float) -> None:
    rig = change(example_rig())
    plan = make_plan(rig)
    delay_s = plan.flash_delay_s + by_ms * 1e-3
    anchor = {"anchor": plan.anchor.beam, "anchor_count": plan.anchor.count}
    again = make_plan(rig.with_aim(flash_delay_s=delay_s, **anchor))
    moved = with_flash_delay(plan, delay_s)
    assert moved is not None
    assert [row.output for row in moved.sequence.rows] == [
        row.output for row in again.sequence.rows
    ]
    for one, other in zip(moved.sequence.rows, again.sequence.rows, strict=True):
        assert (one.anchor, one.count) == (other.anchor, other.count)
        assert one.delay_s == pytest.approx(other.delay_s, abs=1e-12)
        assert one.width_s == pytest.approx(other.width_s, abs=1e-12)
    assert moved.warnings == again.warnings
    assert moved.intervals == again.intervals
    back = with_flash_delay(moved, plan.flash_delay_s)
    assert back is not None and back.warnings == plan.warnings


def test_a_flash_at_the_earliest_moment_has_to_be_planned() -> None:
    plan = make_plan(two_flashes(example_rig()))
    assert with_flash_delay(plan, 0.0) is None


def test_a_step_of_the_delay_shows_at_once_and_plans_nothing(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    hub = Hub()
    desk = Desk(hub, None)
    desk.start()
    desk.wait(60.0)
    monkeypatch.setattr("beamfall.page.desk.make_plan", None)
    before, number, moment = hub.get("plan"), desk.number, hub.get("moment")
    desk.step("delay", "0.5 ms")
    assert not desk.is_planning
    assert hub.get("plan")["delay_ms"] == pytest.approx(before["delay_ms"] + 0.5, abs=1e-3)
    assert hub.get("moment")["stage_ms"]["p50"] > moment["stage_ms"]["p50"]
    assert desk.number == number + 1, "what is armed is another shot now"
    desk.step("delay", "-0.5 ms")
    assert hub.get("plan")["delay_ms"] == pytest.approx(before["delay_ms"], abs=1e-3)
    desk.close()
