"""What faults do at the pins of the simulated rig and in its room."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from needs import need_micropython

from beamfall.board import Board
from beamfall.cli import main
from beamfall.errors import (
    BoardRestarted,
    DefinitionMismatch,
    ProtocolMismatch,
    UserError,
    WrongValue,
)
from beamfall.events import Outcome
from beamfall.faults.setup import Setup
from beamfall.setup.rig import example_rig
from beamfall.sim.build import build_rig, draw_model
from beamfall.sim.embedded import SimulatedTransport
from beamfall.sim.faults import FAULTS
from beamfall.sim.rig import SimulatedRig
from beamfall.sim.room import Room

BEAM1, LIGHT1 = 9, 11  # protocol/messages.toml


def drip(fault: str, seed: int = 1) -> tuple[Outcome, Room]:
    with Board.connect(f"sim?fault={fault}", seed=seed) as board:
        room = Room(board.transport.rig)
        return board.drip(1, 0.026), room


def words_of(outcome: Outcome, signal: int) -> list[str]:
    return [edge.word for edge in outcome.edges if edge.signal == signal]


def test_a_sound_rig_in_its_room_is_the_plain_rig_to_the_tick(setup: Setup) -> None:
    model = draw_model(example_rig(), 3)
    seen = []
    for rig in (build_rig(example_rig(), 3), SimulatedRig(model, 3)):
        with Board.over(SimulatedTransport(rig, seed=3)) as board:
            edges = [*board.drip(1, 0.026).edges, *board.test_flash(1, 0.002).edges]
            board.sleep(3.0)
            edges += board.shoot(setup.sequence).edges
            seen.append([(edge.signal, edge.level, edge.ticks) for edge in edges])
    assert seen[0] == seen[1]
    assert len(seen[0]) > 15


@pytest.mark.parametrize(
    "fault", ["beam-misaligned", "beam-blind-by-ambient-light", "beam-wire-shorted"]
)
def test_a_drop_falls_but_the_beam_stays_clear(fault: str) -> None:
    outcome, room = drip(fault)
    assert room.drops_fallen() == 1
    assert words_of(outcome, BEAM1) == []


@pytest.mark.parametrize(
    "fault", ["valve-unplugged", "valve-stuck-closed", "nozzle-clogged", "bottle-empty"]
)
def test_no_drop_falls(fault: str) -> None:
    outcome, room = drip(fault)
    assert room.drops_fallen() == 0
    assert words_of(outcome, BEAM1) == []
    assert (room.clicks() > 0) == (fault in ("nozzle-clogged", "bottle-empty"))
    assert room.coil_pulled() == (fault != "valve-unplugged")


def test_an_exchanged_beam_is_clear_for_as_long_as_the_drop_passes() -> None:
    sound, _ = drip("flash-off")
    exchanged, _ = drip("beam-polarity-wrong")
    assert words_of(sound, BEAM1) == ["dark", "clear"]
    assert words_of(exchanged, BEAM1) == ["clear", "dark"]
    ticks = [[e.ticks for e in one.edges if e.signal == BEAM1] for one in (sound, exchanged)]
    assert ticks[0] == ticks[1]


def test_swapped_outputs_flash_at_the_valve_and_open_at_the_flash() -> None:
    outcome, room = drip("outputs-swapped")
    assert words_of(outcome, LIGHT1) == ["on", "off"]
    assert (room.clicks(), room.flashes(), room.drops_fallen()) == (0, 1, 0)


def test_satellites_come_behind_each_drop() -> None:
    outcome, _ = drip("satellites-counted-as-drops")
    assert len(words_of(outcome, BEAM1)) >= 4


def test_drops_become_smaller_while_no_air_comes_in() -> None:
    with Board.connect("sim?fault=air-inlet-blocked", seed=2) as board:
        room = Room(board.transport.rig)
        dwells = []
        for _ in range(3):
            ticks = [e.ticks for e in board.drip(1, 0.026).edges if e.signal == BEAM1]
            dwells.append(ticks[1] - ticks[0])
        assert dwells[2] < 0.95 * dwells[1] < 0.95 * 0.95 * dwells[0]
        room.open_cap(True)
        ticks = [e.ticks for e in board.drip(1, 0.026).edges if e.signal == BEAM1]
        assert ticks[1] - ticks[0] > dwells[0]


def test_a_finger_is_seen_where_a_drop_is_not_and_a_hand_where_a_finger_is_not() -> None:
    seen = {}
    for fault in ("beam-misaligned", "beam-blind-by-ambient-light", "beam-wire-shorted"):
        with Board.connect(f"sim?fault={fault}") as board:
            room = Room(board.transport.rig)
            counts = []
            for act in (room.pass_finger, room.cover_receiver):
                board.watch(True)
                act(1)
                board.sleep(3.0)
                board.watch(False)
                board.pump(0.1)
                counts.append(sum(len(words_of(o, BEAM1)) for o in board.take_outcomes()))
            seen[fault] = counts
    assert seen == {
        "beam-misaligned": [6, 2],
        "beam-blind-by-ambient-light": [0, 2],
        "beam-wire-shorted": [0, 0],
    }


def test_a_sleeping_flash_obeys_once_its_own_button_has_woken_it() -> None:
    with Board.connect("sim?fault=flash-asleep") as board:
        room = Room(board.transport.rig)
        assert words_of(board.test_flash(1, 0.002), LIGHT1) == []
        assert not room.ready_lamp_on(1)
        assert room.press_flash(1)
        board.sleep(3.0)
        assert words_of(board.test_flash(1, 0.002), LIGHT1) == ["on", "off"]


def test_the_ready_lamp_is_off_until_the_flash_has_recycled() -> None:
    with Board.connect("sim", seed=1) as board:
        room = Room(board.transport.rig)
        assert room.ready_lamp_on(1)
        board.test_flash(1, 0.002)
        assert not room.ready_lamp_on(1)
        board.sleep(3.0)  # the example rig's flash takes 1.5 s
        assert room.ready_lamp_on(1)


def test_a_flash_without_cable_fires_only_at_its_own_button() -> None:
    with Board.connect("sim?fault=flash-cable") as board:
        room = Room(board.transport.rig)
        assert words_of(board.test_flash(1, 0.002), LIGHT1) == []
        assert room.press_flash(1)
        board.sleep(3.0)
        assert words_of(board.test_flash(1, 0.002), LIGHT1) == []


def test_a_board_whose_supply_gives_way_restarts() -> None:
    seen = set()
    for seed in range(8):
        with Board.connect("sim?fault=supply-sagging", seed=seed) as board:
            try:
                outcome = board.drip(1, 0.026)
            except BoardRestarted:
                seen.add("restarted")
                continue
            first = next(e.ticks for e in outcome.edges if e.signal == BEAM1)
            seen.add("dims" if first < board.to_ticks(0.01) else "quiet")
    assert {"restarted", "dims"} <= seen


def test_a_usb_line_that_drops_out_comes_back_with_the_same_board() -> None:
    with Board.connect("sim?fault=usb-dropping-out", seed=1) as board:
        boot = board.info.boot_id
        board.sleep(20.0)
        assert board.counters.reconnections > 0
        assert board.info.boot_id == boot


def test_another_firmware_is_refused_in_either_way() -> None:
    kinds = set()
    for seed in range(6):
        with pytest.raises((ProtocolMismatch, DefinitionMismatch)) as caught:
            Board.connect("sim?fault=firmware-differs", seed=seed)
        kinds.add(type(caught.value))
    assert kinds == {ProtocolMismatch, DefinitionMismatch}
    Board.connect("sim").close()  # and the firmware of other simulated boards is untouched


@pytest.mark.parametrize("fault", sorted(set(FAULTS) - {"firmware-differs"}))
def test_the_same_seed_is_the_same_rig(fault: str) -> None:
    ticks = []
    for _ in range(2):
        with Board.connect(f"sim?fault={fault}", seed=5) as board:
            try:
                ticks.append([(e.signal, e.ticks) for e in board.drip(1, 0.026).edges])
            except BoardRestarted:
                ticks.append([])
    assert ticks[0] == ticks[1]


def test_an_unknown_fault_is_refused_with_those_that_there_are() -> None:
    with pytest.raises(WrongValue) as caught:
        Board.connect("sim?fault=beam-misaligned,wet-feet")
    assert (caught.value.of, caught.value.found) == ("fault", "wet-feet")
    assert set(caught.value.choices) == set(FAULTS)


@pytest.mark.parametrize(
    "query", ["fault=flash-off,beam-stuck-dark", "fault=flash-off&fault=beam-stuck-dark"]
)
def test_two_faults_are_both_there_however_they_are_written(query: str) -> None:
    with Board.connect(f"sim?{query}") as board:
        room = Room(board.transport.rig)
        assert not room.ready_lamp_on(1)
        assert board.status().beams_dark == 1
        assert board.name.endswith("fault=flash-off,beam-stuck-dark")


def test_an_empty_name_is_no_fault() -> None:
    with pytest.raises(WrongValue) as caught:
        Board.connect("sim?fault=")
    assert caught.value.found == ""


def test_two_seeds_are_refused() -> None:
    with pytest.raises(UserError, match="seed=1&seed=2"):
        Board.connect("sim?seed=1&seed=2")


def test_without_a_camera_that_opens_every_picture_is_black(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Also for shoot and seek, though the board sees the flash fire."""
    assert main(["shoot", "--port", "sim?fault=camera-cable", "--json"]) == 0
    shot = json.loads(capsys.readouterr().out)
    assert shot["truth"]["pictures"] == []
    assert [edge for edge in shot["edges"] if edge["what"] == "light1"]
    main(["seek", "--port", "sim?fault=camera-cable", "--json"])
    answers = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    said = [one["answer"] for one in answers if "answer" in one]
    assert said and set(said) == {"black"}


def test_settings_faults_change_what_the_photographer_fires(setup: Setup) -> None:
    planned = setup.sequence
    for fault, attribute in (("delay-too-long", 1), ("delay-too-short", -1)):
        fired = build_rig(None, 4, fault).set_by_photographer(planned)
        change = fired.flash_row().delay_s - planned.flash_row().delay_s
        assert change * attribute > 0.02
    fired = build_rig(None, 4, "window-too-short").set_by_photographer(planned)
    assert fired.window_s < planned.window_s
    with Board.connect("sim?fault=window-too-short", seed=4) as board:
        assert board.shoot(fired).done.state.name == "missed"


def test_faults_work_under_the_interpreter_too() -> None:
    need_micropython()
    with Board.connect("sim:micropython?fault=outputs-swapped", seed=1) as board:
        assert words_of(board.drip(1, 0.026), LIGHT1) == ["on", "off"]
