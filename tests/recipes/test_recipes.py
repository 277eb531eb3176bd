"""Recipes: kept, found again, shared without their owner, and refused where they cannot be trusted."""

from __future__ import annotations

import io
import json
import shutil
import tomllib
import zipfile
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from kept_recipes import NAME, OWNER, Kept, rewrite

from beamfall.board import Board
from beamfall.cli.words import FORGETS_SLOTS
from beamfall.errors import BeamfallError, RecipeError, SequenceError
from beamfall.recipes.make import make_recipe, read_measured
from beamfall.recipes.package import FILE_MOST, TEXT_MOST, pack_recipe, unpack_recipe
from beamfall.recipes.recipe import Measured
from beamfall.recipes.sheet import list_tables
from beamfall.setup.rig import example_rig, load_rig, parse_rig
from beamfall.setup.sequence import Row, Sequence
from beamfall.setup.sequence_file import parse_sequence, sequence_to_file
from beamfall.setup.toml_write import rig_to_file, write_toml
from beamfall.shots import ShotLog
from beamfall.workflows.slots import list_held, store_recipe

HZ = 125_000_000


# -- what is written reads back --------------------------------------------------------------------------------
@given(
    st.floats(0.02, 5.0), st.floats(273.15, 333.15), st.floats(0.0, 1.0), st.floats(-90, 90),
    st.text(st.characters(codec="utf-8"), max_size=20),
)  # fmt: skip
def test_a_written_rig_is_the_same_rig(
    height: float, kelvin: float, volume: float, latitude: float, note: str
) -> None:
    rig = example_rig()
    rig = replace(
        rig,
        valves=(replace(rig.valves[0], height_m=height + 0.5),),
        liquid=replace(rig.liquid, temperature_k=kelvin, parts=(("water", 3.0), ("milk", 1.0))),
        uncertainty=replace(rig.uncertainty, volume=volume),
        site=replace(rig.site, latitude_deg=latitude),
        note=note,
    )  # fmt: skip
    try:
        back = parse_rig(tomllib.loads(write_toml(rig_to_file(rig))), "x")
    except BeamfallError:
        assert height + 0.5 > 5.0
        return
    assert back.note == rig.note and back.liquid.parts == rig.liquid.parts
    assert back.valves[0].height_m == pytest.approx(rig.valves[0].height_m, rel=1e-11)
    assert back.liquid.temperature_k == pytest.approx(kelvin, rel=1e-11)
    assert back.uncertainty.volume == pytest.approx(volume, rel=1e-11, abs=1e-15)


@given(st.integers(1, 2**31), st.integers(1, 10**6))
def test_a_written_sequence_has_the_same_ticks(delay: int, width: int) -> None:
    rows = (
        Row("release", 0, "valve1", delay / HZ, width / HZ),
        Row("beam1", 2, "flash1", delay / HZ, 0.002),
    )
    sequence = Sequence(rows, window_s=1.5, beam1_edge="clear", await2=1)
    back = parse_sequence(tomllib.loads(write_toml(sequence_to_file(sequence))), "x")
    assert back.to_table(HZ) == sequence.to_table(HZ)


# -- keeping ---------------------------------------------------------------------------------------------------
def test_a_kept_shot_says_what_was_fired_and_what_it_shows(first_kept: Kept) -> None:
    recipe = first_kept.recipe
    events, looks = recipe.events, recipe.looks
    assert events is not None and looks is not None and events.stage_s is not None
    assert recipe.rig == load_rig(first_kept.rig)
    assert (events.kind, events.drops) == ("collision", 2)
    assert events.moment_low < events.moment < events.moment_high
    assert events.stage_s == pytest.approx(0.002, abs=0.002)  # the plan aimed at 2 ms
    assert recipe.drops[0].arrival_s == pytest.approx(0.170, abs=0.01)
    assert recipe.picture is not None


def test_what_was_measured_in_the_photograph_goes_with_the_recipe(
    first_kept: Kept, tmp_path: Path
) -> None:
    log_file = tmp_path / "shots.sqlite3"
    shutil.copyfile(first_kept.folder / "shots.sqlite3", log_file)
    described = {
        "jet_height": {"value": 24.2, "error": 0.3}, "umbrella_diameter": {"value": 15.5, "error": 0.2},
        "since_contact_ms": {"value": 2.6, "error": 0.2}, "crown_height": {"value": "x"}, "drop_height": None,
    }  # fmt: skip
    with ShotLog.open(log_file) as log:
        log.set_picture_measured(1, described)
        recipe = make_recipe(log, 1, "measured")
    assert recipe.measured == Measured(jet_m=0.0242, umbrella_m=0.0155, since_s=0.0026)
    # The light came so long after the contact, whatever the rig's figures would have said.
    assert recipe.events is not None and recipe.events.stage_s == pytest.approx(0.0026, abs=3e-4)
    assert unpack_recipe(pack_recipe(recipe, shared=True), "it").measured == recipe.measured
    rows = dict(list_tables(recipe)["Picture"])
    assert rows["jet, measured"] == "24.2 mm" and rows["umbrella's width, measured"] == "15.5 mm"
    assert read_measured(None) is read_measured({"jet_height": None}) is None


def test_names_find_a_recipe_whatever_their_capitals(kept: Kept) -> None:
    kept.beamfall("recipe", "rename", NAME.upper(), "<b>../other</b>")
    listed = [json.loads(line) for line in kept.beamfall("recipe", "list", "--json").splitlines()]
    assert [one["name"] for one in listed] == ["<b>../other</b>"]
    assert [file.parent for file in kept.folder.rglob("*.zip")] == [kept.shelf.folder]
    kept.beamfall("recipe", "remove", "<B>../OTHER</B>")
    assert list(kept.shelf.list()) == []


def test_a_taken_name_is_refused_and_the_old_recipe_stays(kept: Kept) -> None:
    before = kept.shelf.find_file(NAME).read_bytes()
    with pytest.raises(RecipeError):
        kept.shelf.save(kept.recipe)
    kept.shelf.save(kept.recipe.renamed("second"))
    with pytest.raises(RecipeError):
        kept.shelf.rename("second", NAME)
    assert kept.shelf.find_file(NAME).read_bytes() == before


def test_a_file_whose_name_is_taken_is_kept_under_another(kept: Kept, shared: bytes) -> None:
    file = kept.folder / "in.zip"
    file.write_bytes(shared)
    assert NAME in kept.beamfall("recipe", "use", file, "--keep", status=2), "the name is taken"
    kept.beamfall("recipe", "use", file, "--name", "theirs", status=2)  # keeps nothing
    kept.beamfall("recipe", "use", file, "--keep", "--name", "theirs")
    assert [one.recipe.name for one in kept.shelf.list() if one.recipe] == [NAME, "theirs"]


def test_a_damaged_recipe_is_named_beside_the_others(kept: Kept) -> None:
    (kept.shelf.folder / "bad.recipe.zip").write_bytes(b"PK\x03\x04 and no more")
    said = kept.beamfall("recipe", "list")
    assert NAME in said and "bad.recipe.zip" in said


# -- sharing ---------------------------------------------------------------------------------------------------
def test_a_shared_recipe_does_not_name_its_owner(kept: Kept) -> None:
    kept.beamfall("recipe", "share", NAME, kept.folder / "out.zip")
    with zipfile.ZipFile(kept.folder / "out.zip") as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
        assert all(entry.date_time[0] == 1980 for entry in archive.infolist())
    everything = b"\n".join(parts.values())
    for private in (OWNER, str(kept.folder), str(kept.rig), "DSC_0042", "48°", '"shot"'):
        assert private.encode() not in everything
    assert "home" not in tomllib.loads(parts["recipe.toml"].decode())


def test_a_shared_recipe_is_the_same_to_whoever_reads_it(kept: Kept, shared: bytes) -> None:
    read = unpack_recipe(shared, "x")
    mine = kept.recipe
    assert (read.events, read.looks, read.drops) == (mine.events, mine.looks, mine.drops)
    assert read.sequence.to_table(HZ) == mine.sequence.to_table(HZ)
    assert unpack_recipe(pack_recipe(read, shared=True), "x").events == mine.events


NEWER = b"beamfall_recipe = 2\n[recipe]\nname = 'x'\n"


@pytest.mark.parametrize(
    ("part", "content"),
    [
        ("recipe.toml", NEWER),
        ("recipe.toml", None),
        ("recipe.toml", b"\xff\xfe"),
        ("recipe.toml", b"a = [" * 100_000),
        ("recipe.toml", b"beamfall_recipe = true"),
        ("recipe.toml", b"beamfall_recipe = 1\n[recipe]\nname = '\\u202e'"),
        ("recipe.toml", b"beamfall_recipe = 1\n[recipe]\nname = 'x'\n[events]\nkind = 'rain'"),
        ("recipe.toml", b"beamfall_recipe = 1\n[recipe]\nname = 'x'\n[[drop]]\nvalve = [[]]"),
        ("rig.toml", b"name = 'no valve'"),
        ("sequence.toml", b"[[row]]\noutput = 'pump'\ndelay = '0 s'\nwidth = '1 s'"),
        ("sequence.toml", b"[[row]]\noutput = 'valve1'\ndelay = '1 ms'\nwidth = '3 s'"),
        ("picture.jpg", b"<script>alert(1)</script>"),
        ("../../evil.toml", b"x = 1"),
        ("/etc/evil", b"x"),
        ("rig.toml", b"#" * (TEXT_MOST + 1)),  # 200 bytes as a zip
    ],
)
def test_a_recipe_that_cannot_be_trusted_is_refused_in_one_message(
    kept: Kept, shared: bytes, part: str, content: bytes | None
) -> None:
    file = kept.folder / "in.zip"
    file.write_bytes(rewrite(shared, {part: content}))
    before = sorted(kept.folder.rglob("*"))
    said = kept.beamfall(
        "recipe", "use", file, "--keep", "--sequence", kept.folder / "s.toml", status=2
    )
    assert said.startswith("beamfall: ") and len(said) < 1500
    assert sorted(kept.folder.rglob("*")) == before


@given(st.data())
def test_no_damaged_byte_is_a_fault_of_the_program(shared: bytes, data: st.DataObject) -> None:
    damaged = bytearray(shared[: data.draw(st.integers(0, len(shared)))])
    for place in data.draw(st.lists(st.integers(0, max(0, len(damaged) - 1)), max_size=4)):
        if damaged:
            damaged[place] ^= data.draw(st.integers(1, 255))
    try:
        unpack_recipe(bytes(damaged), "x")
    except RecipeError as error:
        assert "\n" not in str(error) or "problem" in str(error)


def test_a_huge_file_is_refused_before_it_is_opened() -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as archive:
        archive.writestr("recipe.toml", b" " * FILE_MOST)
    with pytest.raises(RecipeError):
        unpack_recipe(out.getvalue(), "x")


# -- onto a board ----------------------------------------------------------------------------------------------
def test_a_stored_recipe_is_what_the_board_holds(kept: Kept) -> None:
    with Board.connect("sim", rig=kept.recipe.rig) as board, ShotLog.open(kept.folder / "l") as log:
        store_recipe(board, log, kept.recipe, 2)
        (slot,) = board.slots().slots
        assert slot.digest == kept.recipe.sequence.make_table(board.info).digest
        (found,) = list_held(board, kept.shelf, log)
        assert (found.slot, found.name, found.ready) == (2, NAME, True)


def test_a_simulated_board_says_that_it_forgets_its_slots(kept: Kept, tmp_path: Path) -> None:
    assert FORGETS_SLOTS in kept.beamfall("recipe", "store", NAME, "--slot", "1", "--port", "sim")
    file = tmp_path / "one.toml"
    file.write_text(
        '[[row]]\noutput = "valve1"\ndelay = "1 ms"\nwidth = "13 ms"\n', encoding="utf-8"
    )
    saved = kept.beamfall("board", "slots", "save", "1", "--sequence", str(file), "--port", "sim")
    assert FORGETS_SLOTS in saved


def test_a_recipe_beyond_a_boards_limits_is_refused_and_its_slot_stays_empty(kept: Kept) -> None:
    rows = (Row("release", 0, "valve1", 0.001, 3.0), *kept.recipe.sequence.rows)
    wild = replace(kept.recipe, sequence=replace(kept.recipe.sequence, rows=rows))
    with Board.connect("sim", rig=kept.recipe.rig) as board, ShotLog.open(kept.folder / "l") as log:
        with pytest.raises(SequenceError):
            store_recipe(board, log, wild, 2)
        with pytest.raises(RecipeError):
            store_recipe(board, log, kept.recipe, board.slots().most + 1)
        assert board.slots().slots == ()
