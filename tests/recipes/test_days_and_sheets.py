"""A recipe again on another day, and on paper."""

from __future__ import annotations

import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest
from kept_recipes import NAME, Kept

from beamfall.board import Board
from beamfall.recipes.day import apply_correction, find_correction, set_day
from beamfall.recipes.package import unpack_recipe
from beamfall.recipes.sheet import list_tables, make_sheet
from beamfall.recipes.words import FROM_OTHERS
from beamfall.setup.signals import SignalKind
from beamfall.shots import ShotLog


def test_on_the_same_day_nothing_is_corrected(kept: Kept) -> None:
    recipe = kept.recipe
    correction = find_correction(recipe, set_day(recipe), recipe.drops[0])
    assert correction is not None and not correction.is_needed
    assert correction.differences == ()


def test_drops_that_come_later_move_the_flash_by_about_as_much_less_than_they_fell(
    kept: Kept,
) -> None:
    """A nozzle 3 mm higher: the drop crosses the beam later and faster, and falls on from there for less long."""
    recipe = kept.recipe
    (seen,) = recipe.drops
    later = replace(seen, arrival_s=seen.arrival_s + 0.0018)
    correction = find_correction(recipe, set_day(recipe), later)
    assert correction is not None and correction.is_needed
    assert [one.what for one in correction.differences] == ["opening to beam"]
    assert correction.delay.p5 <= correction.delay_s <= correction.delay.p95
    assert abs(correction.delay_s) < 0.0018


def test_more_head_makes_a_taller_jet_and_so_an_earlier_flash(kept: Kept) -> None:
    recipe = kept.recipe
    now = set_day(recipe, head_m=recipe.rig.valves[0].head_m + 0.03)
    correction = find_correction(recipe, now, None)
    assert correction is not None and not correction.seen
    assert correction.delay_s < -0.001


def test_a_correction_moves_later_drops_and_flashes_alone(kept: Kept) -> None:
    recipe = kept.recipe
    moved = apply_correction(recipe, 0.004, -0.002)
    for old, new in zip(recipe.sequence.rows, moved.rows, strict=True):
        by = new.delay_s - old.delay_s
        if old.kind is SignalKind.FLASH:
            assert by == pytest.approx(-0.002)
        elif old.kind is SignalKind.VALVE and old.delay_s > recipe.openings[0]:
            assert by == pytest.approx(0.004)
        else:
            assert by == 0.0


def test_shoot_compares_two_drops_then_fires(kept: Kept) -> None:
    said = kept.beamfall("recipe", "shoot", NAME, "--port", "sim?seed=3", "--head", "8 cm")
    assert re.search(r"\b5 cm .*\b8 cm ", said) and FROM_OTHERS not in said
    with ShotLog.open(kept.folder / "shots.sqlite3") as log:
        compared, fired = (log.read_shot(n) for n in (1, 2))
        assert compared.table.flash_row() is None
        assert compared.line.series == fired.line.series
        then = recipe_delay(kept)
        delay = fired.line.flash_delay_ticks
        assert delay is not None and delay / fired.line.clock_hz < then - 0.001


def test_a_recipe_of_another_rig_is_fired_with_a_word_about_its_milliseconds(
    kept: Kept, shared: bytes
) -> None:
    kept.shelf.save(unpack_recipe(shared, "x").renamed("theirs"))
    assert FROM_OTHERS in kept.beamfall("recipe", "shoot", "theirs", "--port", "sim?seed=3")


def test_as_then_fires_the_very_table(kept: Kept) -> None:
    kept.beamfall("recipe", "shoot", NAME, "--as-then", "--port", "sim?seed=3")
    with ShotLog.open(kept.folder / "shots.sqlite3") as log, Board.connect("sim") as board:
        assert log.read_shot(1).table == kept.recipe.sequence.make_table(board.info)


def recipe_delay(kept: Kept) -> float:
    delay = kept.recipe.flash_delay_s
    assert delay is not None
    return delay


# -- paper -----------------------------------------------------------------------------------------------------
class Reader(HTMLParser):
    """The text and the tags of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.words += data


def test_the_sheet_holds_every_setting_and_nothing_active(kept: Kept) -> None:
    label = replace(
        kept.recipe.label, name="<script>x</script>", note="</p><img src=http://x>\u202e"
    )
    recipe = replace(kept.recipe, label=label)
    reader = Reader()
    page = make_sheet(recipe)
    reader.feed(page)
    assert "script" not in [tag for tag, _ in reader.tags]
    sources = [attrs["src"] or "" for _, attrs in reader.tags if "src" in attrs]
    assert len(sources) == 1 and sources[0].startswith("data:image/jpeg")
    assert not re.search(r"(href|url\()", page) and "\u202e" not in page
    for rows in list_tables(recipe).values():
        for name, value in rows:
            assert name in reader.words and value in reader.words


def test_the_drawing_is_to_scale(kept: Kept) -> None:
    """The beam at 47 of 60 cm is drawn at 47/60 of the nozzle's height above the surface."""
    page = make_sheet(kept.recipe)
    places = {
        name: float(found[1])
        for name, pattern in (
            (
                "nozzle",
                r'<path d="M[\d.]+ ([\d.]+) H[\d.]+ L[\d.]+ [\d.]+" [^>]*/><text[^>]*>nozzle',
            ),
            ("beam", r'<path d="M[\d.]+ ([\d.]+) H[\d.]+ L[\d.]+ [\d.]+" [^>]*/><text[^>]*>beam1'),
            (
                "surface",
                r'<path d="M[\d.]+ ([\d.]+) H[\d.]+ L[\d.]+ [\d.]+" [^>]*/><text[^>]*>surface',
            ),
        )
        if (found := re.search(pattern, page))
    }
    nozzle, beam = (places["surface"] - places[name] for name in ("nozzle", "beam"))
    assert beam / nozzle == pytest.approx(47 / 60, abs=0.002)
