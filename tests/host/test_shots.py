"""The shot log: written before the release, completed after it, and never lost in between."""

from __future__ import annotations

import contextlib
import dataclasses
import sqlite3
from pathlib import Path
from typing import Any

import pytest
from log_helpers import EDGES, HZ, begin, make_outcome, make_table

from beamfall.errors import LogError, NoSuchShot
from beamfall.link.welcome import Welcome
from beamfall.setup.rig import example_rig
from beamfall.setup.sequence import Row, Sequence
from beamfall.shots import ShotLog
from beamfall.shots.describe import describe_purpose
from beamfall.shots.outcome import plan_of


def test_a_shot_comes_back_as_it_was(log: ShotLog, welcome: Welcome) -> None:
    series = log.begin_series("sweep", rig=example_rig(), seed=11, settings={"of": "flash"})
    shot = begin(log, series, welcome, swept={"flash_ms": 190.0})
    table = make_table()
    log.complete_shot(shot, make_outcome(table), link={"frames_good": 12})
    logged = log.read_shot(shot)
    expected = make_outcome(table, shot=shot)
    for name in (
        "shot",
        "state",
        "cause",
        "seed",
        "clock_hz",
        "timing",
        "edges",
        "truth",
        "counts",
        *plan_of(table),
    ):
        assert getattr(logged.record, name) == getattr(expected, name)
    assert (logged.record.series, logged.record.number) == (series, 1)
    assert logged.table == table
    assert logged.rig == example_rig().to_dict() or logged.rig is not None
    assert logged.board["name"] == "simulated" and logged.board["firmware"] == "0.1.0"
    assert (logged.record.boot_id, logged.record.release) == (welcome.boot_id, 1)
    assert logged.record.swept == {"flash_ms": 190.0} and logged.record.link == {"frames_good": 12}
    assert (logged.record.completed_us or 0) >= logged.line.begun_us
    line = log.list_series()[0]
    assert (line.kind, line.seed, line.shots, line.unknown) == ("sweep", 11, 1, 0)
    assert line.settings == {"of": "flash"}


def test_a_shot_never_completed_is_shown_as_unknown(log: ShotLog, welcome: Welcome) -> None:
    series = log.begin_series("shoot")
    shot = begin(log, series, welcome)
    assert [line.shown_state for line in log.list_shots()] == ["outcome unknown"]
    logged = log.read_shot(shot)
    assert logged.record.state == "outcome unknown" and logged.record.edges == ()
    assert log.list_series()[0].unknown == 1
    assert [line.shot for line in log.list_shots(state="outcome unknown")] == [shot]


def test_a_late_report_finds_its_shot(log: ShotLog, welcome: Welcome) -> None:
    series = log.begin_series("shoot")
    first, second = begin(log, series, welcome, 1), begin(log, series, welcome, 2)
    log.complete_shot(first, make_outcome(make_table()))
    assert log.find_begun(welcome.unique_id, welcome.boot_id, 2) == second
    assert log.find_begun(welcome.unique_id, welcome.boot_id, 1) is None
    assert log.find_begun(welcome.unique_id, welcome.boot_id + 1, 2) is None
    assert log.find_begun(b"another!", welcome.boot_id, 2) is None


def test_an_outcome_is_written_once(log: ShotLog, welcome: Welcome) -> None:
    shot = begin(log, log.begin_series("shoot"), welcome)
    log.complete_shot(shot, make_outcome(make_table()))
    with pytest.raises(LogError, match=f"shot {shot}.*fired"):
        log.complete_shot(shot, make_outcome(make_table(), state="missed"))
    with pytest.raises(LogError, match=f"shot {shot}"):
        log.cancel_shot(shot, "beam-blocked")
    assert log.read_shot(shot).record.state == "fired"
    assert len(log.read_shot(shot).record.edges) == len(EDGES)


def test_a_refused_release_is_no_shot(log: ShotLog, welcome: Welcome) -> None:
    shot = begin(log, log.begin_series("shoot"), welcome)
    log.cancel_shot(shot, "beam-blocked")
    line = log.list_shots()[0]
    assert (line.shown_state, line.cause) == ("not-released", "beam-blocked")


def test_lists_give_the_newest_last(log: ShotLog, welcome: Welcome) -> None:
    one, two = log.begin_series("shoot"), log.begin_series("shoot")
    shots = [begin(log, series, welcome, n) for n, series in enumerate((one, one, two, one), 1)]
    assert [line.shot for line in log.list_shots(limit=2)] == shots[-2:]
    assert [line.shot for line in log.list_shots(series=one)] == [shots[0], shots[1], shots[3]]
    assert [line.number for line in log.list_shots(series=one)] == [1, 2, 3]
    assert [line.series for line in log.list_series(limit=1)] == [two]
    assert log.count_shots() == 4


def test_notes_ratings_and_pictures(log: ShotLog, welcome: Welcome) -> None:
    shot = begin(log, log.begin_series("shoot"), welcome)
    log.set_note(shot, "umbrella, a little left; Überraschung")
    log.set_rating(shot, 5)
    log.set_picture(shot, "IMG_0042.CR3")
    logged = log.read_shot(shot)
    assert (logged.line.note[:8], logged.line.rating) == ("umbrella", 5)
    assert logged.record.picture == "IMG_0042.CR3"
    with pytest.raises(Exception, match=r"\b6\b"):
        log.set_rating(shot, 6)


def test_what_is_not_there_is_said(log: ShotLog, welcome: Welcome) -> None:
    with pytest.raises(NoSuchShot, match=r"\b9\b"):
        log.read_shot(9)
    begin(log, log.begin_series("shoot"), welcome)
    for use in (
        lambda: log.read_shot(9),
        lambda: log.complete_shot(9, make_outcome(make_table())),
        lambda: log.set_note(9, "x"),
    ):
        with pytest.raises(NoSuchShot, match=r"\b9\b.*\b1\b"):
            use()
    with pytest.raises(LogError):
        begin(log, 77, welcome)  # no such series
    assert log.count_shots() == 1


def test_a_failed_write_leaves_nothing_behind(log: ShotLog, welcome: Welcome) -> None:
    """The caches of ids must not remember rows that a rolled-back transaction took back."""
    with pytest.raises(LogError):
        begin(log, 77, welcome)
    shot = begin(log, log.begin_series("shoot"), welcome)
    assert log.read_shot(shot).table == make_table()


def test_edges_in_ms_for_people_with_sql(log: ShotLog, path: Path, welcome: Welcome) -> None:
    shot = begin(log, log.begin_series("shoot"), welcome)
    log.complete_shot(shot, make_outcome(make_table()))
    with contextlib.closing(sqlite3.connect(path)) as other:
        row = other.execute(
            "SELECT planned_ms, measured_ms FROM edge_ms WHERE what = 'flash1' AND edge = 'on'"
        ).fetchone()
    assert row == (558.35, 558.35)


def test_a_shot_takes_less_than_two_kilobytes(path: Path, welcome: Welcome) -> None:
    count = 300
    with ShotLog.open(path) as log:
        series = log.begin_series("sweep")
        for n in range(count):
            table = make_table(0.15 + n * 1e-4)  # a sweep: another table for each shot
            shot = begin(log, series, welcome, n + 1, table=table)
            log.complete_shot(shot, make_outcome(table), link={"frames_good": n})
    assert path.stat().st_size / count <= 2048


def test_the_spacing_is_that_of_the_drops_that_meet() -> None:
    """Two nozzles 6 cm apart, two drops each: the other nozzle's drops open in between."""
    rig = example_rig()
    other = dataclasses.replace(rig.valves[0], output="valve2", place_m=0.06)
    apart = dataclasses.replace(rig, valves=(*rig.valves, other))
    table = Sequence(
        tuple(
            Row("release", 0, valve, at, 0.013)
            for valve, at in (
                ("valve1", 0.1),
                ("valve2", 0.104378),
                ("valve1", 0.212763),
                ("valve2", 0.21),
            )
        ),
        window_s=1.0,
    ).to_table(HZ)
    assert plan_of(table, apart)["spacing_ticks"] == round(0.112763 * HZ)


@pytest.mark.parametrize(
    ("swept", "named"),
    [
        ({"of": "flash", "step": 1, "value_ms": 190.0, "repeat": 1}, ("flash", "190.000 ms")),
        ({"seek": 2}, ("search", "2")),
        ({"recipe": "umbrella"}, ("recipe", "umbrella")),
        ({"warm_up": 3}, ("3 drops",)),
        ({"drops": "today"}, ("today",)),
        ({"flash_ms": 190.0}, ("flash", "190.0")),
    ],
)
def test_what_a_shot_was_fired_for(swept: dict[str, Any], named: tuple[str, ...]) -> None:
    said = describe_purpose(swept)
    assert all(one in said for one in named)
    assert describe_purpose(None) == ""
