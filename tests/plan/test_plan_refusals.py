"""Plans that are refused or made with a warning, and properties that are measured or unknown."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from out_of_range import refuses

from beamfall.errors import RigFileError
from beamfall.planning.collision import draw_rigs, plan_collision
from beamfall.planning.make import make_plan
from beamfall.planning.result import Caution, CautionKind
from beamfall.planning.setting import make_liquid, make_setting
from beamfall.setup.limits import BoardLimits
from beamfall.setup.rig import Rig, example_rig

from .conftest import make_rig


def find_cautions(rig: Rig, kind: CautionKind) -> list[Caution]:
    return [caution for caution in make_plan(rig).warnings if caution.kind is kind]


# -- warnings and refusals -------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("changes", "kind", "about", "values"),
    [
        (
            {"dish": {"depth_m": 0.002}},
            "NO_DEPTH",
            "dish.depth",
            {"depth_m": 2e-3, "least_m": 3e-3},
        ),
        ({"dish": {"depth_m": 0.004}}, "DEPTH", "dish.depth", {"depth_m": 4e-3}),
        ({"beam": {"height_m": 0.59}}, "BEAM_HIGH", "beam1", {"least_m": 0.02}),
        ({"beam": {"height_m": 0.02}}, "BEAM_LOW", "beam1", {"height_m": 0.02}),
        ({"flash": {"recycle_s": 9.0}}, "RECYCLING", "flash1", {"recycle_s": 9.0}),
        ({"valve": {"opening_s": 0.04}}, "NOZZLE", "valve1", {"volume_m3": 67.6e-9}),
        ({"beam": {"blanking_s": 0.1}}, "BLANKING", "beam1", {"blanking_s": 0.1}),
        ({"valve": {"height_m": 0.07}, "beam": {"height_m": 0.035}}, "REGIME", None, {}),
    ],
)
def test_cautions_tell_what_is_wrong(changes, kind, about, values) -> None:
    assert make_plan(example_rig()).warnings == ()
    (caution,) = find_cautions(make_rig(**changes), CautionKind[kind])
    assert caution.about == (() if about is None else (about,))
    assert {name: caution.values[name] for name in values} == pytest.approx(values, rel=1e-3)
    assert all(one in caution.text for one in caution.about if "." not in one)


def test_drops_closer_than_the_valve_can_do() -> None:
    # a fine bore that takes 55 ms for a drop cannot make the next one 60 ms later
    slow = make_rig(valve={"opening_s": 0.055, "bore_m": 0.00095}, aim={"spacing_s": 0.06})
    (caution,) = find_cautions(slow, CautionKind.FAST_DROPS)
    assert caution.about == ("valve1",)
    assert caution.values == pytest.approx({"drop": 2, "gap_s": 0.06, "open_s": 0.055})


def test_blur_is_cautioned_of_only_where_a_lower_power_is_shorter() -> None:
    # 40 µs is what shoe flashes reach at 1/64 (1/20,000 s): nothing that the photographer could do.
    assert not find_cautions(example_rig(), CautionKind.BLUR)
    # 1 ms is full power. 3.3 m/s · 3.32 ms · 0.5 = 5.5 mm; 1/64 leaves 3.3 m/s · 166 µs · 0.5 = 0.27 mm.
    (caution,) = find_cautions(make_rig(flash={"duration_s": 1e-3}), CautionKind.BLUR)
    assert caution.about == ("flash1",)
    assert caution.values["power"] == 1 / 64
    assert caution.values["blur_m"] == pytest.approx(5.5e-3, rel=0.02)
    assert caution.values["hidden_m"] == pytest.approx(32e-6, rel=0.02)
    assert caution.values["better_m"] == pytest.approx(0.27e-3, rel=0.04)


def test_blur_is_said_once_for_all_flashes() -> None:
    rig = make_rig(flash={"duration_s": 1e-3})
    rig = replace(rig, flashes=(*rig.flashes, replace(rig.flashes[0], output="flash2")))
    (caution,) = find_cautions(rig, CautionKind.BLUR)
    assert caution.about == ("flash1", "flash2")


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
