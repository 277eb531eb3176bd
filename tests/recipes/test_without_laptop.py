"""An evening without a laptop: slots with names, the button, restarts, a full memory, and the shots afterwards."""

from __future__ import annotations

from dataclasses import replace

import pytest
from kept_recipes import Kept
from pressed_button import RealBoard, RigWithButton

from beamfall.recipes.card import make_card
from beamfall.setup.sequence_file import parse_sequence
from beamfall.shots import ShotLog
from beamfall.sim.build import draw_model
from beamfall.sim.embedded import SimulatedTransport
from beamfall.workflows.slots import fetch_shots, list_held, store_recipe


@pytest.fixture
def rig(kept: Kept) -> RigWithButton:
    return RigWithButton(draw_model(kept.recipe.rig, 3), 3)


def test_every_slot_takes_a_recipe_and_keeps_its_name(kept: Kept, rig: RigWithButton) -> None:
    with (
        RealBoard.over(SimulatedTransport(rig, seed=3)) as board,
        ShotLog.open(kept.folder / "l") as log,
    ):
        most = board.slots().most
        for slot in range(1, most + 1):
            one = kept.recipe.renamed(f"slot {slot}")
            one = replace(one, sequence=replace(one.sequence, tail_s=0.05 + 0.01 * slot))
            kept.shelf.save(one)
            store_recipe(board, log, one, slot)
        found = list_held(board, kept.shelf, log)
        names = {one.slot: one.name for one in found}
        assert names == {slot: f"slot {slot}" for slot in range(1, most + 1)}
        card = make_card("<i>b</i>", found)
    assert all(f"<b>slot {slot}</b>" in card for slot in names) and "<i>" not in card


def test_a_sequence_file_keeps_its_name_in_a_slot_and_the_ready_slot_is_told(
    kept: Kept, rig: RigWithButton
) -> None:
    file = parse_sequence(
        {"name": "two streams", "row": [{"output": "valve1", "delay": "1 ms", "width": "50 ms"}]},
        "streams.toml",
    )
    with (
        RealBoard.over(SimulatedTransport(rig, seed=3)) as board,
        ShotLog.open(kept.folder / "l") as log,
    ):
        log.keep_table(file.make_table(board.info))
        board.upload(file)
        board.save_slot(5)
        store_recipe(board, log, kept.recipe, 2)
        board.choose_slot(5)

        def told() -> list[tuple[int, str, bool, bool]]:
            held = list_held(board, kept.shelf, log)
            return [(one.slot, one.name, one.ready, one.first) for one in held]

        name = kept.recipe.name
        assert told() == [(2, name, True, False), (5, "two streams", False, True)]
        board.load_slot(5)
        assert told() == [(2, name, False, False), (5, "two streams", True, True)]
        unknown = list_held(board, kept.shelf, None)
        assert [one.name for one in unknown] == [name, ""]


def test_after_a_power_cut_the_chosen_recipe_is_ready_and_nothing_has_fired(
    kept: Kept, rig: RigWithButton
) -> None:
    transport = SimulatedTransport(rig, seed=3)
    with ShotLog.open(kept.folder / "l") as log:
        board = RealBoard.over(transport)
        store_recipe(board, log, kept.recipe, 2)
        board.choose_slot(2)
        transport.restart_board()
        board = RealBoard.over(transport)
        assert board.status().digest == kept.recipe.sequence.make_table(board.info).digest
        assert fetch_shots(board, log).shots == ()
        rig.press(transport)
        (shot,) = fetch_shots(RealBoard.over(transport), log).shots
        record = log.read_shot(shot).record
    assert record.state == "fired"
    assert [edge.what for edge in record.edges if edge.what == "flash1"] == ["flash1"] * 2


def test_the_evening_goes_from_slot_to_slot_by_the_button_and_the_log_knows_each_shot(
    kept: Kept, rig: RigWithButton
) -> None:
    """With a power cut in between: the chosen slot is ready again, and what was not fetched is lost with the power."""
    transport = SimulatedTransport(rig, seed=3)
    tables = {}
    with ShotLog.open(kept.folder / "l") as log:
        board = RealBoard.over(transport)
        for slot in (2, 4, 7):
            one = kept.recipe.renamed(f"slot {slot}")
            one = replace(one, sequence=replace(one.sequence, tail_s=0.05 + 0.01 * slot))
            store_recipe(board, log, one, slot)
            tables[slot] = one.sequence.make_table(board.info).digest
        board.choose_slot(2)
        transport.restart_board()
        transport.sleep(1.0)
        rig.press(transport)  # slot 2
        rig.press(transport, 1.5)
        rig.press(transport)  # slot 4
        rig.press(transport, 1.5)
        rig.press(transport, 1.5)
        rig.press(transport)  # slot 2 again
        fetched = fetch_shots(RealBoard.over(transport), log)
        shots = [log.read_shot(shot) for shot in fetched.shots]
        assert [shot.record.state for shot in shots] == ["fired"] * 3
        assert [shot.table.digest for shot in shots] == [tables[2], tables[4], tables[2]]
        transport.sleep(12.0)
        rig.press(transport, 1.5)
        rig.press(transport)  # slot 4, which nobody fetches
        transport.restart_board()
        board = RealBoard.over(transport)
        assert board.status().digest == tables[2]
        assert fetch_shots(board, log).shots == ()
        # The board counts its releases from 1 again: this one is new, although the log has a release 1 of that board.
        rig.press(transport)
        (after,) = fetch_shots(RealBoard.over(transport), log).shots
        assert log.read_shot(after).table.digest == tables[2]


PRESSED = 60  # more shots than a board has room for


def test_a_power_cut_with_a_full_memory_loses_those_shots_and_nothing_else(
    kept: Kept, rig: RigWithButton
) -> None:
    transport = SimulatedTransport(rig, seed=3)
    with ShotLog.open(kept.folder / "l") as log:
        board = RealBoard.over(transport)
        store_recipe(board, log, kept.recipe, 3)
        board.choose_slot(3)
        for _ in range(PRESSED):
            rig.press(transport)
        assert RealBoard.over(transport).status().shots_forgotten >= 1
        transport.restart_board()
        board = RealBoard.over(transport)
        assert board.status().digest == kept.recipe.sequence.make_table(board.info).digest
        fetched = fetch_shots(board, log)
        assert (fetched.shots, fetched.forgotten) == ((), 0)
        rig.press(transport)
        (shot,) = fetch_shots(RealBoard.over(transport), log).shots
        assert log.read_shot(shot).record.state == "fired"


def test_a_full_memory_keeps_the_newest_shots_and_says_how_many_it_forgot(
    kept: Kept, rig: RigWithButton
) -> None:
    transport = SimulatedTransport(rig, seed=3)
    with ShotLog.open(kept.folder / "l") as log:
        store_recipe(RealBoard.over(transport), log, kept.recipe, 1)
        for _ in range(PRESSED):
            rig.press(transport)
        board = RealBoard.over(transport)
        fetched = fetch_shots(board, log)
        records = [log.read_shot(shot).record for shot in fetched.shots]
        assert fetch_shots(board, log).shots == ()
    assert fetched.forgotten >= 1
    assert len(records) == PRESSED - fetched.forgotten
    releases = [one.release for one in records]
    assert releases == sorted(set(releases))
    # The oldest may have lost edges: the first of its reports made room.
    assert not any(one.counts.get("edges_missing") for one in records[1:])
    assert {one.state for one in records} == {"fired"}
