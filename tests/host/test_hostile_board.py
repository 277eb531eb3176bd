"""A board that says absurd things: one clear message, bounded memory, no bug in Beamfall.

The board is a real simulated one whose answers are changed on their way.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from beamfall.board import Board
from beamfall.errors import ImplausibleBoard, ShotError
from beamfall.events import EDGES_MOST, EdgesSeen, OutcomeCollector, ShotDone, Trouble, make_event
from beamfall.link import Origin, Report
from beamfall.link.welcome import Welcome
from beamfall.setup.signals import Signal
from beamfall.shots import ShotLog
from beamfall.wire import Message, get_definition
from beamfall.workflows.series import settle_earlier

ACTIVITY = get_definition().enum("activity")


@pytest.fixture
def log(tmp_path: Path) -> Iterator[ShotLog]:
    with ShotLog.open(tmp_path / "shots.sqlite3") as opened:
        yield opened


@pytest.fixture
def welcome() -> Iterator[dict[str, Any]]:
    with Board.connect("sim") as board:
        info = board.info
        yield {name: getattr(info, name) for name in Welcome.__slots__}


@pytest.mark.parametrize(
    ("field", "value"),
    [("clock_hz", 0), ("clock_hz", 1), ("stamp_ticks", 0), ("rows_max", 0), ("duty_percent", 255)],
)
def test_a_welcome_that_cannot_be_is_refused_by_name(
    welcome: dict[str, Any], field: str, value: int
) -> None:
    Welcome.from_message(Message("welcome", welcome))
    with pytest.raises(ImplausibleBoard) as refused:
        Welcome.from_message(Message("welcome", {**welcome, field: value}))
    assert refused.value.field == field


def test_edges_without_end_do_not_fill_memory() -> None:
    collector = OutcomeCollector()
    beam = get_definition().enum("signal")["beam1"]
    edges = tuple(SimpleNamespace(signal=beam, mark=3, ticks=number) for number in range(36))
    fields = {"activity": ACTIVITY["shot"], "release": 1, "base_ticks": 0, "edges": edges}
    event = make_event(Report(1, 1, Message("edges", fields)))
    assert isinstance(event, EdgesSeen)
    sent = 0
    for _ in range(EDGES_MOST // 36 + 100):
        assert collector.take(1, event) is None
        sent += 36
    zeros = dict.fromkeys(ShotDone.__slots__, 0)
    done = ShotDone(**{**zeros, "activity": ACTIVITY["shot"], "release": 1, "edges": sent})
    outcome = collector.take(1, done)
    assert outcome is not None
    assert len(outcome.edges) == EDGES_MOST < sent
    assert not outcome.complete, "that some are missing is said"


def test_many_shots_with_many_edges_do_not_fill_memory(monkeypatch: pytest.MonkeyPatch) -> None:
    """Five hundred outcomes of 50,000 edges each would be gigabytes."""
    monkeypatch.setattr("beamfall.events.EDGES_KEPT", 1000)
    beam = get_definition().enum("signal")["beam1"]
    edges = tuple(SimpleNamespace(signal=beam, mark=3, ticks=number) for number in range(36))
    zeros = dict.fromkeys(ShotDone.__slots__, 0)
    with Board.connect("sim") as board:
        boot = board.info.boot_id
        for shot in range(1, 101):
            about = {"activity": ACTIVITY["shot"], "release": shot}
            seen = Message("edges", {**about, "base_ticks": 0, "edges": edges})
            done = Message("shot_done", {**zeros, **about, "edges": 36})
            reports = [Report(boot, 2 * shot - 1, seen), Report(boot, 2 * shot, done)]
            monkeypatch.setattr(board, "_pump_link", lambda _, found=reports: found)
            board.pump(0.0)
        monkeypatch.undo()
        kept = board.take_outcomes()
    assert sum(len(one.edges) for one in kept) <= 1000
    assert kept[-1].done.release == 100, "the newest ones are kept"


def test_shots_that_nobody_asked_for_do_not_keep_a_program_from_starting(
    log: ShotLog, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The button is stuck, or a board makes up shots: each pump brings one more."""
    made: list[int] = []

    def take_one(board: Board, _: ShotLog, **options: Any) -> list[Any]:
        made.append(1)
        return [SimpleNamespace(shot=len(made), state="fired", button=True, planned=True)]

    monkeypatch.setattr("beamfall.workflows.series.keep_unclaimed", take_one)
    with Board.connect("sim") as board:
        status = board.status()
        busy = dataclasses.replace(status, reports_kept=3)
        monkeypatch.setattr(board, "status", lambda: busy)
        monkeypatch.setattr(board, "pump", lambda timeout_s: [object()])
        with pytest.raises(ShotError):
            settle_earlier(board, log)
    assert len(made) <= 1000


def read_trouble(text: str, origin: Origin = Origin.BOARD) -> Trouble:
    event = make_event(Report(0, 1, Message("trouble", {"text": text}), origin))
    assert isinstance(event, Trouble)
    return event


def test_a_refusal_that_the_board_names_by_its_number_is_told_in_words() -> None:
    told = read_trouble("the button released nothing: refusal 12")
    refusal = get_definition().enum("refusal")(12)
    assert told.refusal is refusal
    assert refusal.meaning.partition(";")[0] in told.text and "12" not in told.text
    later = read_trouble("refusal 255: x")  # of a later firmware
    assert later.text == "refusal 255: x" and later.refusal is None


def test_a_trouble_says_whether_it_is_about_the_button() -> None:
    assert read_trouble("the button chose no slot: x").about is Signal.button1
    assert read_trouble("ValueError: x in button.py").about is None
    assert read_trouble("the button x", Origin.UNREADABLE).about is None
