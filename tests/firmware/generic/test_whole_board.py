"""The whole firmware over the generic port, driven by the host's library, in virtual time."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import pytest
from tiers import in_full

from beamfall.board import Board
from beamfall.board_tools.errors import MeasureError
from beamfall.board_tools.measure import measure
from beamfall.errors import Refused
from beamfall.setup.sequence import Row, Sequence

sys.path.insert(0, str(Path(__file__).parent))

from fake_board import Profile  # noqa: E402
from fake_world import MS, US  # noqa: E402
from virtual_board import VirtualBoard  # noqa: E402

VALVE_PIN, FLASH_PIN, BEAM_PIN = 2, 7, 10
KINDS = ["rp2", *in_full("stm32", "esp32")]


def make_shot(**settings: Any) -> Sequence:
    rows = (
        Row("release", 0, "valve1", 0.005, 0.020),
        Row("release", 0, "valve1", 0.080, 0.015),
        Row("beam1", 2, "flash1", 0.030, 0.001),
    )
    return Sequence(rows=rows, window_s=1.0, tail_s=0.01, blanking_s=0.01, **settings)


@pytest.mark.parametrize("kind", KINDS)
def test_a_shot_is_fired_and_its_record_is_what_the_pins_did(kind: str) -> None:
    transport = VirtualBoard(kind)
    with Board.over(transport) as board:
        assert board.info.timing.name == "interrupt"
        assert board.info.clock_hz == 1_000_000
        ticket = board.arm(make_shot())
        transport.world.outputs = []
        board.release(ticket)
        zero = transport.port._player.zero
        for at in (300, 380):
            transport.world.pulse((zero + 1000 * at) * US, BEAM_PIN, 2500 * US)
        outcome = board.wait_for(ticket)
    assert (outcome.done.state.name, outcome.done.beam1_counted) == ("fired", 2)
    ((on, off),) = transport.world.pulses(FLASH_PIN)
    recorded = [edge.ticks for edge in outcome.edges if edge.signal.name == "flash1"]
    assert [abs(r + zero - t // US) <= 5 for r, t in zip(recorded, (on, off), strict=True)] == [
        True
    ] * 2
    # One beam edge to its own interrupt, and the interrupt to the flash: that is all the lateness there is.
    assert abs(on // US - (zero + 380_000 + 30_000)) <= 200
    assert not any(level for pin, level in transport.world.levels.items() if pin in (2, 7))


@pytest.mark.parametrize("kind", KINDS)
def test_an_abort_at_any_moment_is_off_at_once_and_told(kind: str) -> None:
    transport = VirtualBoard(kind)
    with Board.over(transport) as board:
        ticket = board.arm(make_shot())
        board.release(ticket)
        board.sleep(0.010)
        assert transport.world.levels[VALVE_PIN] == 1
        board.abort()
        assert transport.world.levels[VALVE_PIN] == 0
        outcome = board.wait_for(ticket)
    assert outcome.done.cause.name == "aborted"
    assert [(edge.signal.name, edge.level) for edge in outcome.edges] == [
        ("valve1", 1),
        ("valve1", 0),
    ]


@pytest.mark.parametrize("kind", KINDS)
def test_what_raises_in_an_interrupt_is_a_fault_by_name_and_the_next_shot_is_good(
    kind: str,
) -> None:
    transport = VirtualBoard(kind)
    transport.world.forgives = True
    player = transport.port._player
    note_late, raised = player._note_late, []

    def raise_once(output: int, late: int, level: int) -> None:
        if not raised:
            raised.append(output)
            raise MemoryError
        note_late(output, late, level)

    player._note_late = raise_once
    shot = Sequence(rows=(Row("release", 0, "valve1", 0.020, 0.005),), tail_s=0.01)
    with Board.over(transport) as board:
        for state, cause in (("fault", "port_failure"), ("fired", "none")):
            ticket = board.arm(shot)
            transport.world.outputs = []
            board.release(ticket)
            done = board.wait_for(ticket).done
            assert (done.state.name, done.cause.name) == (state, cause)
            ((on, off),) = transport.world.pulses(VALVE_PIN)
            assert off - on < 5.5 * MS
            board.abort()  # clears the fault
    assert raised == [1] and len(transport.world.uncaught) == 1


def test_a_row_too_early_for_the_port_is_refused_with_the_earliest() -> None:
    transport = VirtualBoard("rp2")
    with Board.over(transport) as board:

        def make(delay_s: float) -> Sequence:
            rows = (Row("beam1", 1, "flash1", delay_s, 0.001),)
            return Sequence(rows=rows, window_s=1.0, tail_s=0.01, dwell_s=0.002)

        with pytest.raises(Refused) as caught:
            board.upload(make(0.0021))
        assert caught.value.reason == "too_early"
        earliest = caught.value.detail
        # Behind a dwell no row can be prepared, so that it comes later than the board's earliest.
        assert earliest >= 2000 + board.info.earliest_beam_ticks
        with pytest.raises(Refused) as again:
            board.upload(make((earliest - 1) / board.info.clock_hz))
        assert (again.value.reason, again.value.detail) == ("too_early", earliest)
        board.upload(make(earliest / board.info.clock_hz))


def test_a_slot_survives_a_reset(tmp_path: Path) -> None:
    with Board.over(VirtualBoard("rp2", tmp_path)) as board:
        digest = board.upload(make_shot())
        board.save_slot(3)
        board.choose_slot(3)
    with Board.over(VirtualBoard("rp2", tmp_path)) as board:
        assert board.status().digest == digest


def test_maintenance_leaves_word_and_restarts(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    transport = VirtualBoard("rp2")
    board = Board.over(transport)
    board.enter_maintenance()
    transport.sleep(0.5)
    assert transport.world.reset
    maintenance = type(transport.port).enter_maintenance.__globals__["maintenance"]
    assert maintenance.is_wanted(transport.profile)
    assert not maintenance.is_wanted(transport.profile)  # once
    transport.world.levels[13] = 1  # the button of this profile, held
    assert maintenance.is_wanted(transport.profile)


@pytest.mark.parametrize("kind", KINDS)
def test_the_self_test_finds_what_the_interrupts_cost(kind: str) -> None:
    profile = Profile()
    profile.LATE_US = 1000
    transport = VirtualBoard(kind, profile=profile, entry_ns=17000, soft_ns=40000)
    transport.world.wires[VALVE_PIN] = (BEAM_PIN, 0)
    with Board.over(transport) as board:
        found = measure(board, pulses=20, loads=("low",))
    result = found.loads["low"]
    assert result.stamp_error.count == result.flash_error.count == 20
    # The wire takes nothing: what the stamps differ by is the way into the interrupt, or until a soft handler's turn.
    # An output's stamp is taken one call (2 us) after its pin moved.
    aim = 17 if kind != "esp32" else 40
    assert abs(result.stamp_error.quantile(0.5) * 1e6 - aim) <= 25
    errors = sorted(result.flash_error.errors_s)
    ons = [on for on, _ in transport.world.pulses(FLASH_PIN)]
    sources = [on for on, _ in transport.world.pulses(VALVE_PIN)]
    delays = [found.delays_s[0]] * 16 + [found.delays_s[1]] * 4
    truth = sorted((f - s) / 1e9 - d for f, s, d in zip(ons, sources, delays, strict=True))
    assert all(abs(e - t) <= 8e-6 for e, t in zip(errors, truth, strict=True))


@pytest.mark.full
def test_under_garbage_collection_soft_interrupts_are_late_and_the_figures_show_it() -> None:
    profile = Profile()
    profile.LATE_US = 1000
    late = {}
    for kind in ("rp2", "esp32"):
        transport = VirtualBoard(kind, profile=profile)
        transport.world.wires[VALVE_PIN] = (BEAM_PIN, 0)
        with Board.over(transport) as board:
            transport.garbage_ns = 8 * MS
            found = measure(board, pulses=30, loads=("high",))
        assert found.loads["high"].questions > 10
        late[kind] = found.loads["high"].stamp_error.quantile(1.0)
    assert late["rp2"] < 100e-6
    assert late["esp32"] > 2e-3


def test_without_the_wire_the_self_test_says_where_it_goes() -> None:
    with Board.over(VirtualBoard("rp2")) as board, pytest.raises(MeasureError, match="jumper wire"):
        measure(board, pulses=5)
    transport = VirtualBoard("rp2")
    transport.world.levels[BEAM_PIN] = 1  # nothing connected: pulled up, dark
    with Board.over(transport) as board, pytest.raises(MeasureError, match="beam1.*valve1"):
        measure(board, pulses=5)
