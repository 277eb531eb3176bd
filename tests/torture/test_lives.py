"""A host through several lives of its board, and after other programs: each test is a fault that was found and
mended."""

from __future__ import annotations

from typing import Any

import pytest
from line import BadLine, TruthRig

from beamfall.board import Board
from beamfall.errors import BoardRestarted, LinkLost, Refused, ReleaseUnknown, ShotError
from beamfall.link import Link, LinkTiming
from beamfall.link.delivery import Origin, ReportOrder, Verdict
from beamfall.setup.sequence import Row, Sequence
from beamfall.sim.embedded import SimulatedTransport
from beamfall.wire import Frame, Framer, Message, get_codec

CODEC = get_codec()
SHOT = Sequence(rows=(Row("release", 0, "shutter", 0.002, 0.02),), tail_s=0.002)
TIMING = LinkTiming(first_s=0.05, longest_s=0.2, tries=4, hello_tries=4, reconnect_s=0.5)


def make_line() -> BadLine:
    return BadLine(SimulatedTransport(TruthRig(), seed=1))


def make_board(line: BadLine, **options: Any) -> Board:
    link = Link(line, timing=TIMING, acknowledge_on_receipt=False, **options)
    link.open()
    return Board(link)


def count_shots(line: BadLine) -> int:
    rig: Any = line.inner.rig
    return len([pulse for pulse in rig.pulses if pulse[1] == 8])


def test_after_a_restart_reports_are_acknowledged_by_their_new_numbers() -> None:
    """The old fault: the count of the old life was used in the new one, and nothing was acknowledged until it had
    caught up."""
    line = make_line()
    board = make_board(line)
    for _ in range(5):
        board.shoot(SHOT)
        board.settle()
    line.reset()
    with pytest.raises(BoardRestarted):
        board.shoot(SHOT)
    board.settle()
    board.shoot(SHOT)
    board.settle()
    assert board.status().reports_kept == 0


def test_after_an_unknown_release_the_next_shot_is_uploaded_again() -> None:
    """The old fault: the host took the table for ready in the board's new life, and every later release was refused as
    wrong-boot."""
    line = make_line()
    board = make_board(line)
    ticket = board.arm(SHOT)
    line.to_host.append(("reset", 0))
    line.to_host.append(("lose", 0))
    line.to_board.append(("reset_after", 0))
    with pytest.raises(ReleaseUnknown):
        board.release(ticket)
    line.heal()
    assert board.shoot(SHOT).done.state.name == "fired"


def test_a_shot_of_an_earlier_life_is_not_taken_for_one_of_the_same_number() -> None:
    line = make_line()
    board = make_board(line)
    ticket = board.arm(SHOT)
    board.release(ticket)
    board.sleep(0.5)  # its outcome has come; nobody has asked for it
    line.reset()
    with pytest.raises(BoardRestarted):
        board.status()
    second = board.arm(SHOT)
    assert (second.release, second.boot_id != ticket.boot_id) == (1, True)
    board.release(second)
    assert board.wait_for(second).boot_id == second.boot_id
    assert [outcome.boot_id for outcome in board.take_outcomes()] == [ticket.boot_id]


def test_an_outcome_that_the_board_had_no_room_for_is_not_waited_for_for_ever() -> None:
    """The old fault: reports that the host held back counted as still to come."""
    line = make_line()
    board = make_board(line)
    board.shoot(SHOT)  # its reports are held, not settled
    ticket = board.arm(SHOT)
    board.release(ticket)
    line.inner.sleep(0.1)
    line.inner._channel.to_host.clear()
    store = line.inner._board.store
    for _ in range(200):
        store.add(0x84, b"\x28" + b"x" * 40, 0, 41)
    with pytest.raises(ShotError, match=r"\b2\b"):
        board.wait_for(ticket)


def test_a_release_without_an_answer_is_settled_in_a_new_session() -> None:
    line = make_line()
    board = make_board(line)
    ticket = board.arm(SHOT)
    passing, left = line._pass, [TIMING.tries]
    done = CODEC.definition.messages["done"].id

    def lose_answers(frame: bytes, plan: Any, held: list[bytes]) -> list[bytes]:
        for found in Framer(CODEC.definition).feed(frame):
            if isinstance(found, Frame) and found.message == done and left[0]:
                left[0] -= 1
                return []
        return passing(frame, plan, held)

    line._pass = lose_answers  # type: ignore[method-assign]
    board.release(ticket)
    assert board.wait_for(ticket).done.release == 1
    assert count_shots(line) == 1
    assert board.counters.sessions == 2


def test_a_release_that_cannot_even_be_asked_about_is_unknown_and_can_be_settled_later() -> None:
    line = make_line()
    board = make_board(line)
    ticket = board.arm(SHOT)
    line.to_board.append(("unplug", 0))  # behind the frame
    with pytest.raises(ReleaseUnknown) as caught:
        board.release(ticket)
    assert isinstance(caught.value.__cause__, LinkLost)
    line.heal()
    assert board.link.settle_release(ticket.boot_id, ticket.release)


def test_a_release_of_another_program_is_not_taken_for_a_lost_one_of_the_same_number() -> None:
    """The old fault: its number was on the board, so the lost release was said to have run."""
    line = make_line()
    board = make_board(line, reconnect=line.open)
    ticket = board.arm(SHOT)
    other = make_board(line)
    longer = Sequence(rows=(Row("release", 0, "shutter", 0.002, 0.03),), tail_s=0.002)
    assert other.shoot(longer).done.release == ticket.release
    line.to_board.extend([("lose", 0)] * TIMING.tries)
    with pytest.raises(ReleaseUnknown):
        board.release(ticket)
    assert count_shots(line) == 1


def test_a_board_that_restarts_while_a_lost_release_is_settled_is_not_said_to_have_refused_it() -> (
    None
):
    line = make_line()
    board = make_board(line, reconnect=line.open)
    ticket = board.arm(SHOT)
    settle = board.link.settle_release

    def settle_and_restart(*asked: Any) -> bool:
        ran = settle(*asked)
        line.reset()
        return ran

    board.link.settle_release = settle_and_restart  # type: ignore[method-assign]
    line.to_board.append(("unplug", 0))  # behind the frame
    with pytest.raises(ReleaseUnknown):
        board.release(ticket)


def test_reports_that_went_to_another_program_are_said_to_be_missing() -> None:
    """The old fault: the first program waited for them for ever and read no more reports."""
    line = make_line()
    board = make_board(line)
    board.shoot(SHOT)
    board.settle()
    other = make_board(line)
    other.shoot(SHOT)
    other.settle()
    line.inner.sleep(0.1)
    with pytest.raises(Refused) as refused:
        board.shoot(SHOT)  # the other program took that number; from now on it is known
    assert refused.value.reason == "release_used"
    assert board.shoot(SHOT).done.release == 3
    assert [one.origin for one in board.troubles] == [Origin.TAKEN]


def test_a_drip_before_a_restart_is_not_called_undone() -> None:
    line = make_line()
    board = make_board(line)
    line.to_board.append(("reset_after", 0))
    line.to_board.append(("pass", 0))
    drip = Message("drip", {"output": 1, "width_ticks": 1_000_000})
    with pytest.raises(BoardRestarted) as caught:
        board.link.request(drip)
    assert caught.value.perhaps_done
    line.reset()  # now the board refuses the old session, so the request was certainly not carried out
    with pytest.raises(BoardRestarted) as caught:
        board.link.request(drip)
    assert not caught.value.perhaps_done


def test_a_report_that_cannot_be_read_is_said_in_its_place() -> None:
    line = make_line()
    board = make_board(line)
    store = line.inner._board.store
    store.add(0x84, b"\x03ab", 0, 3)  # a text shorter than its length
    store.add(0x84, b"\x01x", 0, 2)
    board.pump(0.1)
    assert [one.origin for one in board.troubles] == [Origin.UNREADABLE, Origin.BOARD]


def test_troubles_without_end_do_not_fill_memory() -> None:
    line = make_line()
    board = make_board(line)
    store = line.inner._board.store
    for _ in range(150):
        for _ in range(20):
            store.add(0x84, b"\x01x", 0, 2)
        board.pump(0.1)
        board.settle()
    assert 900 < len(board.troubles) <= 1000


def test_a_new_life_seen_by_the_link_alone_is_not_acknowledged_by_the_old_numbers() -> None:
    """The old fault: after a request over `board.link` had found the restart, the old count was used in the new
    life."""
    line = make_line()
    board = make_board(line)
    for _ in range(3):
        board.shoot(SHOT)  # held, not settled
    line.reset()
    with pytest.raises(BoardRestarted):
        board.link.request(Message("status", {}))
    store = line.inner._board.store
    for _ in range(20):
        store.add(0x84, b"\x01x", 0, 2)
    board.settle()
    line.inner.read(0.0)
    assert store.count == 20


def test_a_forgotten_report_that_is_lost_on_the_line_is_not_blamed_on_another_program() -> None:
    order = ReportOrder()
    order.begin(7, 1)
    assert order.take(1, None) is Verdict.DELIVER
    # The board forgot 2 to 9; that report is lost on the line, the next one comes.
    order.begin(7, 9)
    assert order.take(10, None) is Verdict.AHEAD
    assert order.take(9, 2) is Verdict.DELIVER
    assert order.skipped is None
    order.begin(7, 15)  # 10 to 14 went elsewhere
    assert order.take(16, None) is Verdict.AHEAD
    assert order.take(15, None) is Verdict.DELIVER
    assert order.skipped == (10, 14)
    order.begin(7, 20)  # 16 to 19 went elsewhere, and then 20 to 25 were forgotten
    assert order.take(25, 20) is Verdict.DELIVER
    assert (order.skipped, order.expected) == ((16, 19), 26)
