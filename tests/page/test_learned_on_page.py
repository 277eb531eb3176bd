"""What seeking and calibrating have taught can be seen, undone, redone and reset by the page's commands."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any, cast

import pytest
from page_helpers import QUICK_RIG

from beamfall.errors import UserError
from beamfall.page.board_thread import BoardThread
from beamfall.page.commands import list_commands
from beamfall.page.desk import Desk
from beamfall.page.hub import Hub
from beamfall.page.work import Job
from beamfall.planning.belief import SOUGHT, Belief, Step, describe_basis
from beamfall.planning.learned import find_file, load_learned, save_learned
from beamfall.planning.unknowns import NAMES, Normal
from beamfall.setup.rig import load_rig

BOARD = "0123456789abcdef"


@pytest.fixture
def rig_file(tmp_path: Path) -> Path:
    """A rig whose search has found the picture 8 ms later than the rig file alone plans it."""
    file = tmp_path / "rig.toml"
    file.write_text(QUICK_RIG, encoding="utf-8")
    size = len(NAMES)
    state = Normal(
        names=NAMES,
        mean=(0.8,) * size,
        covariance=tuple(tuple(0.1 if n == m else 0.0 for m in range(size)) for n in range(size)),
    )
    step = Step(
        number=1, before=0, parent=0, kind=SOUGHT, when="2026-01-02T03:04:05+00:00", shots=6,
        series=(4,), found=True, certainty=0.9, spacing_s=0.1, state=state,
        basis=describe_basis(load_rig(file)),
    )  # fmt: skip
    save_learned(find_file(file), Belief(BOARD, "sim", True, (step,), head=1))
    return file


@pytest.fixture
def desk(rig_file: Path) -> Iterator[Desk]:
    made = Desk(Hub(), rig_file)
    yield made
    made.close()


def do(name: str, desk: Desk, running: Job | None = None) -> None:
    bench = BoardThread(Hub(), desk, cast(Any, None))
    bench._running = running
    list_commands(bench)[name]()


def used(desk: Desk) -> list[int]:
    return [step["step"] for step in desk.describe_learned()["steps"] if step["used"]]


def plan_delay(desk: Desk) -> float:
    desk.wait(60.0)
    assert desk.plan is not None
    return desk.plan.flash_delay_s


def test_a_step_is_listed_undone_redone_and_reset_and_the_plan_follows(
    desk: Desk, rig_file: Path
) -> None:
    desk.use_board(BOARD)
    learned = desk.describe_learned()
    assert [step["step"] for step in learned["steps"]] == [0, 1]
    alone, sought = learned["steps"]
    assert alone["plan"]["flash_interval"] != sought["plan"]["flash_interval"]
    assert used(desk) == [1] and learned["can_undo"] and not learned["can_redo"]
    with_step = plan_delay(desk)

    do("undo_learned", desk)
    assert used(desk) == [0] and desk.describe_learned()["can_redo"]
    assert plan_delay(desk) != pytest.approx(with_step, abs=1e-6)
    kept = load_learned(find_file(rig_file), BOARD)
    assert kept is not None and kept.head == 0, "the file changes, so the terminal sees it too"

    do("redo_learned", desk)
    assert used(desk) == [1] and plan_delay(desk) == pytest.approx(with_step)

    do("reset_learned", desk)
    assert not desk.describe_learned()["can_reset"] and desk.learned is not None
    assert not desk.learned.chain
    do("undo_learned", desk)
    assert used(desk) == [1], "a reset can be undone"


def test_what_cannot_be_done_is_refused(desk: Desk) -> None:
    with pytest.raises(UserError):
        do("undo_learned", desk)  # no board yet
    desk.use_board(BOARD)
    with pytest.raises(UserError):
        do("redo_learned", desk)
    search = Job("seek", "Search", lambda work: None)
    with pytest.raises(UserError, match="Search"):
        do("undo_learned", desk, running=search)
    assert used(desk) == [1]
    desk.use_board("another board")
    assert [step["step"] for step in desk.describe_learned()["steps"]] == [0]
    with pytest.raises(UserError):
        do("reset_learned", desk)
