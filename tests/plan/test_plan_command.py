"""`beamfall plan` as people and programs use it."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
from command_line import run_checked

from beamfall.errors import PhysicsRangeError, RigFileError
from beamfall.physics.liquids import BASES
from beamfall.planning.make import make_plan
from beamfall.planning.setting import compute_drop, make_liquid, make_setting
from beamfall.setup.rig import EXAMPLE, example_rig, load_rig

from .conftest import make_rig


def write_rig(tmp_path: Path, *changes: tuple[str, str]) -> str:
    content = EXAMPLE.read_text(encoding="utf-8")
    for old, new in changes:
        assert old in content
        content = content.replace(old, new, 1)
    file = tmp_path / "rig.toml"
    file.write_text(content, encoding="utf-8")
    return str(file)


def test_one_object_with_every_time_as_an_interval(tmp_path) -> None:
    rig = write_rig(
        tmp_path, ('height = "60 cm"', 'height = "61 cm"'), ('height = "47 cm"', 'height = "48 cm"')
    )
    (line,) = run_checked("plan", rig, "--json").stdout.splitlines()
    plan = json.loads(line)
    for name in ("nozzle_to_beam", "beam_to_surface", "jet_onset", "spacing", "flash_delay"):
        assert set(plan[name]) == {"p5", "p50", "p95"}
    # common practice, no source: 280 ms after the first edge
    assert plan["flash_after_first_edge"]["p5"] < 280 < plan["flash_after_first_edge"]["p95"]
    assert plan["anchor"] == {"beam": "beam1", "edge": "dark", "count": 2}


def test_in_words_with_a_picture(tmp_path) -> None:
    picture = tmp_path / "plan.png"
    rig = write_rig(tmp_path, ('recycle = "1.5 s"', 'recycle = "9 s"'))
    said = run_checked("plan", rig, "--plot", str(picture)).stdout
    for words in (
        "flash follows",
        "scatter of the picture",
        "Assumptions",
        "Caution: flash1 takes 9 s to recycle",
    ):
        assert words in said
    assert picture.read_bytes().startswith(b"\x89PNG")


def test_the_picture_draws_drops_beam_surface_jet_and_light() -> None:
    from beamfall.planning.make import make_plan
    from beamfall.plot.plan import describe_plan
    from beamfall.plot.scene import Arrow, Line, Rule

    plan = make_plan(make_rig(), traced=True)
    (panel,) = describe_plan(plan).panels[0]
    lines = {shape.name: shape for shape in panel.shapes if isinstance(shape, Line)}
    rules = {shape.text: shape.at for shape in panel.shapes if isinstance(shape, Rule)}
    assert (rules["beam1"], rules["surface"], rules["nozzle"]) == (470.0, 0.0, 600.0)
    assert any("jet" in name for name in lines)
    first = lines["drop 1, lowest point"]
    assert first.ys[-1] == pytest.approx(0.0, abs=1e-9)
    # drop 1 strikes where valve latency, fall to the beam and from it add up
    total = (
        35
        + plan.intervals["nozzle_to_beam"].p50 * 1e3
        + plan.intervals["beam_to_surface"].p50 * 1e3
    )
    assert first.xs[-1] == pytest.approx(total, abs=1.0)
    (delay,) = (shape for shape in panel.shapes if isinstance(shape, Arrow))
    assert delay.end - delay.start == pytest.approx(plan.flash_delay_s * 1e3, abs=1.0)
    # The light and the drop that it is to show are in the middle of the close view.
    near = panel.views[1]
    assert near.x[0] < delay.end < near.x[1] and near.y[0] < 0.0 < near.y[1] < 200.0


def test_the_stage_moves_the_flash_by_itself() -> None:
    early = json.loads(run_checked("plan", "--json", "--stage", "0 ms").stdout)
    late = json.loads(run_checked("plan", "--json", "--stage", "5 ms").stdout)
    moved = late["planned"]["flash_delay"] - early["planned"]["flash_delay"]
    assert moved == pytest.approx(5.0, abs=1e-3)
    assert early["planned"]["spacing"] == late["planned"]["spacing"]


@pytest.mark.parametrize(
    ("change", "error", "key"),
    [
        (('height = "47 cm"', 'height = "62 cm"'), RigFileError, "beam[1].height"),
        (('height = "60 cm"', 'height = "60"'), RigFileError, "valve[1].height"),
        (('bore = "2.5 mm"', 'bore = "0 mm"'), RigFileError, "valve[1].bore"),
        (('bore = "2.5 mm"', 'bore = "2 km"'), RigFileError, "valve[1].bore"),
        (
            ('temperature = "20 degC"', 'temperature = "90 degC"'),
            RigFileError,
            "site.air_temperature",
        ),
        (('name = "water"', 'name = "lava"'), PhysicsRangeError, "liquid.name"),
        (('name = "water"', 'name = "gum"'), PhysicsRangeError, "liquid.name"),
        (('opening = "26 ms"', 'opening = "1 ms"'), PhysicsRangeError, "valve1.opening"),
    ],
)
def test_a_bad_rig_is_refused_by_its_key(tmp_path, change, error, key) -> None:
    with pytest.raises(error) as caught:
        make_plan(load_rig(write_rig(tmp_path, change)), draws=200)
    keys = [one.key for one in getattr(caught.value, "problems", ())] or [caught.value.key]
    assert keys == [key]


def test_what_is_listed_as_a_liquid_is_taken_as_one(tmp_path) -> None:
    for name in BASES:
        make_liquid(replace(example_rig().liquid, name=name))


def test_an_opening_out_of_range_is_refused_with_one_that_works(tmp_path) -> None:
    """An opening between them makes a drop."""
    rig = example_rig()
    setting, valve = make_setting(rig), replace(rig.valves[0], opening_s=0.07)
    with pytest.raises(PhysicsRangeError) as caught:
        compute_drop(valve, setting)
    low, high = caught.value.low, caught.value.high
    assert low < high < caught.value.found == 0.07
    assert compute_drop(replace(valve, opening_s=0.5 * (low + high)), setting) > 1e-3


def test_the_command_says_which_key_is_wrong(tmp_path) -> None:
    said = run_checked(
        "plan", write_rig(tmp_path, ('bore = "2.5 mm"', 'bore = "0 mm"')), status=2
    ).stderr
    assert "valve.bore" in said


def test_a_picture_with_an_unknown_ending_is_refused(tmp_path) -> None:
    assert ".png" in run_checked("plan", "--plot", str(tmp_path / "plan.doc"), status=2).stderr
