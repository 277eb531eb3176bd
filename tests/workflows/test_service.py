"""One drop and one flash are the same wherever they are asked for."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from beamfall.board import Board
from beamfall.page.jobs import make_drip, make_rinse
from beamfall.page.words import VALVE_STAYED_CLOSED


@pytest.fixture
def openings(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    """How long valves are told to open for one drop."""
    asked: list[float] = []
    drip = Board.drip

    def note(board: Board, valve: int, opening_s: float) -> Any:
        asked.append(opening_s)
        return drip(board, valve, opening_s)

    monkeypatch.setattr(Board, "drip", note)
    return asked


def test_one_drop_has_the_rig_files_opening(
    use_log: Any, at_terminal: Any, on_page: Any, openings: list[float]
) -> None:
    path = use_log("log")
    assert at_terminal("drip") == 0
    page = on_page(path)
    assert page.do(make_drip(1, ""))["state"] == "ended"
    assert openings == [0.011, 0.011]


def test_an_opening_that_is_given_comes_first(
    use_log: Any, at_terminal: Any, on_page: Any, openings: list[float]
) -> None:
    path = use_log("log")
    assert at_terminal("drip", "--opening", "12 ms") == 0
    assert on_page(path).do(make_drip(1, "12 ms"))["state"] == "ended"
    assert openings == [0.012, 0.012]


def test_a_valve_is_held_open_only_where_somebody_agrees(
    use_log: Any, at_terminal: Any, on_page: Any, type_in: Callable[..., None], capsys: Any
) -> None:
    path = use_log("log")
    ends = []
    for word in ("", "n", "perhaps", "y"):
        type_in(word, "no")
        ends.append(at_terminal("rinse", "--duration", "0.2 s", rig=False))
    assert ends == [1, 1, 1, 0]
    page = on_page(path)
    assert page.do(make_rinse(1, "0.2 s"), lambda question: "no")["text"] == VALVE_STAYED_CLOSED
    assert page.do(make_rinse(1, "0.2 s"), lambda question: "yes")["text"] == ""
