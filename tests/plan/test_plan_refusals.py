"""Plans that are refused or made with a warning, and properties that are measured or unknown."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from out_of_range import refuses

from beamfall.errors import RigFileError
from beamfall.planning.collision import draw_rigs, plan_collision
from beamfall.planning.make import make_plan
from beamfall.planning.setting import make_liquid, make_setting
from beamfall.setup.limits import BoardLimits
from beamfall.setup.rig import example_rig

from .conftest import make_rig


def find_warnings(rig, *named: str) -> list[str]:
    """The plan's warnings that name all of these: lines, keys and figures."""
    return [text for text in make_plan(rig).warnings if all(part in text for part in named)]


# -- warnings and refusals -------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("changes", "named"),
    [
        ({"dish": {"depth_m": 0.002}}, ("dish", "2.0 mm", "3 mm")),
        ({"beam": {"height_m": 0.59}}, ("beam1", "nozzle", "20 mm")),
        ({"beam": {"height_m": 0.02}}, ("beam1", "surface", "20 mm")),
        ({"flash": {"recycle_s": 9.0}}, ("flash1", "9 s", "aim.rest")),
        ({"valve": {"opening_s": 0.04}}, ("valve1", "larger", "nozzle", "67.6 µL")),
        ({"beam": {"blanking_s": 0.1}}, ("beam1", "blanking", "100 ms")),
        ({"valve": {"height_m": 0.07}, "beam": {"height_m": 0.035}}, ("cavity", "thick jet")),
    ],
)
def test_warnings_name_what_is_wrong(changes, named) -> None:
    assert make_plan(example_rig()).warnings == ()
    assert find_warnings(make_rig(**changes), *named)


def test_drops_closer_than_the_valve_can_do() -> None:
    # a fine bore that takes 55 ms for a drop cannot make the next one 60 ms later
    slow = make_rig(valve={"opening_s": 0.055, "bore_m": 0.00095}, aim={"spacing_s": 0.06})
    assert find_warnings(slow, "valve1", "drop 2", "60.0 ms", "55.0 ms")
    assert not find_warnings(example_rig(), "drop 2")


def test_blur_is_cautioned_of_only_where_a_lower_power_is_shorter() -> None:
    # 40 µs is what shoe flashes reach at 1/64 (1/20,000 s): nothing that the photographer could do.
    assert not find_warnings(example_rig(), "flash1")
    # 1 ms is full power. 3.3 m/s · 3.32 ms · 0.5 = 5.5 mm; 1/64 leaves 3.3 m/s · 166 µs · 0.5 = 0.27 mm.
    blurred = make_rig(flash={"duration_s": 1e-3})
    assert find_warnings(blurred, "flash1", "5.5 mm", "32 µm", "1/64", "27")


def test_blur_is_said_once_for_all_flashes() -> None:
    rig = make_rig(flash={"duration_s": 1e-3})
    rig = replace(rig, flashes=(*rig.flashes, replace(rig.flashes[0], output="flash2")))
    assert find_warnings(rig, "1/64") == find_warnings(rig, "flash1", "flash2", "1/64")
    assert len(find_warnings(rig, "1/64")) == 1


@pytest.mark.parametrize(
    ("changes", "quantity", "found", "key"),
    [
        ({"valve": {"opening_s": 0.002}}, "opening of valve1", 0.002, "valve1.opening"),
        ({"liquid": {"name": "beer"}}, "name of a liquid", "beer", "liquid.name"),
        ({"liquid": {"name": "milk", "temperature_k": 280.0}}, "milk temperature", 280.0, ""),
    ],
)
def test_what_the_physics_does_not_cover_is_refused(changes, quantity, found, key) -> None:
    with refuses(quantity, found) as caught:
        plan_collision(make_rig(**changes))
    assert caught.value.key == key


def test_a_spacing_with_which_drop_2_misses_is_refused_with_one_that_works() -> None:
    with pytest.raises(RigFileError) as caught:
        plan_collision(make_rig(aim={"spacing_s": 0.5}))
    (problem,) = caught.value.problems
    assert (problem.key, problem.found) == ("aim.spacing", 0.5)
    assert problem.low is not None and problem.high is not None
    cured = plan_collision(make_rig(aim={"spacing_s": 0.5 * (problem.low + problem.high)}))
    assert cured.chance is not None and cured.chance > 0.5


def test_a_rig_without_flash_or_beam() -> None:
    rig = example_rig()
    with pytest.raises(RigFileError, match="flash"):
        plan_collision(replace(rig, flashes=()))
    plan = plan_collision(replace(rig, beams=()))
    assert plan.anchor.count == 0 and "nozzle_to_beam" not in plan.intervals
    plan.sequence.make_table_within(BoardLimits())


def test_a_measured_property_goes_before_the_tables_and_is_no_longer_unknown() -> None:
    entry = replace(example_rig().liquid, name="milk", viscosity_pa_s=0.003)
    liquid = make_liquid(entry)
    assert liquid.viscosity_pa_s == 0.003 == liquid.viscosity_at(500.0)
    assert liquid.unknown == frozenset({"density_kg_m3"})
    # and milk's surface tension stays that of J. Dairy Research 50:259 (1983): 52.41 mN/m at 20 °C
    assert liquid.surface_tension_n_m == pytest.approx(0.05241, abs=1e-4)


def test_unknown_properties_widen_the_jet() -> None:
    def width(name: str) -> float:
        onset = plan_collision(make_rig(liquid={"name": name})).intervals["jet_onset"]
        return np.log(onset.p95 / onset.p5)

    assert width("milk") > 1.15 * width("water")


def test_a_step_of_a_timing_draws_no_new_rigs() -> None:
    """A plan of other timings is one of the same rigs: on the page a step is planned within 50 ms."""
    rig = example_rig()
    stepped = rig.with_aim(spacing_s=0.101, flash_delay_s=0.009)
    setting = make_setting(rig)
    assert draw_rigs(stepped, setting, 50, None) is draw_rigs(rig, setting, 50, None)
    deeper = replace(rig, dish=replace(rig.dish, depth_m=0.03))
    assert draw_rigs(deeper, setting, 50, None) is not draw_rigs(rig, setting, 50, None)
