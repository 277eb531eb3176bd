"""The table by hand: typed, stepped and undone; what the board's limits say; armed in the plan's place."""

from __future__ import annotations

import threading
from typing import Any

import pytest
from page_helpers import OpenReady, expect
from two_drops import make_two_drops

from beamfall.errors import SequenceError, UserError
from beamfall.page.by_hand import STATES_MOST, ByHand, round_times
from beamfall.page.hub import Hub
from beamfall.setup.limits import BoardLimits
from beamfall.setup.sequence import Sequence

SHOT = make_two_drops(name="two drops")


class Shown:
    """A table by hand with the hub that pages see, and how often what would be fired has changed."""

    def __init__(self, shot: Sequence = SHOT) -> None:
        self.hub = Hub()
        self.changes = 0
        self.by_hand = ByHand(self.hub, self._note, threading.RLock())
        self.by_hand.use_limits(BoardLimits())
        self.by_hand.take(shot)

    def _note(self) -> None:
        self.changes += 1

    @property
    def table(self) -> dict[str, Any]:
        shown: dict[str, Any] = self.hub.get("table")
        return shown

    def wrong_rows(self) -> list[int | None]:
        return [one["row"] for one in self.table["problems"]]


def test_half_a_millisecond_shows_where_the_limit_bites_and_can_be_undone() -> None:
    """The valve takes 2 ms to close: hardware/limits.md."""
    shown = Shown()
    shown.by_hand.set(2, "delay", "115 ms")
    assert shown.wrong_rows() == []
    shown.by_hand.step(2, "delay", "-0.5 ms")
    assert shown.by_hand.sequence.rows[1].delay_s == 0.1145
    assert shown.wrong_rows() == [2]
    shown.by_hand.move(-1)
    assert shown.wrong_rows() == [] and shown.table["can_redo"]
    shown.by_hand.move(1)
    assert shown.wrong_rows() == [2]
    shown.by_hand.set(2, "delay", "200 ms")  # another way from here: what was undone is gone
    with pytest.raises(UserError):
        shown.by_hand.move(1)


def test_looking_at_a_change_does_not_make_it() -> None:
    shown = Shown()
    would = shown.by_hand.look(3, "delay", "190.5 ms")
    assert would["rows"][2]["delay_ms"] == pytest.approx(190.5)
    assert shown.by_hand.sequence == SHOT and shown.changes == 1


@pytest.mark.parametrize(
    ("row", "field", "text"),
    [(2, "delay", "115"), (2, "delay", "-1 ms"), (2, "output", "beam1"), (9, "delay", "1 ms"), (2, "anchor", "beam1 x"),
     (3, "count", "2"), (0, "window", "long"), (0, "beam1 edge", "grey"), (2, "delay", "59 min")],
)  # fmt: skip
def test_what_cannot_be_read_changes_nothing(row: int, field: str, text: str) -> None:
    shown = Shown()
    with pytest.raises(UserError):
        shown.by_hand.set(row, field, text)
    assert shown.by_hand.sequence == SHOT and shown.changes == 1


def test_a_row_keeps_its_place_when_it_follows_another_edge() -> None:
    shown = Shown()
    before = shown.table["chart"]
    shown.by_hand.set(3, "anchor", "release")
    assert shown.by_hand.sequence.window_s == 0.0  # nothing is awaited any more
    shown.by_hand.set(3, "anchor", "beam1 1")
    assert shown.by_hand.sequence.awaits == (1, 0) and shown.by_hand.sequence.window_s > 0.0
    assert shown.wrong_rows() == []

    def start(chart: Any) -> float:
        found: float = next(one["start"] for one in chart["shapes"] if one.get("handle") == 2)
        return found

    assert start(shown.table["chart"]) == pytest.approx(start(before), abs=0.1)


def test_rows_are_added_where_the_board_allows_them() -> None:
    shown = Shown()
    for output in ("valve1", "flash1", "flash2", "shutter"):
        shown.by_hand.add(output)
    assert shown.wrong_rows() == []
    for _ in range(6):
        shown.by_hand.remove(1)
    with pytest.raises(UserError):
        shown.by_hand.remove(1)


def test_a_table_leaves_and_comes_back_as_the_same_sequence_file() -> None:
    shown = Shown()
    text = shown.by_hand.write()
    shown.by_hand.remove(1)
    shown.by_hand.read(text)
    assert round_times(shown.by_hand.sequence) == round_times(SHOT)
    for wrong in ("row = 3", "[[row]]\noutput = 'x'", "not TOML"):
        with pytest.raises(SequenceError):
            shown.by_hand.read(wrong)


def test_undoing_goes_back_a_bounded_way() -> None:
    shown = Shown()
    for number in range(STATES_MOST + 50):
        shown.by_hand.set(3, "delay", f"{190 + number} ms")
    for _ in range(STATES_MOST - 1):
        shown.by_hand.move(-1)
    with pytest.raises(UserError):
        shown.by_hand.move(-1)
    long = "".join(
        '[[row]]\noutput = "valve1"\ndelay = "1 ms"\nwidth = "1 ms"\n' for _ in range(256)
    )
    with pytest.raises(UserError):
        shown.by_hand.read(long)


@pytest.mark.full
def test_the_flash_is_dragged_undone_and_fired_from_a_telephone(open_ready: OpenReady) -> None:
    served, page = open_ready(size={"width": 390, "height": 844})
    page.goto(f"{served.origin}/#table")
    wide = page.evaluate("document.documentElement.scrollWidth")
    assert wide <= 390
    by_hand = served.server.desk.by_hand
    flash = next(n for n, row in enumerate(by_hand.sequence.rows, 1) if row.output == "flash1")
    before = by_hand.sequence.rows[flash - 1].delay_s
    grip = page.locator(f'.grip.delay[data-handle="{flash - 1}"]').bounding_box()
    x, y = grip["x"] + grip["width"] / 2, grip["y"] + grip["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x - 20, y, steps=4)
    page.mouse.up()
    served.wait(lambda: by_hand.sequence.rows[flash - 1].delay_s < before - 0.01)
    page.get_by_role("button", name="Undo").click()
    served.wait(lambda: by_hand.sequence.rows[flash - 1].delay_s == before)
    page.get_by_role("button", name="Delay: one step more").click()
    served.wait(lambda: by_hand.sequence.rows[flash - 1].delay_s == pytest.approx(before + 5e-4))
    closer = page.get_by_role("button", name="Closer")
    for _ in range(12):
        closer.click()
    # Down to microseconds, still in view.
    expect(page.locator("[data-bar].chosen")).to_have_count(1)
    # The shutter's bar now fills the view: a finger on it moves the view, and not a bar whose ends are out of sight.
    sequence, bar = by_hand.sequence, page.locator(f'[data-bar="{len(by_hand.sequence.rows) - 1}"]')
    box, flash_x = bar.bounding_box(), page.locator("[data-bar].chosen").bounding_box()["x"]
    x, y = box["x"] + box["width"] - 8, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x - 60, y, steps=4)
    page.mouse.up()
    page.wait_for_function(
        "([bar, x]) => document.querySelector(bar).getBoundingClientRect().x < x - 30",
        arg=[f'[data-bar="{flash - 1}"]', flash_x],
    )
    assert by_hand.sequence == sequence
    page.get_by_role("button", name="Use this table").click()
    page.locator("#arm").click()
    expect(page.locator("#arm")).to_contain_text("Armed")
    armed = served.server.bench.armed
    assert armed is not None and armed.sequence == by_hand.sequence
    page.get_by_role("button", name="Delay: one step more").click()
    # What is armed is no longer what is shown.
    expect(page.locator("#state")).to_have_text("changed")
