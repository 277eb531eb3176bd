"""Plans that are refused or made with a warning, and properties that are measured or unknown."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from beamfall.errors import PhysicsRangeError, RigFileError
from beamfall.planning.collision import draw_rigs, plan_collision
from beamfall.planning.make import make_plan
from beamfall.planning.setting import make_liquid, make_setting
from beamfall.setup.limits import BoardLimits
from beamfall.setup.rig import example_rig

from .conftest import make_rig


def words_of(rig) -> str:
    return "\n".join(make_plan(rig).warnings)


# -- warnings and refusals -------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"dish": {"depth_m": 0.002}}, "dish too shallow for a jet: 2.0 mm"),
        ({"beam": {"height_m": 0.59}}, "beam1 too near the nozzle"),
        ({"beam": {"height_m": 0.02}}, "beam1 too near the surface"),
        ({"flash": {"recycle_s": 9.0}}, "longer than aim.rest"),
        ({"valve": {"opening_s": 0.04}}, "larger than the drops that this nozzle"),
        ({"beam": {"blanking_s": 0.1}}, "blanking of 100 ms is so long"),
        ({"valve": {"height_m": 0.07}, "beam": {"height_m": 0.035}}, "for a thick jet"),
    ],
)
def test_warnings_name_what_is_wrong(changes, words) -> None:
    assert words not in words_of(example_rig())
    assert words in words_of(make_rig(**changes))


def test_drops_closer_than_the_valve_can_do() -> None:
    # a fine bore that takes 55 ms for a drop cannot make the next one 60 ms later
    slow = make_rig(valve={"opening_s": 0.055, "bore_m": 0.00095}, aim={"spacing_s": 0.06})
    assert "drop 2 comes 60.0 ms after" in words_of(slow)
    assert "closer than" not in words_of(make_rig(valve={"opening_s": 0.055, "bore_m": 0.00095}))


def test_blur_is_cautioned_of_only_where_a_lower_power_is_shorter() -> None:
    # 40 µs is what shoe flashes reach at 1/64 (1/20,000 s): nothing that the photographer could do.
    assert "smears" not in words_of(example_rig())
    # 1 ms is full power. 3.3 m/s · 3.32 ms · 0.5 = 5.5 mm; 1/64 leaves 3.3 m/s · 166 µs · 0.5 = 0.27 mm.
    said = words_of(make_rig(flash={"duration_s": 1e-3}))
    assert "5.5 mm" in said and "32 µm" in said and "1/64 power" in said and "27" in said


def test_blur_is_said_once_for_all_flashes() -> None:
    rig = make_rig(flash={"duration_s": 1e-3})
    rig = replace(rig, flashes=(*rig.flashes, replace(rig.flashes[0], output="flash2")))
    blurred = [words for words in make_plan(rig).warnings if "will be blurred" in words]
    assert len(blurred) == 1 and blurred[0].startswith("flash1 and flash2")


@pytest.mark.parametrize(
    ("changes", "error", "words"),
    [
        ({"aim": {"spacing_s": 0.5}}, RigFileError, r"aim.spacing = 500 ms: drop 2 would miss the jet"),
        ({"valve": {"opening_s": 0.002}}, PhysicsRangeError, r"opening of valve1 = 2 ms.*more head"),
        ({"liquid": {"name": "beer"}}, PhysicsRangeError, r'liquid.name = "beer" is unknown'),
        (
            {"liquid": {"name": "milk", "temperature_k": 280.0}},
            PhysicsRangeError,
            r"milk temperature = 280",
        ),
    ],
)  # fmt: skip
def test_the_impossible_is_refused_in_words(changes, error, words) -> None:
    with pytest.raises(error, match=words):
        plan_collision(make_rig(**changes))


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
