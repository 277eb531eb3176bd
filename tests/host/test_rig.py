"""Rig files are read into SI units, and all mistakes in one are reported at once."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import fields
from pathlib import Path

import pytest

from beamfall.errors import RigFileError, SequenceError
from beamfall.setup.file_schema import Rule
from beamfall.setup.rig import EXAMPLE, Rig, example_rig, load_rig, parse_rig
from beamfall.setup.rig_sections import (
    Beam,
    Camera,
    Dish,
    Flash,
    LiquidInRig,
    Site,
    Uncertainty,
    Valve,
)
from beamfall.setup.rig_shot import Aim
from beamfall.setup.sequence_file import load_sequence
from beamfall.setup.toml_write import rig_to_file
from beamfall.setup.unit_kinds import KINDS

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


def refuse(folder: Path, text: str) -> RigFileError:
    with pytest.raises(RigFileError) as caught:
        load_rig(write(folder, text))
    return caught.value


def keys_of(error: RigFileError) -> list[str]:
    assert all(problem.text in str(error) for problem in error.problems)
    return [problem.key for problem in error.problems]


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
    error = refuse(
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
        opening = "1,300 ms"
        latency = "22 ms"
        discharge = "0.6"
        [[beam]]
        height = "47 cm"
        edge = "dim"
        [aim]
        drops = 2.5
        """,
    )
    assert sorted(keys_of(error)) == sorted(
        [
            "colour",
            "name",
            "valve[1].height",
            "valve[1].bore",
            "valve[1].opening",
            "valve[1].discharge",
            "beam[1].edge",
            "dish.depth",
            "site.lattitude",
            "site.altitude",
            "aim.drops",
        ]
    )
    by_key = {problem.key: problem for problem in error.problems}
    assert by_key["name"].found == 3
    assert by_key["dish.depth"].found is None
    assert by_key["valve[1].bore"].found == "2 m"
    assert by_key["beam[1].edge"].expected == "dark or clear"
    assert "latitude" in by_key["site.lattitude"].text


@pytest.mark.parametrize(
    ("change", "key"),
    [
        (('height = "47 cm"', 'height = "70 cm"'), "beam[1].height"),
        (('height = "47 cm"', 'height = "-1 cm"'), "beam[1].height"),
        (('bore = "2 mm"', 'bore = "2 mm"\nouter_diameter = "1 mm"'), "valve[1].outer_diameter"),
        (("[dish]", '[aim]\nanchor = "beam2"\n[dish]'), "aim.anchor"),
        (("[dish]", "[aim]\ndrops = 1\n[dish]"), "aim.drops"),
        (("[dish]", "[liquid]\nparts = {}\n[dish]"), "liquid.parts"),
        (("[dish]", "[liquid]\nparts = {milk = -1}\n[dish]"), "liquid.parts"),
        (("[[beam]]", "[[beam]]\nheight='3 cm'\n[[beam]]\ninput='beam1'"), "beam[2].input"),
    ],
)
def test_geometry_and_parts(tmp_path: Path, change: tuple[str, str], key: str) -> None:
    assert keys_of(refuse(tmp_path, SMALLEST.replace(*change))) == [key]


def test_each_drop_has_a_valve_an_opening_and_a_time(tmp_path: Path) -> None:
    drops = """
[[drop]]
[[drop]]
at = "105 ms"
[[drop]]
opening = "30 ms"
"""
    rig = load_rig(write(tmp_path, SMALLEST + drops))
    valve = rig.valves[0]
    longer = 0.03 - valve.opening_s
    assert rig.aim.drops == 3
    assert rig.list_fixed() == (0.0, 0.105, None)
    assert [one.opening_s for one in rig.list_drops()] == [valve.opening_s, valve.opening_s, 0.03]
    # a longer opening lets its drop leave later
    assert rig.list_drops()[2].latency_s == pytest.approx(valve.latency_s + longer)
    assert Rig.from_dict(json.loads(json.dumps(rig.to_dict()))) == rig
    assert parse_rig(rig_to_file(rig), "written") == rig


@pytest.mark.parametrize(
    ("drops", "key"),
    [
        ("[[drop]]", "drop"),
        ("[[drop]]\n[[drop]]\nvalve = 'valve3'", "drop[2].valve"),
        ("[[drop]]\nat = '5 ms'\n[[drop]]", "drop[1].at"),
        ("[[drop]]\n[[drop]]\nat = 5", "drop[2].at"),
        ("[aim]\ndrops = 2\n" + 3 * "[[drop]]\n", "aim.drops"),
        ("[aim]\nspacing = '90 ms'\n[[drop]]\n[[drop]]\nat = '90 ms'", "aim.spacing"),
        (9 * "[[drop]]\n", "drop"),
        ("[[firing]]", "firing[1].flash"),
        ("[[flash]]\n[[firing]]\n[[firing]]\nafter = '30 ms'", "firing[2]"),
        ("[[flash]]\n[[firing]]\nanchor = 'beam1'\ndelay = '9 ms'", "firing[1].anchor"),
        ("[[flash]]\n[[firing]]\nanchor = 'beam2'\ndelay = '9 ms'", "firing[1].anchor"),
    ],
)
def test_drops_that_do_not_go_with_the_rig_are_named(tmp_path: Path, drops: str, key: str) -> None:
    assert keys_of(refuse(tmp_path, SMALLEST + drops)) == [key]


def test_a_sequence_file_in_place_of_a_rig_file_is_one_problem(tmp_path: Path) -> None:
    row = '[[row]]\noutput = "valve1"\ndelay = "0 ms"\nwidth = "13 ms"\n'
    error = refuse(tmp_path, f'name = "two drops"\nwindow = "1 s"\n{row}')
    (problem,) = error.problems
    assert (problem.found, problem.expected) == ("sequence file", "rig file")
    assert str(error) == problem.text and "`beamfall sequence check`" in problem.text


def test_no_valve_no_rig(tmp_path: Path) -> None:
    assert keys_of(refuse(tmp_path, '[dish]\ndepth = "2 cm"')) == ["valve"]


def test_a_valve_that_is_no_table(tmp_path: Path) -> None:
    error = refuse(tmp_path, 'valve = "a good one"\n[dish]\ndepth = "2 cm"')
    assert keys_of(error) == ["valve"]


def test_files_that_are_not_there_or_not_text(tmp_path: Path) -> None:
    with pytest.raises(RigFileError, match="none.toml"):
        load_rig(tmp_path / "none.toml")
    (tmp_path / "latin.toml").write_bytes(b"name = '\xe9'")
    with pytest.raises(RigFileError, match="UTF-8"):
        load_rig(tmp_path / "latin.toml")


@pytest.mark.parametrize(
    ("line", "cure"),
    [
        ("magnification = 0,35", "magnification = 0.35"),
        ("depth = 25 mm", 'depth = "25 mm"'),
        ("parts = { water = 3 milk = 1 }", "comma"),
        ("name = 'half", "quote"),
        ("depth = '25 mm'\ndepth = '3 cm'", "one of the two"),
    ],
)
def test_a_line_that_is_not_toml_is_shown_with_its_cure(
    tmp_path: Path, line: str, cure: str
) -> None:
    said = str(refuse(tmp_path, f"[dish]\n{line}\n[site]\n"))
    assert (
        f"line {2 + line.count(chr(10))}" in said
        and line.split("=", maxsplit=1)[0].strip() in said
        and cure in said
    )


def test_a_file_without_end_is_refused_before_it_fills_memory() -> None:
    if not Path("/dev/zero").exists():
        pytest.skip("needs /dev/zero, which Windows lacks")
    with pytest.raises(RigFileError):
        load_rig("/dev/zero")


@pytest.mark.parametrize("load", [load_rig, load_sequence])
def test_a_deeply_nested_file_is_one_message(
    tmp_path: Path, load: Callable[[Path], object]
) -> None:
    for levels in (50, 300, 500, 5000):
        with pytest.raises((RigFileError, SequenceError)) as caught:
            load(write(tmp_path, f"row = {'[' * levels}{']' * levels}"))
        assert len(str(caught.value)) < 500 + len(str(tmp_path))


@pytest.mark.parametrize("load", [load_rig, load_sequence])
@pytest.mark.parametrize(
    "text",
    ["a" + ".a" * 60_000 + " = 1", "x = { " + "'a' . " * 40_000 + "a = 1 }", f"[{'a.' * 90_000}a]"],
)
def test_a_key_of_endless_parts_is_refused_before_it_takes_minutes(
    tmp_path: Path, load: Callable[[Path], object], text: str
) -> None:
    """Python's own reader would take time with the square of the number of parts: 25 s to 1 min for these."""
    with pytest.raises((RigFileError, SequenceError)) as caught:
        load(write(tmp_path, text))
    assert isinstance(caught.value.__cause__, RecursionError), "nested too deeply"


def test_a_key_of_few_parts_and_a_note_with_points_are_read(tmp_path: Path) -> None:
    note = "Slowly. Then again. e.g. 1.2.3.4, and so on ..." * 20
    assert load_rig(write(tmp_path, f"note = {json.dumps(note)}\n{SMALLEST}")).note == note


def test_of_very_many_unknown_keys_the_first_are_named(tmp_path: Path) -> None:
    keys = "".join(f"k{number} = 1\n" for number in range(10_000))
    with pytest.raises(RigFileError) as caught:
        load_rig(write(tmp_path, keys + SMALLEST))
    *named, rest = caught.value.problems
    assert [one.key for one in named] == [f"k{number}" for number in range(30)]
    assert rest.key == "" and "9970" in rest.text


def test_of_very_many_problems_the_first_are_told(tmp_path: Path) -> None:
    with pytest.raises(SequenceError) as caught:
        load_sequence(write(tmp_path, "[[row]]\n" * 5000))
    lines = str(caught.value).splitlines()
    assert len(lines) == 52 and re.search(r"\b\d{4,}\b", lines[-1]), "how many more there are"


@pytest.mark.parametrize("load", [load_rig, load_sequence])
def test_a_number_with_too_many_figures_is_one_message(
    tmp_path: Path, load: Callable[[Path], object]
) -> None:
    with pytest.raises((RigFileError, SequenceError)):
        load(write(tmp_path, f"row = {'1' * 5000}"))


def test_a_quantity_may_have_a_decimal_comma(tmp_path: Path) -> None:
    rig = load_rig(write(tmp_path, SMALLEST.replace('"13 ms"', '"12,5 ms"')))
    assert rig.valves[0].opening_s == 0.0125


def test_every_key_has_an_example_that_it_takes() -> None:
    """The example that forms and messages suggest must be plausible: a nozzle's bore is not 62 cm."""
    for kind in (Site, LiquidInRig, Dish, Valve, Beam, Flash, Camera, Aim, Uncertainty):
        for item in fields(kind):
            rule: Rule = item.metadata["rule"]
            if rule.kind in KINDS:
                rule.read(item.name, rule.example)


def test_what_is_not_fitted_is_said_with_true_and_false(tmp_path: Path) -> None:
    path = tmp_path / "small.toml"
    text = EXAMPLE.read_text(encoding="utf-8")
    path.write_text(text + "\n[fitted]\nflash_seen = false\n", encoding="utf-8")
    rig = load_rig(path)
    assert not rig.fitted.flash_seen
    assert rig.fitted.button
    assert Rig.from_dict(rig.to_dict()) == rig
    path.write_text(text + '\n[fitted]\nbutton = "no"\n', encoding="utf-8")
    with pytest.raises(RigFileError, match=r"fitted\.button = 'no'"):
        load_rig(path)


def test_a_logged_rig_that_has_lost_its_valves_is_refused() -> None:
    """Everything below counts on valve 1; a damaged log is named where it is read."""
    content = example_rig().to_dict()
    assert Rig.from_dict(content) == example_rig()
    del content["valves"]
    with pytest.raises(TypeError):
        Rig.from_dict(content)
