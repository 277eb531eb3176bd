"""Watching a beam: what is seen, and that nothing goes on after it."""

from __future__ import annotations

from typing import Any

import pytest

from beamfall.board import Board
from beamfall.workflows.run import PythonFrontEnd, run
from beamfall.workflows.watch import STOP, EnoughSeen, watch


def test_drops_are_counted_and_the_watch_ends_with_the_answer() -> None:
    seen: list[EnoughSeen] = []

    def answer(question: EnoughSeen) -> str:
        for _ in range(20):
            question.listen(0.1)
        seen.append(question)
        return STOP

    with Board.connect("sim") as board:
        run(watch(board, drops=(1, 0.026)), board, None, PythonFrontEnd(answer))
        assert board.status().activity.name == "none"
        assert board.status().reports_kept == 0
    view = seen[0].view
    assert (view.count, view.is_dark) == (3, False)
    assert 0.001 < view.longest_s < 0.01


@pytest.mark.parametrize("drops", [None, (1, 0.026)])
def test_whatever_interrupts_a_watch_switches_off_first(
    drops: tuple[int, float] | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[str] = []
    request = Board._request

    def note(board: Board, name: str, *more: Any, **fields: Any) -> Any:
        asked.append(name)
        return request(board, name, *more, **fields)

    def stop(question: EnoughSeen) -> str:
        question.listen(0.1)
        asked.clear()
        raise KeyboardInterrupt

    monkeypatch.setattr(Board, "_request", note)
    with Board.connect("sim") as board:
        with pytest.raises(KeyboardInterrupt):
            run(watch(board, drops=drops), board, None, PythonFrontEnd(stop))
        assert asked[0] == "abort"
        assert board.status().activity.name == "none"
