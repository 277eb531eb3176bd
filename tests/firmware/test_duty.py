"""In no window of the duty's length is a valve open for more than its share, judged at the pins to the tick.

This holds whatever the openings are, and however shots, service actions, aborts and waits divide them. Only a rinse may
be longer than the share, and then its window has nothing else in it.
"""

from __future__ import annotations

import itertools

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from scripted import HZ, MS, Bench
from tiers import examples

from beamfall.sim.firmware_modules import load_firmware
from beamfall_board.budget import Budget
from beamfall_board.table import Table
from boards import simulated as profile

WINDOW = profile.DUTY_WINDOW_MS * MS
MOST = WINDOW * profile.DUTY_PERCENT // 100
GAP = profile.VALVE_GAP_US * MS // 1000
HORIZON = 2**30 - 1
# A window begins anywhere in a part of the record of openings: what is asked to wait may be asked that much too much.
PART_MS = 250

Pulses = list[tuple[int, int]]


def open_in(pulses: Pulses, start: int) -> tuple[int, int]:
    """How long a valve was open in the window from `start` on, and in how many openings."""
    inside = [min(off, start + WINDOW) - max(on, start) for on, off in pulses]
    return sum(one for one in inside if one > 0), sum(one > 0 for one in inside)


def judge_duty(pulses: Pulses) -> int:
    """The longest that a valve was open in any window. The worst window begins or ends with an opening."""
    most = 0
    for start in itertools.chain.from_iterable((on, off - WINDOW) for on, off in pulses):
        total, openings = open_in(pulses, start)
        if openings > 1:
            assert total <= MOST, f"{total / MS} ms in the window from {start / MS} ms on"
        most = max(most, total)
    return most


def openings(count: int, width: int, start: int, gap: int = GAP) -> list[tuple[int, ...]]:
    """As many rows of valve 1 as the limits of one table allow, one right after the other."""
    rows: list[tuple[int, ...]] = []
    for number in range(count):
        delay = start + number * (width + gap)
        if (number + 1) * width > MOST or delay + width > HORIZON - 5 * MS:
            break
        rows.append((0, 0, 1, delay, width))
    return rows


class Series:
    """Releases and service actions one after the other; where the board asks to wait, the host waits that long."""

    def __init__(self) -> None:
        self.bench = Bench()
        self.release = 0
        self.waited: list[int] = []

    def run_out(self) -> None:
        while self.bench.ask("status")["activity"]:
            self.bench.run(0.025)

    def _waiting(self, ask) -> None:
        for _ in range(4):
            answer = ask()
            if answer.name == "done":
                return
            assert answer["reason"].name == "too_soon", answer
            self.waited.append(answer["detail"])
            assert answer["detail"] <= profile.DUTY_WINDOW_MS + PART_MS + 1
            self.bench.run(answer["detail"] / 1000)
        raise AssertionError("what the board asked to wait was not enough")

    def shoot(self, rows: list[tuple[int, ...]], abort_ms: int | None = None) -> None:
        answer, digest = self.bench.upload(rows, tail_ticks=0)
        assert answer.name == "done", answer
        self.release += 1
        self._waiting(lambda: self.bench.release(digest, self.release))
        self._end(abort_ms)

    def _end(self, abort_ms: int | None) -> None:
        if abort_ms is not None:
            self.bench.run(abort_ms / 1000)
            self.bench.ask("abort")
        self.run_out()

    def drip(self, width: int) -> None:
        self._waiting(lambda: self.bench.ask("drip", output=1, width_ticks=width))
        self.run_out()

    def rinse(self, width_ms: int, abort_ms: int | None = None) -> None:
        def ask():
            token = self.bench.ask("rinse", output=1, width_ms=width_ms, token=0)["detail"]
            return self.bench.ask("rinse", output=1, width_ms=width_ms, token=token)

        self._waiting(ask)
        self._end(abort_ms)

    def restart(self, into_ms: int | None = None) -> None:
        """Restart the board with its supply on: at rest, or that long into an opening of its own."""
        if into_ms is not None:
            self._waiting(lambda: self.bench.ask("drip", output=1, width_ticks=200 * MS))
            self.bench.run(into_ms / 1000)
        self.bench.restart()
        self.release = 0

    def most(self) -> int:
        return judge_duty(self.bench.rig.pulses(1))


LATE = openings(15, 199 * MS, 5400 * MS, GAP + 1)
EARLY = openings(12, 199 * MS, 1 * MS, GAP + 1)


def run_late_then_early() -> int:
    """The most unfavourable tables: openings at the end of one and at the start of those after it."""
    series = Series()
    series.shoot(LATE)
    for _ in range(4):
        series.shoot(EARLY)
    return series.most()


def test_openings_late_in_one_shot_and_early_in_the_next_keep_the_share() -> None:
    """A fault of an earlier version: 5.37 s in 10 s, where the limit was 3.00 s."""
    assert run_late_then_early() > 0.9 * MOST, "it comes near the limit, or it shows nothing"


def run_with_restarts() -> int:
    series = Series()
    for into_ms in (None, 150, None, 1):
        series.shoot(EARLY)
        series.restart(into_ms)
    series.shoot(EARLY)
    return series.most()


def test_a_restart_with_the_supply_on_forgets_no_opening() -> None:
    """At rest, and with a valve open, as after the watchdog. After a loss of supply somebody has to switch the board on
    again, which takes long enough."""
    assert run_with_restarts() > 0.7 * MOST


def test_a_restart_that_follows_little_keeps_nobody_waiting() -> None:
    series = Series()
    for _ in range(8):
        series.shoot([(0, 0, 1, MS, 50 * MS), (0, 0, 1, 120 * MS, 50 * MS)])
        series.restart()
    assert series.waited == []


@pytest.mark.full
def test_the_judgement_can_fail(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without memory over shots, without memory over restarts, and with one that forgets a little too soon."""
    controller = load_firmware().board.__init__.__globals__["Controller"]
    board_budget = controller.__init__.__globals__["Budget"]
    with monkeypatch.context() as patch:
        patch.setattr(board_budget, "_charge", lambda *arguments: None)
        with pytest.raises(AssertionError, match="in the window"):
            run_late_then_early()
    with monkeypatch.context() as patch:
        patch.setattr(board_budget, "_keep", lambda *arguments: None)
        with pytest.raises(AssertionError, match="in the window"):
            run_with_restarts()
    with monkeypatch.context() as patch:
        patch.setattr(board_budget, "WINDOW_GRAIN_MS", -400)
        with pytest.raises(AssertionError, match="in the window"):
            run_late_then_early()


table = st.tuples(
    st.just("shoot"),
    st.integers(1, 15),
    st.one_of(st.integers(1, 200), st.integers(180, 200)).map(lambda ms: ms * MS),
    st.one_of(st.integers(1, 5000), st.integers(4900, 8000)).map(lambda ms: ms * MS),
    st.sampled_from([GAP, GAP, 3 * GAP, 50 * MS, 300 * MS]),
    st.one_of(st.none(), st.none(), st.integers(0, 8000)),
)
drip = st.tuples(st.just("drip"), st.integers(1, 200 * MS))
restart = st.tuples(st.just("restart"), st.one_of(st.none(), st.integers(1, 199)))
rinse = st.tuples(
    st.just("rinse"), st.integers(1, 5000), st.one_of(st.none(), st.integers(0, 5000))
)
pause = st.tuples(st.just("pause"), st.integers(0, 11_000))
actions = st.lists(st.one_of(table, table, drip, rinse, pause, restart), min_size=2, max_size=7)


def run(steps) -> Series:
    series = Series()
    for kind, *values in steps:
        if kind == "shoot":
            count, width, start, gap, abort_ms = values
            rows = openings(count, width, start, gap)
            if rows:
                series.shoot(rows, abort_ms)
        elif kind == "pause":
            series.bench.run(values[0] / 1000)
        else:
            getattr(series, kind)(*values)
    return series


@given(actions)
@example([("rinse", 5000, None), ("shoot", 15, 199 * MS, MS, GAP, None), ("drip", 200 * MS)])
@example([("rinse", 5000, 300), ("rinse", 5000, None), ("rinse", 5000, 4000), ("drip", MS)])
@examples(120)
def test_no_window_has_more_than_the_share_whatever_is_asked(steps) -> None:
    run(steps).most()


@pytest.mark.full
def test_the_property_reaches_the_limit() -> None:
    """Otherwise the property would prove nothing: some series come near the share, and some must wait."""
    best, waits = 0, 0

    @given(actions)
    @settings(
        max_examples=200,  # chance decides how near they come
        deadline=None,
        database=None,
        derandomize=True,
        suppress_health_check=[HealthCheck.too_slow],
    )
    def look(steps) -> None:
        nonlocal best, waits
        if best > 0.9 * MOST and waits >= 20:
            return  # it is shown
        series = run([step for step in steps if step[0] != "rinse"])
        best = max(best, series.most())
        waits += len(series.waited)

    look()
    assert best > 0.9 * MOST
    assert waits >= 20


def test_an_ordinary_series_is_never_asked_to_wait() -> None:
    """Two drops of 50 ms every two seconds, and a rinse of 5 s on a valve that has rested."""
    series = Series()
    for _ in range(20):
        series.shoot([(0, 0, 1, MS, 50 * MS), (0, 0, 1, 120 * MS, 50 * MS)])
        series.bench.run(2.0 - 0.18)
    assert series.waited == []
    series.bench.run(10.5)
    series.rinse(5000)
    assert series.waited == []
    assert series.most() == 5000 * MS


def test_the_wait_is_what_the_openings_ask_for_and_not_much_more() -> None:
    """2.9 s at the start of a shot: the next shot may open as long again when they leave the window, ten seconds
    later."""
    series = Series()
    rows = openings(15, 193 * MS, MS)
    series.shoot(rows)
    begun = series.bench.now
    series.shoot(rows)
    first, second = (series.bench.rig.pulses(1)[at][0] for at in (0, len(rows)))
    assert series.bench.now > begun
    exact = WINDOW - (MOST - len(rows) * 193 * MS)  # what is left of the share may be used earlier
    assert exact <= second - first <= exact + (PART_MS + 3) * MS


@pytest.mark.parametrize("start_ms", [0, 2**30 - 3_000, 2**30 - 1])
def test_the_turn_of_the_millisecond_clock_changes_nothing(start_ms: int) -> None:
    """The board's clock counts modulo 2^30."""
    mask = 2**30 - 1
    budget = Budget(profile, HZ, start_ms & mask)
    shot = Table(16)
    shot.make_single(1, 200 * MS, MS, 0)
    waits = []
    now = start_ms
    for _ in range(40):
        while not budget.take(shot, now & mask):
            waits.append(budget.wait_ms)
            now += budget.wait_ms
        budget.begin(shot, now & mask)
        budget.started(now & mask)
        now += 202
        budget.ended(shot, now & mask, 0)
        now += 3
    long = [wait for wait in waits if wait > 3]  # or it is the valve's rest, or the clock's grain
    assert len(long) == 2
    assert all(7_500 > wait > 6_500 for wait in long)


def test_a_refused_release_charges_nothing() -> None:
    series = Series()
    series.shoot(EARLY)
    _, digest = series.bench.upload(EARLY, tail_ticks=0)
    first = series.bench.release(digest, 9)["detail"]
    for _ in range(30):
        assert series.bench.release(digest, 9)["reason"].name == "too_soon"
    assert series.bench.release(digest, 9)["detail"] == pytest.approx(first, abs=1)


def test_a_rinse_that_was_stopped_counts_for_as_long_as_it_was() -> None:
    series = Series()
    series.rinse(5000, 200)
    series.shoot(EARLY)
    assert all(wait <= 3 for wait in series.waited), "nothing but the valve's rest"
