"""The board's promises, checked on the real firmware source in virtual time."""

from __future__ import annotations

from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scripted import BEAM1, HZ, LIGHT1, MS, TWO_DROPS, WAITING, Bench, drop_edges

from beamfall.wire import get_definition
from beamfall_board.beams import Qualifier
from beamfall_board.readings import OPENINGS, READINGS, Openings


def test_a_two_drop_shot_is_recorded_whole_and_the_flash_follows_the_second_drop_exactly() -> None:
    bench = Bench()
    answer, digest = bench.upload(TWO_DROPS, **WAITING)
    assert answer.name == "done"
    drop_edges(bench, 300.123456, 380.0)
    zero = bench.now
    assert bench.release(digest).name == "done"
    bench.run(1.5)
    states = [(str(m["state"].name), int(m["ticks"])) for m in bench.named("state_changed")]
    second = round(380.0 * MS)
    assert states[-2:] == [("armed_for_sensor", 0), ("fired", second)]
    flash = [edge for edge in bench.edges() if edge[1] == 4]
    assert flash == [(second + 30 * MS, 4, 1), (second + 31 * MS, 4, 0)]
    assert bench.rig.pulses(4) == [(zero + second + 30 * MS, zero + second + 31 * MS)]
    (done,) = bench.named("shot_done")
    assert (done["state"].name, done["cause"].name, done["beam1_counted"]) == ("fired", "none", 2)
    assert done["edges"] == len(bench.edges()) == 10
    assert bench.edges() == sorted(bench.edges(), key=lambda edge: edge[0])


def test_no_edge_in_the_window_is_missed_with_all_outputs_off() -> None:
    bench = Bench()
    _, digest = bench.upload(
        [*TWO_DROPS[:2], (0, 0, 8, 500 * MS, 3000 * MS), TWO_DROPS[2]], **WAITING
    )
    bench.release(digest)
    bench.run(1.2)
    (done,) = bench.named("shot_done")
    assert (done["state"].name, done["cause"].name) == ("missed", "no_edge")
    # The shutter was still open when the window closed: it is closed then, and the record says so.
    assert [edge for edge in bench.edges() if edge[1] == 8] == [(500 * MS, 8, 1), (1000 * MS, 8, 0)]
    assert bench.ask("status")["state"].name == "missed"


def test_one_edge_of_two_is_missed_and_what_was_seen_is_reported() -> None:
    bench = Bench()
    _, digest = bench.upload(TWO_DROPS, **WAITING)
    drop_edges(bench, 300.0)
    bench.release(digest)
    bench.run(1.2)
    (done,) = bench.named("shot_done")
    assert (done["cause"].name, done["beam1_counted"]) == ("few_edges", 1)
    assert [edge for edge in bench.edges() if edge[1] == BEAM1] == [
        (300 * MS, BEAM1, 1),
        (302 * MS + MS // 2, BEAM1, 0),
    ]


@pytest.mark.parametrize("after_ms", [0, 0.5, 10, 50, 85, 350, 400, 405, 410.5])
def test_abort_at_any_moment_puts_all_outputs_off_at_once(after_ms: float) -> None:
    bench = Bench()
    _, digest = bench.upload(TWO_DROPS, **WAITING)
    drop_edges(bench, 300.0, 380.0)
    bench.release(digest)
    bench.transport.sleep(after_ms / 1000)
    when = bench.now
    assert bench.ask("abort").name == "done"
    assert bench.now == when
    for signal in range(1, 9):
        assert all(off != -1 and off <= when for _, off in bench.rig.pulses(signal))
    before = len(bench.rig.outputs)
    bench.run(1.0)
    assert len(bench.rig.outputs) == before, "nothing moves after an abort"
    status = bench.ask("status")
    assert (status["state"].name, status["cause"].name) == ("idle", "aborted")
    (done,) = bench.named("shot_done")
    assert done["cause"].name == "aborted"


def test_a_release_happens_once_however_often_it_is_sent() -> None:
    bench = Bench()
    _, digest = bench.upload(TWO_DROPS, **WAITING)
    bench.number += 1
    frame = bench.frame(
        "release", bench.number, boot_id=bench.welcome["boot_id"], release=1, digest=digest
    )
    bench.send(frame * 3)
    bench.run(0.2)
    bench.send(frame)
    bench.run(1.5)
    assert len(bench.rig.pulses(1)) == 2
    refusal = bench.release(digest, release=1)
    assert (refusal["reason"].name, refusal["detail"]) == ("release_used", 1)


@pytest.mark.parametrize(
    ("changes", "reason"),
    [({"boot_id": 1}, "wrong_boot"), ({"digest": bytes(16)}, "wrong_digest"), ({"release": 0}, "release_used")],
)  # fmt: skip
def test_a_release_that_names_the_wrong_thing_is_refused_and_nothing_moves(changes, reason) -> None:
    bench = Bench()
    _, digest = bench.upload(TWO_DROPS, **WAITING)
    answer = bench.release(digest, changes=changes)
    bench.run(0.5)
    assert (answer["reason"].name, bench.rig.outputs) == (reason, [])


def test_a_half_uploaded_table_cannot_be_released() -> None:
    bench = Bench()
    _, digest = bench.upload(TWO_DROPS, **WAITING)
    assert bench.begin(digest, rows=3, **WAITING).name == "done"
    bench.ask("table_rows", first=0, rows=[(0, 0, 1, 0, 1 * MS, 20 * MS)])
    assert bench.release(digest)["reason"].name == "no_table"
    refusal = bench.ask("table_commit")
    assert (refusal["reason"].name, refusal["detail"]) == ("table_incomplete", 1)
    assert bench.rig.outputs == []


def test_a_row_damaged_on_the_way_in_is_caught_by_the_digest() -> None:
    bench = Bench()
    answer, digest = bench.upload(TWO_DROPS, **WAITING)
    bench.begin(digest, rows=3, **WAITING)
    rows = [
        (anchor, count, output, 0, delay, width)
        for anchor, count, output, delay, width in TWO_DROPS
    ]
    rows[1] = (0, 0, 1, 0, 81 * MS, 20 * MS)
    bench.ask("table_rows", first=0, rows=rows)
    assert bench.ask("table_commit")["reason"].name == "wrong_digest"


REFUSED_TABLES = {
    "an output that is not there": ([(0, 0, 12, MS, MS)], {}, "bad_output"),
    "a valve on the beam": ([(1, 1, 1, MS, MS)], WAITING, "bad_anchor"),
    "a count at the release": ([(0, 1, 1, MS, MS)], {}, "bad_anchor"),
    "a valve open too long": ([(0, 0, 1, MS, 201 * MS)], {}, "width_too_long"),
    "a flash contact closed too long": ([(0, 0, 4, MS, 21 * MS)], {}, "width_too_long"),
    "no width": ([(0, 0, 1, MS, 0)], {}, "zero_width"),
    "overlapping rows": ([(0, 0, 1, MS, 20 * MS), (0, 0, 1, 10 * MS, 20 * MS)], {}, "overlap"),
    "the same row twice": ([(0, 0, 1, MS, 20 * MS), (0, 0, 1, MS, 20 * MS)], {}, "overlap"),
    "openings too close": ([(0, 0, 1, MS, 20 * MS), (0, 0, 1, 21 * MS + MS // 2, 20 * MS)], {}, "overlap"),
    "rows out of order": ([(0, 0, 1, 90 * MS, MS), (0, 0, 1, MS, MS)], {}, "not_ordered"),
    "flashes too close": ([(0, 0, 4, MS, MS), (0, 0, 4, 20 * MS, MS)], {}, "flash_spacing"),
    "flashes of two edges that may come close": (
        [(1, 1, 4, MS, MS), (1, 2, 4, 2 * MS, MS)], WAITING, "flash_spacing"),
    "one flash on two anchors": ([(0, 0, 4, MS, MS), (1, 1, 4, 100 * MS, MS)], WAITING, "bad_anchor"),
    "too early": ([(0, 0, 1, 10, MS)], {}, "too_early"),
    "before its dwell": ([(1, 1, 4, MS, MS)], {**WAITING, "dwell_ticks": 2 * MS}, "before_dwell"),
    "no window": ([(1, 1, 4, MS, MS)], {"await1": 1}, "window_missing"),
    "a window and nothing awaited": ([(0, 0, 1, MS, MS)], {"window_ticks": MS}, "window_missing"),
    "an edge that is not awaited": ([(1, 3, 4, MS, MS)], WAITING, "window_missing"),
    "a window too long": ([(1, 1, 4, MS, MS)], {"await1": 1, "window_ticks": 5001 * MS}, "beyond_horizon"),
    "beyond the horizon": ([(0, 0, 8, 8590 * MS, MS)], {}, "beyond_horizon"),
    "over the duty": ([(0, 0, 1, (1 + 210 * i) * MS, 200 * MS) for i in range(16)], {}, "duty"),
}  # fmt: skip


@pytest.mark.parametrize("case", REFUSED_TABLES)
def test_a_table_outside_the_limits_is_refused_by_name(case: str) -> None:
    rows, changes, reason = REFUSED_TABLES[case]
    bench = Bench()
    answer, digest = bench.upload(rows, **changes)
    assert answer.name == "refused", case
    assert answer["reason"].name == reason
    assert bench.release(digest)["reason"].name == "no_table"
    assert bench.rig.outputs == []


def test_more_rows_than_the_board_holds_are_refused_with_how_many_it_holds() -> None:
    bench = Bench()
    answer, _ = bench.upload([(0, 0, 1, (10 * i + 1) * MS, MS) for i in range(65)])
    assert (answer["reason"].name, answer["detail"]) == ("too_many_rows", 64)


def test_a_dark_beam_is_refused_before_anything_moves() -> None:
    bench = Bench()
    _, digest = bench.upload(TWO_DROPS, **WAITING)
    bench.rig.levels[BEAM1] = 1
    answer = bench.release(digest)
    assert (answer["reason"].name, answer["detail"]) == ("beam_blocked", 1)
    assert bench.rig.outputs == []


def test_releases_in_a_row_keep_the_duty_and_say_how_long_to_wait() -> None:
    bench = Bench()
    # 2.8 s of the 3 s that 10 s allow.
    rows = [(0, 0, 1, (1 + 210 * i) * MS, 200 * MS) for i in range(14)]
    _, digest = bench.upload(rows)
    assert bench.release(digest, 1).name == "done"
    bench.run(3.2)
    answer = bench.release(digest, 2)
    assert answer["reason"].name == "too_soon"
    # The first opening of the second shot may begin while 0.2 s of the share are left, so 9.8 s after that of the
    # first; the board may ask for up to a quarter of a second more.
    assert 9800 - 3200 <= answer["detail"] <= 9800 - 3200 + 255
    bench.run(answer["detail"] / 1000)
    assert bench.release(digest, 2).name == "done"


def test_satellites_in_the_blanking_are_not_counted_and_delay_nothing() -> None:
    bench = Bench()
    _, digest = bench.upload(TWO_DROPS, **WAITING, blanking_ticks=20 * MS)
    drop_edges(bench, 300.0, 305.0, 312.0, 380.0, dwell_ms=1.0)
    bench.release(digest)
    bench.run(1.5)
    (done,) = bench.named("shot_done")
    assert (done["beam1_counted"], done["beam_edges_ignored"]) == (2, 2)
    assert [edge[0] for edge in bench.edges() if edge[1:] == (4, 1)] == [380 * MS + 30 * MS]


def test_shadows_shorter_than_the_dwell_are_not_counted_and_delays_run_from_the_edge() -> None:
    bench = Bench()
    _, digest = bench.upload(TWO_DROPS, **WAITING, dwell_ticks=MS)
    drop_edges(bench, 250.0, dwell_ms=0.9)
    drop_edges(bench, 300.0, 380.0, dwell_ms=2.5)
    bench.release(digest)
    bench.run(1.5)
    (done,) = bench.named("shot_done")
    assert (done["beam1_counted"], done["beam_edges_ignored"]) == (2, 1)
    assert [edge[0] for edge in bench.edges() if edge[1:] == (4, 1)] == [380 * MS + 30 * MS]


def test_beam_edges_are_logged_with_no_sequence_over_more_than_one_count_of_the_clock() -> None:
    bench = Bench()
    bench.ask("watch", on=1)
    zero = bench.now
    wanted = []
    for second in (1, 4, 8, 9, 13, 17, 18, 30):  # 2^30 ticks are 8.6 s
        bench.rig.at(zero + second * HZ, BEAM1, 1)
        bench.rig.at(zero + second * HZ + 2 * MS, BEAM1, 0)
        wanted += [second * HZ, second * HZ + 2 * MS]
    bench.run(31)
    bench.ask("watch", on=0)
    bench.run(0.1)
    seen = [m["base_ticks"] + edge.ticks for m in bench.named("edges") for edge in m["edges"]]
    assert seen == wanted
    (done,) = bench.named("shot_done")
    assert (done["activity"].name, done["edges"]) == ("watch", 16)


def test_a_rinse_needs_its_token_and_keeps_to_its_limit() -> None:
    bench = Bench()
    refusal = bench.ask("rinse", output=1, width_ms=2000, token=0)
    assert refusal["reason"].name == "unconfirmed"
    assert (
        bench.ask("rinse", output=1, width_ms=2500, token=refusal["detail"])["reason"].name
        == "unconfirmed"
    )
    again = bench.ask("rinse", output=1, width_ms=2000, token=0)
    assert bench.ask("rinse", output=1, width_ms=2000, token=again["detail"]).name == "done"
    bench.run(4)
    ((on, off),) = bench.rig.pulses(1)
    assert off - on == 2000 * MS
    assert bench.ask("rinse", output=1, width_ms=5001, token=0)["reason"].name == "over_limit"
    assert bench.ask("drip", output=1, width_ticks=201 * MS)["reason"].name == "over_limit"


def test_drip_and_test_flash_are_single_and_recorded() -> None:
    bench = Bench()
    drop_edges(bench, 250.0)
    assert bench.ask("drip", output=1, width_ticks=20 * MS).name == "done"
    bench.run(2.0)
    assert bench.ask("test_flash", output=4, width_ticks=MS).name == "done"
    bench.rig.at(bench.now + MS, LIGHT1, 1)
    bench.run(0.5)
    drip, flash = bench.named("shot_done")
    assert (drip["activity"].name, drip["edges"], drip["beam1_counted"]) == ("drip", 4, 1)
    assert (flash["activity"].name, flash["edges"]) == ("test_flash", 3)
    assert len(bench.rig.pulses(1)) == len(bench.rig.pulses(4)) == 1


def test_a_silent_host_ends_the_shot_when_it_has_asked_for_that() -> None:
    bench = Bench()
    bench.ask("set_host_timeout", timeout_ms=200)
    _, digest = bench.upload([(0, 0, 8, MS, 7000 * MS)])
    bench.release(digest)
    bench.transport.sleep(3.0)
    ((on, off),) = bench.rig.pulses(8)
    assert off - on < 1300 * MS
    status = bench.ask("status")
    assert (status["state"].name, status["cause"].name) == ("fault", "lost_host")
    assert bench.release(digest, 2)["reason"].name == "in_fault"
    bench.ask("abort")
    assert bench.release(digest, 2).name == "done"


def test_an_exception_inside_a_shot_puts_the_outputs_off_and_is_reported_in_words() -> None:
    bench = Bench()
    _, digest = bench.upload([(0, 0, 8, MS, 3000 * MS)])
    bench.release(digest)
    bench.transport.sleep(0.5)
    controller = bench.board.controller
    original = controller._step_end
    controller._step_end = lambda: 1 // 0
    bench.run(0.01)
    controller._step_end = original
    ((_, off),) = bench.rig.pulses(8)
    assert off != -1
    bench.run(0.3)
    assert "ZeroDivisionError" in bench.named("trouble")[0]["text"]
    status = bench.ask("status")
    assert (status["state"].name, status["cause"].name) == ("fault", "internal")


@given(
    st.lists(st.integers(1, 40), min_size=1, max_size=60), st.integers(0, 60), st.integers(0, 30)
)
def test_the_qualifier_agrees_with_the_rule_as_the_specification_words_it(
    gaps, blanking, dwell
) -> None:
    times, level, edges = 0, 0, []
    for gap in gaps:
        times, level = times + gap, 1 - level
        edges.append((times, level))
    end = times + 1000
    wanted: list[int] = []
    for index, (ticks, now) in enumerate(edges):
        following = edges[index + 1][0] if index + 1 < len(edges) else end
        blanked = bool(wanted) and ticks - wanted[-1] < blanking
        if now == 1 and not blanked and following - ticks >= dwell:
            wanted.append(ticks)
    qualifier = Qualifier()
    qualifier.start(1, blanking, dwell)
    got: list[int] = []
    for ticks, now in [*edges, (end, 0)]:
        before = qualifier.count
        qualifier.settle(ticks)
        if qualifier.count > before:
            got.append(qualifier.ticks)
            before = qualifier.count
        qualifier.feed(now, ticks)
        if qualifier.count > before:
            got.append(qualifier.ticks)
    assert got == wanted


def test_a_shot_of_the_button_does_not_wait_for_a_host_that_has_left() -> None:
    bench = Bench()
    bench.ask("set_host_timeout", timeout_ms=200)
    bench.upload([(0, 0, 8, MS, 3000 * MS)])
    start = bench.now + MS
    for offset, level in ((0, 1), (100, 0)):
        bench.rig.at(start + offset * MS, 12, level)
    bench.transport.sleep(4.0)
    ((on, off),) = bench.rig.pulses(8)
    assert off - on == 3000 * MS


def test_openings_close_to_each_other_share_their_readings() -> None:
    assert get_definition().messages["readings_are"].tail.max == READINGS
    openings = Openings(1_000_000)
    reach = openings.length

    def plan(*delays: int) -> list[int]:
        rows = [(0, 1, delay) for delay in delays] + [(0, 4, 100_000), (1, 4, 200)]
        columns = zip(*rows, strict=True)
        openings.plan(
            SimpleNamespace(
                rows=len(rows), **dict(zip(("anchor", "output", "delay"), columns, strict=True))
            )
        )
        return list(openings.starts[: openings.count])

    assert plan(125, 60_000) == [0, 56_000]
    assert plan(10_000, 14_000) == [6000], "the second is within the first's readings"
    assert plan(10_000, 6000 + reach + 1) == [6000, 6000 + reach], "less before it, but before it"
    assert len(plan(*range(10_000, 310_000, 50_000))) == OPENINGS
