"""The form of the rig file: every key, what is wrong beside its field, and a saved file."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
import tomlkit

from beamfall.errors import UserError
from beamfall.page import rig_form
from beamfall.page.desk import Desk
from beamfall.page.hub import Hub
from beamfall.setup.rig import example_rig, parse_rig


def test_the_form_holds_every_key_of_a_rig_file_and_reads_back_to_the_same_rig() -> None:
    content = rig_form.read_content(None)
    form = rig_form.describe_form(content, [])
    values = {field["path"]: field["value"] for section in form for field in section["fields"]}
    assert values["valve[1].height"] == "60 cm" and values["camera.pixel"] == "4 um"
    assert values["valve[1].discharge"] == ""  # left out: the default stands beside it
    written = tomlkit.dumps(content)
    assert parse_rig(tomllib.loads(written), "written") == example_rig()


@pytest.mark.parametrize(
    ("path", "text", "expected"),
    [
        ("valve[1].height", "60", "a length from 2 cm to 5 m"),
        ("valve[1].height", "60 ms", "a length from 2 cm to 5 m"),
        ("beam[1].height", "70 cm", "less than 60 cm"),
        ("aim.drops", "two", "a whole number from 1 to 8"),
        ("aim.drops", "1", "2 or more"),
        ("camera.magnification", "0", "a number from 0.01 to 10"),
        ("dish.depth", "", "a length from 500 µm to 1 m"),
        ("valve[1].outer_diameter", "1 mm", "at least 2.5 mm"),
    ],
)
def test_what_is_wrong_is_shown_beside_its_field(path: str, text: str, expected: str) -> None:
    content = rig_form.edit(rig_form.read_content(None), path, text)
    rig, problems = rig_form.check(content)
    assert rig is None
    assert [(one.key, one.expected) for one in problems] == [(path, expected)]
    form = rig_form.describe_form(content, problems)
    beside = {one["path"]: one["problems"] for section in form for one in section["fields"]}
    assert beside.pop(path) == [problems[0].text]
    assert not any(beside.values())


RIG_WITH_COMMENTS = """\
# My rig in the cellar.
[dish]   # the blue one
depth = '25 mm'                  # measured on Sunday

[[beam]]
height = "47 cm"  # clamp mark

[[valve]]
opening = "13 ms"
head = '10 cm'
latency = '''22 ms'''   # a guess
height = "24 in"
bore = "2 mm"
# outer_diameter is still to be measured

[aim] # last, on purpose
drops = 0x2
"""


def test_a_saved_rig_file_keeps_comments_order_and_quoting(tmp_path: Path) -> None:
    file = tmp_path / "rig.toml"
    file.write_text(RIG_WITH_COMMENTS, encoding="utf-8")
    content = rig_form.edit(rig_form.read_content(file), "valve[1].latency", "21 ms")
    old, new = RIG_WITH_COMMENTS.splitlines(), tomlkit.dumps(content).splitlines()
    assert [line for line in new if line not in old] == ['latency = "21 ms"   # a guess']
    assert len(new) == len(old)
    content = rig_form.edit(content, "aim.warm_up", "3")
    content = rig_form.add(content, "valve")
    content = rig_form.edit(content, "valve[2].place", "6 cm")
    saved = tomlkit.dumps(content)
    for line in old:
        assert line in saved or "latency" in line
    rig = parse_rig(tomllib.loads(saved), "saved")
    assert [valve.place_m for valve in rig.valves] == [0.0, 0.06]
    assert rig.aim.warm_up == 3
    without = tomlkit.dumps(rig_form.remove(content, "valve[2]"))
    assert len(parse_rig(tomllib.loads(without), "saved").valves) == 1


def test_a_part_written_as_a_single_table_can_be_edited_and_doubled(tmp_path: Path) -> None:
    file = tmp_path / "rig.toml"
    file.write_text(RIG_WITH_COMMENTS.replace("[[beam]]", "[beam]"), encoding="utf-8")
    content = rig_form.edit(rig_form.read_content(file), "beam[1].height", "40 cm")
    content = rig_form.edit(rig_form.add(content, "beam"), "beam[2].height", "30 cm")
    rig, problems = rig_form.check(content)
    assert problems == () and rig is not None
    assert [beam.height_m for beam in rig.beams] == [0.4, 0.3]
    assert parse_rig(tomllib.loads(tomlkit.dumps(content)), "saved") == rig


def test_what_is_wrong_with_a_whole_part_is_shown_too() -> None:
    hub = Hub()
    desk = Desk(hub, None)
    desk.remove("valve[1]")
    assert hub.get("rig")["wrong"] == 1
    assert len(hub.get("rig")["problems"]) == 1


def test_a_rig_gains_and_loses_parts_and_texts_that_try_to_be_toml_stay_texts() -> None:
    content = rig_form.add(rig_form.read_content(None), "beam")
    content = rig_form.edit(content, "beam[2].height", "20 cm")
    rig, problems = rig_form.check(content)
    assert problems == () and rig is not None
    assert [(beam.input, beam.height_m) for beam in rig.beams] == [("beam1", 0.47), ("beam2", 0.2)]
    rig, _ = rig_form.check(rig_form.remove(content, "beam[1]"))
    assert rig is not None and len(rig.beams) == 1
    hostile = 'x"\n[site]\naltitude = "9 m"\n\u0007'
    named = rig_form.edit(content, "name", hostile)
    assert tomllib.loads(tomlkit.dumps(named))["name"] == hostile
    for path in (
        "valve[9].height",
        "nowhere.key",
        "valve[1].nothing",
        "valve",
        "../x",
        "valve[1].height.more",
    ):
        with pytest.raises(UserError):
            rig_form.edit(content, path, "1 cm")
