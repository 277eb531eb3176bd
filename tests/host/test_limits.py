"""The host says in words what the board would refuse: both check the same rules."""

from __future__ import annotations

import importlib
import sys
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tiers import examples

from beamfall.errors import SequenceError
from beamfall.setup.limits import BoardLimits, check_table, find_problems
from beamfall.setup.sequence import Row, Sequence
from beamfall.setup.signals import OUTPUTS
from beamfall.setup.table import ANCHORS, BEAMS, Table, TickRow

HZ = 1_000_000  # ticks are microseconds: easy to read
NAMES = tuple(signal.name for signal in OUTPUTS)
LIMITS = BoardLimits(
    name="bench",
    clock_hz=HZ,
    outputs=frozenset(NAMES) - {"flash3"},
    inputs=frozenset({"beam1", "light1"}),
    rows_max=8,
    valve_max_us=50_000,
    valve_gap_us=1_000,
    duty_percent=10,
    duty_window_ms=1_000,
    flash_max_us=5_000,
    flash_gap_us=20_000,
    camera_max_ms=900,
    window_max_ms=1_500,
    earliest_ticks=10,
    earliest_beam_ticks=20,
)


@pytest.fixture(scope="module")
def firmware() -> SimpleNamespace:
    """The firmware's own check, from its own source, with a board of LIMITS."""
    folder = str(Path(__file__).resolve().parents[2] / "firmware")
    sys.path.insert(0, folder)
    try:
        limits = importlib.import_module("beamfall_board.limits")
        table = importlib.import_module("beamfall_board.table")
        wire = importlib.import_module("beamfall_board.wire_definition")
    finally:
        sys.path.remove(folder)
    signals = {name: getattr(wire, f"SIGNAL_{name.upper()}") for name in (*NAMES, *BEAMS, "light1")}
    profile = SimpleNamespace(
        OUTPUTS={signals[name]: (0, True) for name in LIMITS.outputs},
        INPUTS={signals[name]: (0, 1, None) for name in LIMITS.inputs},
        ROWS_MAX=LIMITS.rows_max,
        VALVE_MAX_US=LIMITS.valve_max_us,
        VALVE_GAP_US=LIMITS.valve_gap_us,
        DUTY_PERCENT=LIMITS.duty_percent,
        DUTY_WINDOW_MS=LIMITS.duty_window_ms,
        RINSE_MAX_MS=LIMITS.rinse_max_ms,
        FLASH_MAX_US=LIMITS.flash_max_us,
        FLASH_GAP_US=LIMITS.flash_gap_us,
        CAMERA_MAX_MS=LIMITS.camera_max_ms,
        WINDOW_MAX_MS=LIMITS.window_max_ms,
    )
    port = SimpleNamespace(
        clock_hz=HZ,
        earliest_ticks=LIMITS.earliest_ticks,
        earliest_beam_ticks=LIMITS.earliest_beam_ticks,
    )
    reasons = {
        value: name.removeprefix("REFUSAL_").lower()
        for name, value in vars(wire).items()
        if name.startswith("REFUSAL_") and isinstance(value, int)
    }
    return SimpleNamespace(
        checker=limits.Limits(profile, port), table=table.Table, signals=signals, reasons=reasons
    )


def refuse_on_board(firmware: SimpleNamespace, table: Table) -> str | None:
    """What the board says to a table: None, or the name of its refusal."""
    board_table = firmware.table(64)
    board_table.rows = len(table.rows)
    board_table.window = table.window_ticks
    board_table.tail = table.tail_ticks
    board_table.blanking = table.blanking_ticks
    board_table.dwell = table.dwell_ticks
    board_table.awaits[:] = bytes(table.awaits)
    for index, row in enumerate(table.rows):
        board_table.anchor[index] = ANCHORS.index(row.anchor)
        board_table.count[index] = row.count
        board_table.output[index] = firmware.signals[row.output]
        board_table.delay[index] = row.delay_ticks
        board_table.width[index] = row.width_ticks
    reason = firmware.checker.check(board_table)
    return firmware.reasons[reason] if reason else None


# Times near the limits, where two implementations would differ.
TIMES = st.sampled_from(
    [0, 1, 9, 10, 11, 19, 20, 21, 999, 1_000, 1_001, 4_999, 5_000, 5_001, 19_999, 20_000, 20_001]
    + [49_999, 50_000, 50_001, 100_000, 899_999, 900_000, 900_001, 2**30 - 1, 2**30, 2**32 - 1]
)
ROWS = st.builds(
    TickRow, st.sampled_from(ANCHORS), st.integers(0, 3), st.sampled_from(NAMES), TIMES, TIMES
)
GOOD_ROWS = st.one_of(
    st.builds(
        TickRow,
        st.just("release"),
        st.just(0),
        st.sampled_from(["valve1", "valve2", "focus"]),
        st.sampled_from([10, 60_000, 111_000, 111_001]),
        st.sampled_from([1, 50_000, 50_001]),
    ),
    st.builds(
        TickRow,
        st.just("beam1"),
        st.integers(1, 2),
        st.sampled_from(["flash1", "flash2"]),
        st.sampled_from([20, 4_000, 20_020, 24_000, 40_000]),
        st.sampled_from([1, 3_000, 5_000]),
    ),
)
TABLES = st.builds(
    lambda rows, window, tail, blanking, dwell, awaits: Table(
        HZ,
        tuple(sorted(rows, key=TickRow.sort_key)),
        window_ticks=window,
        tail_ticks=tail,
        blanking_ticks=blanking,
        dwell_ticks=dwell,
        awaits=awaits,
    ),
    st.one_of(st.lists(GOOD_ROWS, min_size=1, max_size=5), st.lists(ROWS, max_size=9)),
    st.sampled_from([0, 1_000_000, 1_500_000, 1_500_001]),
    st.sampled_from([0, 50_000, 2**30 - 1]),
    st.sampled_from([0, 20_000, 40_000]),
    st.sampled_from([0, 20, 21, 4_001]),
    st.sampled_from([(0, 0), (1, 0), (2, 0), (2, 1)]),
)


@given(table=TABLES)
@examples(1500)
def test_the_host_refuses_what_the_board_refuses_and_nothing_else(
    firmware: SimpleNamespace, table: Table
) -> None:
    on_board = refuse_on_board(firmware, table)
    on_host = {problem.reason for problem in find_problems(table, LIMITS)}
    if on_board is None:
        assert on_host == set()
    else:
        # Two flashes too close are also two rows too close: the host says it once.
        too_close = {"overlap", "flash_spacing"}
        assert on_board in on_host or (on_board in too_close and on_host & too_close)


def ticks(*rows: tuple[Any, ...], **more: Any) -> Table:
    """A table of rows (anchor, count, output, delay, width), in ticks."""
    plain = {"window_ticks": 1_000_000, "awaits": (2, 0)} if any(row[1] for row in rows) else {}
    made = sorted((TickRow(*row) for row in rows), key=TickRow.sort_key)
    return Table(HZ, tuple(made), **{**plain, **more})


HORIZON = 2**30 - 1  # messages.toml, limits.horizon_ticks
# (what just passes, what just does not, the reason): one tick between them.
EDGES: list[tuple[Callable[[int], Table], str]] = [
    (lambda n: ticks(("release", 0, "valve1", 10, 50_000 + n)), "width_too_long"),
    (lambda n: ticks(("beam1", 1, "flash1", 20, 5_000 + n)), "width_too_long"),
    (lambda n: ticks(("release", 0, "focus", 10, 900_000 + n)), "width_too_long"),
    (lambda n: ticks(("release", 0, "valve1", 10 - n, 5)), "too_early"),
    (lambda n: ticks(("beam1", 1, "flash1", 20 - n, 5)), "too_early"),
    (lambda n: ticks(("beam1", 1, "flash1", 300, 5), dwell_ticks=300 + n), "before_dwell"),
    (
        lambda n: ticks(
            ("release", 0, "valve1", 60_000, 40_000), ("release", 0, "valve1", 101_000 - n, 9)
        ),
        "overlap",
    ),
    (
        lambda n: ticks(("release", 0, "focus", 60_000, 40_000), ("release", 0, "focus", 100_001 - n, 9)),
        "overlap",
    ),
    (
        lambda n: ticks(("beam1", 1, "flash1", 100, 50), ("beam1", 1, "flash1", 20_100 - n, 50)),
        "flash_spacing",
    ),
    (
        lambda n: ticks(
            ("beam1", 1, "flash1", 100, 50),
            ("beam1", 2, "flash1", 90, 50),
            blanking_ticks=20_010 - n,
        ),
        "flash_spacing",
    ),
    (
        lambda n: ticks(
            ("release", 0, "valve1", 10, 50_000), ("release", 0, "valve1", 70_000, 50_000),
            *([("release", 0, "valve1", 140_000, 1)] * n),
        ),
        "duty",
    ),
    (lambda n: ticks(("release", 0, "valve1", HORIZON - 9 - 500, 9 + n), tail_ticks=500), "beyond_horizon"),
    (
        lambda n: ticks(
            ("beam1", 1, "flash1", HORIZON - 9 - 500 - 1_000_000, 9 + n), tail_ticks=500
        ),
        "beyond_horizon",
    ),
    (lambda n: ticks(("beam1", 1, "flash1", 90, 9), window_ticks=1_500_000 + n), "beyond_horizon"),
    (lambda n: ticks(("release", 0, "valve1", 10, 9), tail_ticks=HORIZON - 19 + n), "beyond_horizon"),
    (
        lambda n: ticks(*(("release", 0, "valve1", 10 + 2_000 * k, 9) for k in range(8 + n))),
        "too_many_rows",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("make", "reason"), EDGES)
def test_a_limit_is_kept_to_the_tick_on_both_sides(
    firmware: SimpleNamespace, make: Callable[[int], Table], reason: str
) -> None:
    assert find_problems(make(0), LIMITS) == []
    assert refuse_on_board(firmware, make(0)) is None
    assert {problem.reason for problem in find_problems(make(1), LIMITS)} == {reason}
    assert refuse_on_board(firmware, make(1)) == reason


def sequence(*rows: Row, **more: Any) -> Sequence:
    return Sequence(rows, **{"window_s": 1.0 if any(r.count for r in rows) else 0.0, **more})


VALVE = Row("release", 0, "valve1", 0.1, 0.01)
FLASH = Row("beam1", 1, "flash1", 0.19, 0.002)
CASES: list[tuple[Sequence, int | None, str, tuple[str, ...]]] = [
    (sequence(), None, "too_many_rows", ("rows",)),
    (sequence(*[VALVE] * 9), None, "too_many_rows", ("9", "8")),
    (sequence(VALVE, FLASH, window_s=2.0), None, "beyond_horizon", ("window", "2 s", "1.5 s")),
    (sequence(VALVE, FLASH, window_s=0.0), None, "window_missing", ("1", 'window = "1 s"')),
    (sequence(VALVE, window_s=1.0), None, "window_missing", ("window", "edge")),
    (
        sequence(Row("release", 0, "valve1", 0.1, 0.06)),
        1,
        "width_too_long",
        ("row 1", "valve1", "60 ms", "50 ms"),
    ),
    (
        sequence(Row("release", 0, "flash3", 0.1, 0.002)),
        1,
        "bad_output",
        ("flash3", "flash1, flash2, focus, shutter"),
    ),
    (
        sequence(Row("beam1", 1, "valve1", 0.1, 0.01)),
        1,
        "bad_anchor",
        ("row 1", "valve1", "beam1", "flash"),
    ),
    (sequence(Row("release", 1, "valve1", 0.1, 0.01)), 1, "bad_anchor", ("count is 1", "release")),
    (sequence(Row("beam1", 0, "flash1", 0.1, 0.01)), 1, "bad_anchor", ("count is 0", "1 to 255")),
    (
        sequence(Row("beam1", 2, "flash1", 0.1, 0.002), await1=1),
        1,
        "window_missing",
        ("edge 2", "beam1", "only 1 "),
    ),
    (sequence(Row("beam2", 1, "flash1", 0.1, 0.002)), None, "bad_anchor", ("beam2",)),
    (sequence(Row("release", 0, "valve1", 0.1, 0.0)), 1, "zero_width", ("width is 0", "tick")),
    (sequence(Row("release", 0, "valve1", 0.0, 0.01)), 1, "too_early", ("delay is 0 s", "10 µs")),
    (
        sequence(Row("beam1", 1, "flash1", 0.002, 0.002), dwell_s=0.003),
        1,
        "before_dwell",
        ("delay is 2 ms", "dwell", "3 ms"),
    ),
    (
        sequence(VALVE, Row("release", 0, "valve1", 0.105, 0.01)),
        2,
        "overlap",
        ("row 2", "105.000 ms", "row 1", "100.000 ms", "5 ms", "1 ms"),
    ),
    (
        sequence(VALVE, Row("release", 0, "valve1", 0.1105, 0.01)),
        2,
        "overlap",
        ("row 2", "row 1", "500 µs", "1 ms"),
    ),
    (
        sequence(FLASH, Row("beam1", 2, "flash1", 0.19, 0.002)),
        2,
        "flash_spacing",
        ("row 2", "row 1", "0 s", "20 ms", "blanking"),
    ),
    (
        sequence(FLASH, Row("release", 0, "flash1", 0.5, 0.002)),
        1,
        "bad_anchor",
        ("row 1", "row 2", "anchor"),
    ),
    (
        sequence(*(Row("release", 0, "valve2", 0.1 * n, 0.04) for n in (1, 2, 3))),
        3,
        "duty",
        ("valve2", "120 ms", "100 ms", "10 % of 1000 ms"),
    ),
    (
        sequence(Row("release", 0, "valve1", 1073.74, 0.01)),
        1,
        "beyond_horizon",
        ("1073.8 s", "1073.7 s"),
    ),
]


@pytest.mark.parametrize(("wrong", "row", "reason", "named"), CASES)
def test_each_rule_names_row_value_limit_and_cure(
    wrong: Sequence, row: int | None, reason: str, named: tuple[str, ...]
) -> None:
    table = wrong.to_table(HZ)
    found = [
        one.text for one in find_problems(table, LIMITS) if (one.row, one.reason) == (row, reason)
    ]
    assert len(found) == 1 and all(part in found[0] for part in named), found
    with pytest.raises(SequenceError) as caught:
        check_table(table, LIMITS)
    assert found[0] in str(caught.value)


def test_blanking_makes_room_for_a_flash_at_each_drop() -> None:
    rows = (VALVE, FLASH, Row("beam1", 2, "flash1", 0.19, 0.002))
    assert find_problems(sequence(*rows, blanking_s=0.02).to_table(HZ), LIMITS) == []


def test_all_problems_are_said_in_the_order_of_the_file() -> None:
    wrong = sequence(
        Row("release", 0, "valve1", 0.1, 0.06),
        Row("beam1", 1, "flash1", 0.19, 0.006),
        Row("release", 0, "focus", 0.0, 0.1),
    )
    with pytest.raises(SequenceError) as caught:
        check_table(wrong.to_table(HZ), LIMITS)
    lines = str(caught.value).splitlines()
    assert "3" in lines[0] and "'bench'" in lines[0]
    assert [line.split("(")[0].strip() for line in lines[1:]] == ["row 1", "row 2", "row 3"]


def test_a_table_of_another_clock_is_a_programming_error() -> None:
    with pytest.raises(ValueError, match="125000000 Hz"):
        find_problems(sequence(VALVE).to_table(125_000_000), LIMITS)
