"""The wanted picture by its look: the width of an umbrella stands for a time after the contact."""

from __future__ import annotations

import re
import statistics
from dataclasses import replace

import pytest

from beamfall.errors import UserError
from beamfall.physics.umbrella import umbrella_radius
from beamfall.planning.make import make_plan
from beamfall.planning.stage import find_stage, read_width
from beamfall.planning.umbrella import find_meeting
from beamfall.setup.rig import example_rig
from beamfall.sim.build import draw_model
from beamfall.sim.collision import find_meeting_speed
from beamfall.sim.predicted import fire
from beamfall.sim.rig import SimulatedRig


@pytest.mark.parametrize(
    "text", ["umbrella 15 mm wide", "15 mm wide", "Umbrella 1.5 cm", "umbrella width 15 mm"]
)
def test_a_width_is_read_however_it_is_put(text: str) -> None:
    assert read_width(text) == pytest.approx(0.015)


@pytest.mark.parametrize("text", ["2 ms", "-1 ms"])
def test_a_time_is_no_width(text: str) -> None:
    assert read_width(text) is None
    assert find_stage(text, example_rig()) == pytest.approx(float(text.split()[0]) * 1e-3)


def test_the_umbrella_of_this_rig_is_so_wide_at_that_time() -> None:
    rig = example_rig()
    stage_s = find_stage("umbrella 15 mm wide", rig)
    meeting = find_meeting(rig)
    assert stage_s is not None and 0.0005 < stage_s < 0.01
    radius_m = umbrella_radius(stage_s, meeting.diameter_m, meeting.speed_m_s, meeting.liquid)
    assert 2.0 * radius_m == pytest.approx(0.015, abs=1e-6)


def test_drop_and_jet_meet_as_fast_as_on_simulated_rigs() -> None:
    # The simulated rig follows its own jet; both know only what the rig file says.
    rig, sequence = example_rig(), make_plan(example_rig()).sequence
    met = []
    for seed in range(80):
        model = draw_model(rig, seed)
        splash = fire(SimulatedRig(model, seed), sequence)
        if splash.contact is not None:
            column = splash.columns[0]
            met.append(find_meeting_speed(model, column.jet, column.recent[1], splash.contact))
    meeting = find_meeting(rig)
    error = meeting.speed_m_s * meeting.speed_error
    assert len(met) > 60
    assert statistics.median(met) == pytest.approx(meeting.speed_m_s, abs=0.4 * error)
    assert statistics.mean(abs(one - meeting.speed_m_s) <= 1.645 * error for one in met) >= 0.8


@pytest.mark.parametrize("text", ["umbrella 25 cm wide", "umbrella 2 m wide", "umbrella", "wide"])
def test_an_umbrella_that_no_rig_makes_is_refused(text: str) -> None:
    with pytest.raises(UserError):
        find_stage(text, example_rig())


def test_an_umbrella_without_a_width_is_answered_with_an_example_that_works() -> None:
    with pytest.raises(UserError) as refused:
        find_stage("Umbrella", example_rig(), key="--stage")
    (example,) = re.findall('"(umbrella [^"]+)"', str(refused.value))
    assert read_width(example) == pytest.approx(0.015)


def test_a_crown_has_no_umbrella() -> None:
    rig = example_rig()
    with pytest.raises(UserError):
        find_stage("umbrella 15 mm wide", replace(rig, aim=replace(rig.aim, kind="crown")))
