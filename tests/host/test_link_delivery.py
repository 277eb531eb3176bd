"""Delivery between the host's link and the real firmware (in virtual time) over a line that is bad.

The firmware is the one that runs on a board; only the line between is made to lose, damage and chop.
"""

from __future__ import annotations

import random
from collections.abc import Callable

import pytest
from rigged_line import (
    CODEC,
    FLASH1,
    HZ,
    REST_S,
    ROWS,
    SETTINGS,
    TABLE,
    VALVE1,
    Line,
    QuietRig,
    Rigged,
    damage,
    lose_frames,
)

from beamfall.errors import BoardRestarted, LinkLost, NoAnswer, NotOpen, Refused, ReleaseUnknown
from beamfall.link import Link, LinkTiming, Report
from beamfall.link.delivery import ReportOrder, Verdict
from beamfall.sim.embedded import SimulatedTransport
from beamfall.wire import Message, make_table_messages


@pytest.mark.parametrize("seed", range(25))
def test_over_a_bad_line_each_thing_happens_once_and_is_told_once(seed: int) -> None:
    rigged = Rigged(timing=LinkTiming(tries=30, hello_tries=30))
    draw = random.Random(seed)
    rigged.line.to_board = damage(draw, 0.25)
    rigged.line.to_host = damage(draw, 0.25)
    rigged.line.most = draw.choice([1, 7, 64, 10_000])
    rigged.link.open()
    reports: list[Report] = []
    for shot in (1, 2, 3):
        rigged.upload()
        rigged.release(shot)
        reports += rigged.pump_until("shot_done")
        rigged.line.sleep(REST_S)
    numbers = [report.number for report in reports]
    assert numbers == list(range(numbers[0], numbers[0] + len(numbers)))
    done = [report["release"] for report in reports if report.name == "shot_done"]
    assert done == [1, 2, 3]
    assert rigged.rig.count_openings(VALVE1) == 3
    assert rigged.rig.count_openings(FLASH1) == 3
    # the line was bad indeed, and what was bad was counted
    counters = rigged.link.counters
    assert counters.retransmissions + counters.frames_bad_total + counters.reports_repeated > 0


def test_a_good_line_needs_no_repetition() -> None:
    rigged = Rigged()
    rigged.link.open()
    rigged.upload()
    rigged.release(1)
    reports = rigged.pump_until("shot_done")
    assert [report.number for report in reports] == [1, 2, 3, 4, 5]
    # The valve's edges come while the shot runs, the flash's after it.
    edges = [edge for report in reports if report.name == "edges" for edge in report["edges"]]
    assert [(edge.signal.name, edge.mark & 1, edge.ticks) for edge in edges] == [
        ("valve1", 1, ROWS[0][4]),
        ("valve1", 0, ROWS[0][4] + ROWS[0][5]),
        ("flash1", 1, ROWS[1][4]),
        ("flash1", 0, ROWS[1][4] + ROWS[1][5]),
    ]
    counters = rigged.link.counters
    assert counters.retransmissions == counters.frames_bad_total == counters.reports_repeated == 0
    status = rigged.link.request(Message("status", {}))
    assert status["reports_kept"] == 0


def test_a_release_whose_answer_is_lost_happens_once() -> None:
    rigged = Rigged()
    rigged.link.open()
    rigged.upload()
    rigged.line.to_host = lose_frames("done", times=3)
    assert rigged.release(1).name == "done"
    assert rigged.link.counters.retransmissions == 3
    rigged.pump_until("shot_done")
    assert rigged.rig.count_openings(VALVE1) == 1


def test_a_refusal_is_raised_in_the_definitions_words() -> None:
    rigged = Rigged()
    rigged.link.open()
    with pytest.raises(Refused) as caught:
        rigged.release(1)
    assert (caught.value.reason, caught.value.row) == ("no_table", None)
    late = [(*ROWS[0][:4], 0, ROWS[0][5]), ROWS[1]]
    table = make_table_messages(CODEC, SETTINGS, late)
    with pytest.raises(Refused) as caught:
        rigged.upload(table)
    assert (caught.value.row, caught.value.detail) == (0, rigged.link.welcome.earliest_ticks)


def steal_session(rigged: Rigged) -> None:
    """Another host opens a session of its own on the same board."""
    Link(rigged.line.inner, draw_session=lambda: 0xBEEF).open()


def test_a_session_lost_to_another_host_is_opened_again() -> None:
    rigged = Rigged()
    rigged.link.open()
    rigged.upload()
    steal_session(rigged)
    assert rigged.link.request(Message("status", {}))["table"].name == "ready"
    steal_session(rigged)
    assert rigged.release(1).name == "done"
    rigged.pump_until("shot_done")
    assert rigged.rig.count_openings(VALVE1) == 1
    assert rigged.link.counters.sessions == 3


def lose_the_answer(rigged: Rigged, *, and_then: Callable[[], object]) -> None:
    """Lose the next `done` on its way to the host; then do something to the board."""
    lose = lose_frames("done")

    def lose_once(data: bytes) -> bytes:
        kept = lose(data)
        if kept != data:
            rigged.line.to_host = bytes
            and_then()
        return kept

    rigged.line.to_host = lose_once


def test_a_release_settled_by_last_release_is_not_repeated() -> None:
    rigged = Rigged()
    rigged.link.open()
    rigged.upload()
    lose_the_answer(rigged, and_then=lambda: steal_session(rigged))
    assert rigged.release(1).name == "done"
    rigged.pump_until("shot_done")
    assert rigged.rig.count_openings(VALVE1) == 1


def test_a_release_lost_in_a_restart_is_unknown() -> None:
    rigged = Rigged()
    rigged.link.open()
    rigged.upload()
    lose_the_answer(rigged, and_then=rigged.line.inner.reset_board)
    with pytest.raises(ReleaseUnknown):
        rigged.release(1)
    assert rigged.link.counters.restarts == 1
    # and the link goes on in the new life
    assert rigged.link.request(Message("status", {}))["table"].name == "empty"


def test_a_restart_between_requests_is_seen() -> None:
    rigged = Rigged()
    before = rigged.link.open().boot_id
    rigged.upload()
    rigged.line.inner.reset_board()
    with pytest.raises(BoardRestarted):
        rigged.release(1)
    assert rigged.link.welcome.boot_id != before
    assert rigged.rig.count_openings(VALVE1) == 0


def test_a_drip_that_may_have_been_done_is_not_done_again() -> None:
    rigged = Rigged()
    rigged.link.open()
    lose_the_answer(rigged, and_then=lambda: steal_session(rigged))
    drip = Message("drip", {"output": VALVE1, "width_ticks": HZ // 100})
    with pytest.raises(NoAnswer):
        rigged.link.request(drip)
    assert rigged.rig.count_openings(VALVE1) == 1


def test_a_silent_board_is_given_up_after_the_tries_of_the_timing() -> None:
    rigged = Rigged(timing=LinkTiming(first_s=0.1, growth=3.0, longest_s=0.5, tries=4))
    rigged.link.open()
    rigged.line.to_board = lambda data: b""
    before = rigged.line.clock()
    with pytest.raises(NoAnswer, match=r"status.*\b4\b"):
        rigged.link.request(Message("status", {}))
    assert rigged.line.clock() - before == pytest.approx(0.1 + 0.3 + 0.5 + 0.5, abs=0.01)


def test_reports_lost_on_the_way_come_again_in_order() -> None:
    rigged = Rigged()
    rigged.link.open()
    rigged.upload()
    rigged.pump_until("state_changed")
    rigged.line.to_host = lose_frames("edges")
    rigged.release(1)
    reports = rigged.pump_until("shot_done")
    assert [report.name for report in reports] == [
        "state_changed", "edges", "edges", "shot_done",
    ]  # fmt: skip
    assert rigged.link.counters.reports_ahead == 2  # the board did not wait with what came after


def test_lost_acknowledgements_bring_repeats_that_are_not_delivered() -> None:
    rigged = Rigged()
    rigged.link.open()
    rigged.line.to_board = lose_frames("acknowledge", times=4)
    rigged.upload()
    rigged.release(1)
    reports = rigged.pump_until("shot_done")
    assert rigged.link.pump(3.0) == []
    assert [report.number for report in reports] == [1, 2, 3, 4, 5]
    assert rigged.link.counters.reports_repeated > 0
    assert rigged.link.request(Message("status", {}))["reports_kept"] == 0


def test_the_caller_can_acknowledge_only_what_it_has_stored() -> None:
    rigged = Rigged(acknowledge_on_receipt=False)
    rigged.link.open()
    rigged.upload()
    rigged.release(1)
    reports = rigged.pump_until("shot_done")
    status = Message("status", {})
    assert rigged.link.request(status)["reports_kept"] == 5
    rigged.link.acknowledge(reports[-1].number)
    assert rigged.link.request(status)["reports_kept"] == 0


def test_a_new_session_delivers_nothing_twice_and_nothing_too_little() -> None:
    rigged = Rigged()
    rigged.link.open()
    rigged.upload()
    rigged.line.to_board = lose_frames("acknowledge", times=100)
    rigged.release(1)
    first = rigged.pump_until("shot_done")
    rigged.line.to_board = bytes
    rigged.line.sleep(REST_S)
    rigged.link.open()
    rigged.release(2)
    second = rigged.pump_until("shot_done")
    numbers = [report.number for report in first + second]
    assert numbers == list(range(1, len(numbers) + 1))
    assert second[-1]["release"] == 2


def test_with_no_host_the_board_keeps_the_newest_shots_and_counts_the_rest() -> None:
    rigged = Rigged()
    boot_id = rigged.link.open().boot_id
    rigged.upload()
    shots = 120
    # Another link releases them and is deaf to reports, as a board released by a button would be.
    rigged.line.to_board = lose_frames("acknowledge", times=10_000)
    for shot in range(1, shots + 1):
        rigged.release(shot)
        rigged.line.sleep(3.0)
    host = Link(rigged.line.inner)
    assert host.open().boot_id == boot_id
    reports = []
    while found := host.pump(1.0):
        reports += found
    assert reports[0].name == "forgotten"
    assert reports[0]["shots"] > 0
    assert [r.number for r in reports[1:]] == list(
        range(reports[0].number + 1, reports[-1].number + 1)
    )
    kept = [report["release"] for report in reports if report.name == "shot_done"]
    assert kept == list(range(shots - len(kept) + 1, shots + 1))
    assert reports[0]["shots"] == shots - len(kept)


def test_a_cut_line_is_reported_and_reopened() -> None:
    rigged = Rigged()
    with pytest.raises(NotOpen):
        rigged.link.request(Message("status", {}))
    rigged.link.open()
    rigged.upload()
    rigged.line.broken = True
    with pytest.raises(LinkLost):
        rigged.link.request(Message("status", {}))
    with pytest.raises(NotOpen):
        rigged.link.pump(0.1)
    rigged.line.broken = False
    rigged.link.reopen()
    assert rigged.release(1).name == "done"


def test_a_link_that_can_reconnect_settles_a_release_by_itself() -> None:
    rig = QuietRig()
    inner = SimulatedTransport(rig, seed=1)
    lines = [Line(inner)]

    def reconnect() -> Line:
        lines.append(Line(inner))
        return lines[-1]

    link = Link(lines[0], reconnect=reconnect)
    welcome = link.open()
    for request in TABLE.requests:
        link.request(request)
    lose = lose_frames("done")

    def cut(data: bytes) -> bytes:
        if lose(data) == data:
            return data
        lines[0].broken = True
        raise LinkLost("the line is cut")

    lines[0].to_host = cut
    fields = {"boot_id": welcome.boot_id, "release": 1, "digest": TABLE.digest}
    assert link.request(Message("release", fields)).name == "done"
    assert (len(lines), link.counters.reconnections) == (2, 1)
    lines[1].sleep(1.0)
    assert rig.count_openings(VALVE1) == 1


def test_the_order_of_reports() -> None:
    order = ReportOrder()
    assert not order.begin(7, 5)
    assert order.take(6, None) is Verdict.AHEAD  # the welcome promised 5: it was lost on the line
    assert order.take(5, None) is Verdict.DELIVER
    assert order.take(5, None) is Verdict.REPEAT
    assert order.take(7, None) is Verdict.AHEAD
    assert order.take(9, 7) is Verdict.AHEAD  # forgotten 7 to 9: but 6 is still to come
    assert order.take(9, 6) is Verdict.DELIVER  # forgotten 6 to 9
    assert order.take(9, 6) is Verdict.REPEAT
    assert order.take(10, None) is Verdict.DELIVER
    assert not order.begin(7, 10)  # a new session in the same life goes on
    assert order.take(10, None) is Verdict.REPEAT
    assert order.begin(8, 1)  # after a restart counting starts again
    assert order.take(1, None) is Verdict.DELIVER
