"""Rig files: read into SI, and everything wrong with one said at once."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from beamfall.errors import RigFileError
from beamfall.setup.rig import EXAMPLE, Rig, example_rig, load_rig

SMALLEST = """
[dish]
depth = "25 mm"
[[valve]]
height = "24 in"
bore = "2 mm"
head = "10 cm"
opening = "13 ms"
latency = "20 ms"
[[beam]]
height = "47 cm"
"""


def write(folder: Path, text: str) -> Path:
    path = folder / "mine.toml"
    path.write_text(text, encoding="utf-8")
    return path


def refuse(folder: Path, text: str) -> str:
    with pytest.raises(RigFileError) as caught:
        load_rig(write(folder, text))
    return str(caught.value)


def test_the_example_says_that_it_is_invented() -> None:
    assert "INVENTED" in EXAMPLE.read_text(encoding="utf-8")
    rig = example_rig()
    assert "invented" in rig.name and "invented" in rig.note
    assert 0.45 <= rig.valves[0].height_m <= 0.65
    assert 0 < rig.beams[0].height_m < rig.valves[0].height_m


def test_a_small_file_is_enough(tmp_path: Path) -> None:
    rig = load_rig(write(tmp_path, SMALLEST))
    assert rig.name == "mine"
    assert rig.valves[0].height_m == 0.6096
    assert (rig.valves[0].output, rig.beams[0].input) == ("valve1", "beam1")
    assert rig.flashes == () and rig.camera is None
    assert rig.site.latitude_deg == 45.0


def test_lines_are_given_out_in_order(tmp_path: Path) -> None:
    second = SMALLEST.split("[[valve]]")[1].split("[[beam]]")[0]
    rig = load_rig(write(tmp_path, SMALLEST + "[[valve]]" + second))
    assert [valve.output for valve in rig.valves] == ["valve1", "valve2"]


def test_a_rig_survives_json_and_keeps_its_digest() -> None:
    rig = example_rig()
    again = Rig.from_dict(json.loads(json.dumps(rig.to_dict())))
    assert again == rig and again.digest == rig.digest
    assert rig.with_aim(spacing_s=0.08).digest != rig.digest


def test_everything_wrong_is_said_at_once(tmp_path: Path) -> None:
    message = refuse(
        tmp_path,
        """
        colour = "red"
        name = 3
        [site]
        altitude = 200
        lattitude = "48 deg"
        [dish]
        [[valve]]
        height = "60 ms"
        bore = "2 m"
        head = "10 cm"
        opening = "0,013 s"
        latency = "22 ms"
        discharge = "0.6"
        [[beam]]
        height = "47 cm"
        edge = "dim"
        [aim]
        drops = 2.5
        """,
    )
    assert "mine.toml: 11 problems in this rig file:" in message
    for line in (
        "colour: unknown key; known are name, note, site, ",
        "name = 3: expected text in quotes",
        "site.altitude = 200 has no unit; write a length with its unit",
        "site.lattitude: unknown key; did you mean latitude?",
        "dish.depth: missing; give a length with its unit, from 500 µm to 1 m",
        'valve.height = "60 ms" is a time, not a length',
        'valve.bore = "2 m": expected a length from 200 µm to 1 cm',
        'valve.opening = "0,013 s" is not a time (write a decimal point, not a comma)',
        "valve.discharge = '0.6': expected a number from 0.2 to 1, without unit",
        "beam.edge = 'dim': expected dark or clear",
        "aim.drops = 2.5: expected a whole number from 1 to 8, without unit",
    ):
        assert f"\n  {line}" in message


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (('height = "47 cm"', 'height = "70 cm"'), "beam beam1: height is 70 cm, but the lowest"),
        (('height = "47 cm"', 'height = "-1 cm"'), 'beam.height = "-1 cm": expected a length from'),
        (
            ('bore = "2 mm"', 'bore = "2 mm"\nouter_diameter = "1 mm"'),
            "outer_diameter is 1 mm, less",
        ),
        (
            ("[dish]", '[aim]\nanchor = "beam2"\n[dish]'),
            "aim.anchor = 'beam2': the rig has no such beam",
        ),
        (("[dish]", "[aim]\ndrops = 1\n[dish]"), "aim.drops = 1: a collision takes at least 2"),
        (("[dish]", "[liquid]\nparts = {}\n[dish]"), "liquid.parts = {}: expected parts by name"),
        (("[dish]", "[liquid]\nparts = {milk = -1}\n[dish]"), "expected parts by name"),
        (("[[beam]]", "[[beam]]\nheight='3 cm'\n[[beam]]\ninput='beam1'"), "beam1 is used twice"),
    ],
)
def test_geometry_and_parts(tmp_path: Path, change: tuple[str, str], message: str) -> None:
    assert message in refuse(tmp_path, SMALLEST.replace(*change))


def test_no_valve_no_rig(tmp_path: Path) -> None:
    assert "valve: missing" in refuse(tmp_path, '[dish]\ndepth = "2 cm"')


def test_a_valve_that_is_no_table(tmp_path: Path) -> None:
    assert "valve: expected a list of tables, each begun with [[valve]]" in refuse(
        tmp_path, 'valve = "a good one"\n[dish]\ndepth = "2 cm"'
    )


def test_files_that_are_not_there_or_not_toml(tmp_path: Path) -> None:
    with pytest.raises(RigFileError, match="there is no such rig file; leave RIG out"):
        load_rig(tmp_path / "none.toml")
    assert "not TOML: Expected newline" in refuse(tmp_path, "[dish]\ndepth = 25 mm")
    (tmp_path / "latin.toml").write_bytes(b"name = '\xe9'")
    with pytest.raises(RigFileError, match="cannot be read"):
        load_rig(tmp_path / "latin.toml")


def test_what_is_not_fitted_is_said_with_true_and_false(tmp_path: Path) -> None:
    path = tmp_path / "small.toml"
    text = EXAMPLE.read_text(encoding="utf-8")
    path.write_text(text + "\n[fitted]\nflash_seen = false\n", encoding="utf-8")
    rig = load_rig(path)
    assert not rig.fitted.flash_seen
    assert rig.fitted.button
    assert Rig.from_dict(rig.to_dict()) == rig
    path.write_text(text + '\n[fitted]\nbutton = "no"\n', encoding="utf-8")
    with pytest.raises(RigFileError, match=r"fitted\.button = 'no': expected true or false"):
        load_rig(path)
