"""One button, no laptop: a short press fires, a long one chooses the next slot, and the light shows its number."""

from __future__ import annotations

import random
from pathlib import Path

import pytest
from scripted import MS, Bench
from test_slots import BUTTON1, press, reset

from beamfall_board import wire_definition as wire
from beamfall_board.button import HELD, NOTHING, PRESSED, SETTLE_MS, Button
from beamfall_board.rhythm import light_is_on


def make_table(valve: int) -> list[tuple[int, int, int, int, int]]:
    """Each slot's table opens another valve, so that the pins show which one was fired."""
    return [(0, 0, valve, MS, 10 * MS)]


@pytest.fixture
def bench() -> Bench:
    """Valve 1 in slot 2, valve 2 in slot 5, valve 3 in slot 6; the board starts with slot 2, and no host listens."""
    bench = Bench()
    for valve, slot in ((1, 2), (2, 5), (3, 6)):
        bench.upload(make_table(valve))
        assert bench.ask("slot_save", slot=slot).name == "done"
    assert bench.ask("slot_choose", slot=2).name == "done"
    restart(bench)
    return bench


def restart(bench: Bench) -> None:
    reset(bench)
    bench.transport.sleep(0.1)


def hold(bench: Bench, down_ms: int) -> None:
    press(bench, down_ms)
    bench.transport.sleep(down_ms / 1000 + 1.0)


def fired(bench: Bench) -> list[int]:
    """How often each valve has opened since the start."""
    return [len(bench.rig.pulses(valve)) for valve in (1, 2, 3)]


@pytest.mark.parametrize(
    ("down_ms", "shots"), [(10, 0), (25, 0), (60, 1), (300, 1), (940, 1), (1100, 0), (5000, 0)]
)
def test_a_press_fires_once_when_it_is_let_go_and_a_long_one_never(
    bench: Bench, down_ms: int, shots: int
) -> None:
    press(bench, down_ms)
    bench.transport.sleep(min(down_ms, 900) / 1000)
    assert fired(bench) == [0, 0, 0]  # it may still become a long one
    bench.transport.sleep(6.0)
    assert sum(fired(bench)) == shots


def test_a_long_press_makes_the_next_slot_ready_and_fires_nothing(bench: Bench) -> None:
    ready = []
    for _ in range(4):
        ready.append(bench.board.controller.table.slot)
        hold(bench, 1200)
    assert ready == [2, 5, 6, 2]  # empty ones are left out, and after the last comes the first
    assert fired(bench) == [0, 0, 0]
    press(bench)  # slot 5 again
    bench.transport.sleep(1.0)
    assert fired(bench) == [0, 1, 0]


def test_a_damaged_slot_is_left_out_and_without_another_nothing_changes(bench: Bench) -> None:
    folder = Path(bench.transport._folder.name)
    for file in folder.glob("slot5.*"):
        file.write_bytes(file.read_bytes()[:-3])
    hold(bench, 1200)
    assert bench.board.controller.table.slot == 6
    for file in folder.glob("slot*.*"):
        file.unlink()
    hold(bench, 1200)
    assert bench.board.controller.table.slot == 6  # what was ready is ready still
    assert bench.board.controller.table.state == wire.TABLE_READY


def test_while_a_host_is_heard_the_button_does_not_change_what_is_armed(bench: Bench) -> None:
    """What a page shows as armed must be what a press fires."""
    bench.ask("hello", definition=bench.codec.definition.digest)
    bench.upload(make_table(3))
    press(bench, 1200)
    for _ in range(4):
        bench.run(0.5)
        bench.ask("status")
    assert bench.board.controller.table.slot == 0
    assert any("host" in report["text"] for report in bench.named("trouble"))
    press(bench)
    bench.run(1.0)
    assert fired(bench) == [0, 0, 1]
    bench.transport.sleep(12.0)  # it has gone
    hold(bench, 1200)
    assert bench.board.controller.table.slot == 2
    bench.transport.read(0)


def test_a_long_press_during_a_shot_changes_nothing(bench: Bench) -> None:
    bench.ask("hello", definition=bench.codec.definition.digest)
    bench.upload([(0, 0, 8, MS, 4000 * MS)])
    bench.transport.sleep(11.0)
    press(bench)
    bench.transport.sleep(0.5)
    hold(bench, 1500)
    assert bench.board.controller.activity == wire.ACTIVITY_SHOT
    bench.transport.sleep(4.0)
    assert bench.board.controller.table.slot == 0
    assert len(bench.rig.pulses(8)) == 1
    bench.transport.read(0)


def test_after_a_restart_the_chosen_slot_is_ready_and_not_the_one_before_it(bench: Bench) -> None:
    hold(bench, 1200)
    restart(bench)
    assert bench.board.controller.table.slot == 2
    assert fired(bench) == [0, 0, 0]


def test_a_button_that_is_closed_at_the_start_does_nothing_until_it_opens(bench: Bench) -> None:
    """The button is stuck, or wired the wrong way round."""
    bench.transport.reset_board()
    bench.rig.levels[BUTTON1] = 1
    bench.transport.sleep(5.0)
    assert bench.board.controller.table.slot == 2
    bench.rig.at(bench.now + MS, BUTTON1, 0)
    bench.transport.sleep(1.0)
    assert fired(bench) == [0, 0, 0]
    press(bench)
    bench.transport.sleep(1.0)
    assert fired(bench) == [1, 0, 0]


def test_the_light_counts_the_slot_that_is_ready() -> None:
    for slot in range(1, 9):
        cycle_ms = 1000 + 500 + 500 * slot + 1500
        shown = [light_is_on(0, 0, True, ms, slot) for ms in range(0, cycle_ms, 50)]
        lengths = [len(run) * 50 for run in "".join(map(str, shown)).split("0") if run]
        assert lengths == [1000] + [250] * slot
    # A shot and a fault are told as ever.
    assert light_is_on(4, 0, True, 0, 3) == light_is_on(4, 0, True, 0)


def test_however_a_contact_flickers_one_press_is_at_most_one_act() -> None:
    """Between two acts the contact must have been closed for 30 ms; a shot also needs 30 ms of open contact at the
    end."""
    chance = random.Random(14)
    acts = {NOTHING: 0, PRESSED: 0, HELD: 0}
    for _ in range(300):
        button, level, now = Button(), False, 1
        button.look(False, 0)
        since: list[bool] = []  # the last act
        for _ in range(chance.randrange(2, 14)):
            level = not level
            for _ in range(chance.choice([1, 5, 20, 29, 31, 40, 200, 980, 1500])):
                since.append(level)
                act = button.look(level, now)
                acts[act] += 1
                if act != NOTHING:
                    assert "1" * SETTLE_MS in "".join("01"[one] for one in since)
                    assert act == HELD or not any(since[-SETTLE_MS:])
                    since = []
                now += 1
    assert acts[PRESSED] > 50 and acts[HELD] > 50
