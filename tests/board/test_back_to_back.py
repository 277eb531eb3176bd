"""The same statements about every board, through the public class and the real wire."""

from __future__ import annotations

import pytest

from beamfall.board import Board, Ticket
from beamfall.errors import Refused, SequenceError
from beamfall.events import EdgesSeen
from beamfall.setup.sequence import Row, Sequence

TWO_DROPS = Sequence(
    rows=(
        Row("release", 0, "valve1", 0.005, 0.013),
        Row("release", 0, "valve1", 0.115, 0.013),
        Row("beam1", 2, "flash1", 0.085, 0.002),
    ),
    window_s=1.5,
    tail_s=0.05,
    blanking_s=0.02,
)
NO_BEAM = Sequence(
    rows=(
        Row("release", 0, "valve1", 0.010, 0.020),
        Row("release", 0, "shutter", 0.005, 0.100),
        Row("release", 0, "flash1", 0.050, 0.002),
    )
)


def times(outcome, name, level):
    return [
        edge.ticks for edge in outcome.edges if edge.signal.name == name and edge.level == level
    ]


def test_the_board_says_what_it_is(board: Board) -> None:
    info = board.info
    assert info.clock_hz >= 1_000_000
    assert len(info.unique_id) == 8
    assert info.timing.name in ("hardware", "interrupt", "simulated")
    status = board.status()
    assert (status.state.name, status.activity.name) == ("idle", "none")


def test_rows_at_the_release_run_as_planned(board: Board) -> None:
    outcome = board.shoot(NO_BEAM)
    assert (outcome.done.state.name, outcome.complete) == ("fired", True)
    hz = board.info.clock_hz
    late = outcome.done.worst_late_ticks
    slack = (
        0 if board.info.timing.name == "simulated" else max(late, 1) + board.info.stamp_ticks + 4
    )
    for name, on_s, off_s in (
        ("valve1", 0.010, 0.030),
        ("shutter", 0.005, 0.105),
        ("flash1", 0.050, 0.052),
    ):
        (on,), (off,) = times(outcome, name, 1), times(outcome, name, 0)
        assert on == pytest.approx(on_s * hz, abs=slack)
        assert off == pytest.approx(off_s * hz, abs=slack)


@pytest.mark.usefixtures("rig_at_pins")
def test_the_flash_follows_the_second_drop_by_the_commanded_ticks(board: Board) -> None:
    outcome = board.shoot(TWO_DROPS)
    assert outcome.done.state.name == "fired", outcome.done
    dark = times(outcome, "beam1", 1)
    (flash,) = times(outcome, "flash1", 1)
    commanded = board.to_ticks(0.085)
    slack = (
        0
        if board.info.timing.name == "simulated"
        else outcome.done.worst_late_ticks + 2 * board.info.stamp_ticks
    )
    assert flash - dark[1] == pytest.approx(commanded, abs=slack)
    assert [edge.ticks for edge in outcome.edges] == sorted(edge.ticks for edge in outcome.edges)


@pytest.mark.usefixtures("rig_at_pins")
def test_ten_shots_are_ten_different_shots(board: Board) -> None:
    outcomes = [board.shoot(TWO_DROPS) for _ in range(10)]
    assert [outcome.done.release for outcome in outcomes] == sorted(
        {o.done.release for o in outcomes}
    )
    assert all(outcome.complete for outcome in outcomes)
    board.settle()


def test_nothing_in_the_beam_is_missed(board: Board) -> None:
    no_drops = Sequence(rows=(Row("beam1", 1, "flash1", 0.030, 0.002),), window_s=0.3)
    outcome = board.shoot(no_drops)
    assert (outcome.done.state.name, outcome.done.cause.name) == ("missed", "no_edge")
    assert times(outcome, "flash1", 1) == []


def test_an_abort_in_the_middle_leaves_everything_off(board: Board) -> None:
    long_shutter = Sequence(rows=(Row("release", 0, "shutter", 0.010, 3.0),))
    ticket = board.arm(long_shutter)
    board.release(ticket)
    board.sleep(0.2)
    assert board.status().activity.name == "shot"
    board.abort()
    outcome = board.wait_for(ticket)
    assert outcome.done.cause.name == "aborted"
    assert len(times(outcome, "shutter", 0)) == 1
    assert board.status().state.name == "idle"


def test_a_used_number_and_a_wrong_digest_are_refused(board: Board) -> None:
    ticket = board.arm(NO_BEAM)
    board.release(ticket)
    board.wait_for(ticket)
    with pytest.raises(Refused) as refusal:
        board.release(ticket)
    assert refusal.value.reason == "release_used"
    with pytest.raises(Refused) as refusal:
        board.release(Ticket(ticket.boot_id, ticket.release + 1, bytes(16)))
    assert refusal.value.reason == "wrong_digest"


def test_a_valve_open_too_long_never_reaches_the_board(board: Board) -> None:
    too_long = Sequence(rows=(Row("release", 0, "valve1", 0.010, 3.0),))
    with pytest.raises(SequenceError, match="valve1"):
        board.shoot(too_long)


def test_large_tables_cross_the_wire_in_parts(board: Board) -> None:
    count = min(40, board.info.rows_max)
    many = Sequence(
        rows=tuple(Row("release", 0, "valve1", 0.010 + 0.02 * i, 0.002) for i in range(count))
    )
    outcome = board.shoot(many)
    assert len(times(outcome, "valve1", 1)) == count
    assert outcome.complete


def test_service_actions_are_recorded(board: Board) -> None:
    drip = board.drip(1, 0.013)
    assert len(times(drip, "valve1", 1)) == 1
    flash = board.test_flash(1, 0.002)
    assert len(times(flash, "flash1", 1)) == 1
    asked: list[float] = []
    rinse = board.rinse(1, 0.5, confirm=lambda seconds: not asked.append(seconds))
    assert rinse is not None and asked == [0.5]
    assert times(rinse, "valve1", 0)[0] - times(rinse, "valve1", 1)[0] == pytest.approx(
        board.to_ticks(0.5), abs=board.info.clock_hz // 1000
    )
    assert board.rinse(1, 0.5, confirm=lambda seconds: False) is None


def test_a_sequence_is_kept_in_a_slot(board: Board) -> None:
    if not board.slots().most:
        pytest.skip("needs a board that keeps slots: this one, named by --port, has none")
    digest = board.upload(NO_BEAM)
    board.save_slot(2)
    board.upload(TWO_DROPS)
    board.load_slot(2)
    assert board.status().digest == digest
    assert 2 in {slot.slot for slot in board.slots().slots}
    board.erase_slot(2)
    assert 2 not in {slot.slot for slot in board.slots().slots}


@pytest.mark.usefixtures("rig_at_pins")
def test_the_beams_are_logged_with_no_sequence(board: Board) -> None:
    board.watch(True)
    board.sleep(0.2)
    board.watch(False)
    events = list(board.events(0.3))
    assert not [event for event in events if isinstance(event, EdgesSeen) and event.edges]


def test_damage_on_the_line_costs_a_repeat_and_nothing_else(board: Board) -> None:
    board.transport.write(b"\x05garbage\x00\x00\xff\xff\x00" + bytes(range(1, 255)) * 3 + b"\x00")
    assert board.shoot(NO_BEAM).done.state.name == "fired"
    assert board.status().frames_bad >= 2


def test_a_wait_shorter_than_a_tick_still_ends(board: Board) -> None:
    """A wait so short that it rounds to no time must still end."""
    for seconds in (1e-10, 0.1 + 1e-10, 1e-12):
        start = board.transport.clock()
        board.sleep(seconds)
        assert board.transport.clock() - start >= round(seconds, 9)


def test_a_host_that_falls_silent_leaves_nothing_on(port: str) -> None:
    """The cable is pulled, or the program dies, while the shutter is held open."""
    if not port.startswith("sim"):
        pytest.skip("a real board: somebody must pull its cable by hand")
    with Board.connect(port, seed=7) as board:
        board.set_host_timeout(0.5)
        board.release(board.arm(Sequence(rows=(Row("release", 0, "shutter", 0.010, 6.0),))))
        board.transport.sleep(2.0)  # time passes and this host says nothing
        status = board.status()
        assert (status.state.name, status.cause.name) == ("fault", "lost_host")
        board.abort()
        off = [
            edge
            for o in _outcomes(board)
            for edge in o.edges
            if edge.signal.name == "shutter" and not edge.level
        ]
        assert len(off) == 1 and off[0].ticks < board.to_ticks(2.0)


def _outcomes(board: Board):
    board.pump(0.5)
    return board.take_outcomes()
