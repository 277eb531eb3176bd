"""A shot and its outcome for the tests of the shot log."""

from __future__ import annotations

from typing import Any

from beamfall.link.welcome import Welcome
from beamfall.setup.rig import example_rig
from beamfall.setup.sequence import Row, Sequence
from beamfall.setup.table import Table
from beamfall.shots import EdgeRecord, ShotLog, ShotRecord
from beamfall.shots.outcome import plan_of

HZ = 125_000_000


def make_table(delay_s: float = 0.19) -> Table:
    return Sequence(
        (
            Row("release", 0, "shutter", 0.001, 0.9),
            Row("release", 0, "valve1", 0.1, 0.013),
            Row("release", 0, "valve1", 0.185, 0.013),
            Row("beam1", 2, "flash1", delay_s, 0.002),
        ),
        window_s=1.0,
    ).to_table(HZ)


EDGES = tuple(
    EdgeRecord(what, edge, ticks if what != "beam1" else None, ticks, "stamped")
    for what, edge, ticks in (
        ("shutter", "on", 125_000),
        ("valve1", "on", 12_500_000),
        ("valve1", "off", 14_125_000),
        ("valve1", "on", 23_125_000),
        ("valve1", "off", 24_750_000),
        ("beam1", "dark", 35_387_500),
        ("beam1", "clear", 35_750_000),
        ("beam1", "dark", 46_043_750),
        ("beam1", "clear", 46_400_000),
        ("flash1", "on", 69_793_750),
        ("flash1", "off", 70_043_750),
        ("light1", "on", 69_801_250),
        ("light1", "off", 69_806_250),
        ("shutter", "off", 112_625_000),
    )
)


def make_outcome(table: Table, **changes: Any) -> ShotRecord:
    values: dict[str, Any] = {
        "shot": None,
        "state": "fired",
        "cause": None,
        "seed": 7,
        "clock_hz": HZ,
        "timing": "simulated",
        **plan_of(table),
        "edges": EDGES,
        "truth": {
            "drops": [{"diameter_m": 0.00391}, {"diameter_m": 0.00393}],
            "picture": "contact",
        },
        "counts": {"ended_ticks": 118_875_000, "edges_lost": 0, "rows_late": 0},
    }
    return ShotRecord(**{**values, **changes})


def begin(log: ShotLog, series: int, welcome: Welcome, release: int = 1, **more: Any) -> int:
    table = more.pop("table", None) or make_table()
    return log.begin_shot(
        series, table=table, board=welcome, port="sim?seed=7", release=release,
        rig=example_rig(), seed=7, **more,
    )  # fmt: skip
