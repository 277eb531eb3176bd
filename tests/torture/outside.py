"""The fuzz targets of what comes from outside: here the whole host at a hostile board; files in `outside_files.py`.

One input in, nothing out, an exception where something else happens than success or an error for people.
"""

from __future__ import annotations

import functools
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import outside_files
from hostile_line import HostileLine, Script, read_welcome

from beamfall.board import Board
from beamfall.errors import BeamfallError
from beamfall.link import Link
from beamfall.setup.sequence import Row, Sequence
from beamfall.shots import ShotLog
from beamfall.shots.describe import describe_record
from beamfall.shots.outcome import make_record
from beamfall.text import show_text
from beamfall.workflows.series import Shooter

_SEQUENCE = Sequence(
    rows=(
        Row("release", 0, "valve1", 0.1, 0.013),
        Row("release", 0, "valve1", 0.2, 0.013),
        Row("beam1", 2, "flash1", 0.186, 0.002),
    ),
    window_s=1.0,
    blanking_s=0.02,
)
_LINES_MOST = 100_000  # frames in one input: more would be a loop without end
_TIME_MOST_S = 1200.0  # of the board's clock
_LOGGED = 16  # one input in 16 goes through the log, which costs more than all the rest
_LOG_SHOTS = 500  # then a new log


@functools.cache
def _welcome() -> dict[str, Any]:
    return read_welcome()


class BoardTarget:
    """Everything that can be asked of a board, which the input answers. `frames` counts what the boards have sent."""

    def __init__(self) -> None:
        self.frames = 0
        self._runs = 0
        self._folder = tempfile.TemporaryDirectory(prefix="beamfall-fuzz-")
        self._log: ShotLog | None = None

    def __call__(self, data: bytes) -> None:
        script = Script(data)
        line = HostileLine(script, _welcome())
        try:
            self._talk(script, line)
        except BeamfallError as error:
            show_text(str(error))
        self.frames += line.said
        assert line.said < _LINES_MOST, line.said
        assert line.clock() < _TIME_MOST_S, line.clock()

    def _talk(self, script: Script, line: HostileLine) -> None:
        """Ask one thing after another while the input has answers; then check that the host still works."""
        self._runs += 1
        board = Board(Link(line, acknowledge_on_receipt=False))
        acts = self._list_acts(board)
        first = script.byte()
        for place in range(len(acts)):
            if script.is_spent:
                break
            self._act(acts[(first + place) % len(acts)])
        self._act(board.abort)
        for outcome in board.take_outcomes():
            table = _SEQUENCE.make_table(board.info)
            record = make_record(table, outcome, timing=board.info.timing.label)
            describe_record(record)
            record.to_json()

    @staticmethod
    def _act(act: Callable[[], object]) -> None:
        try:
            act()
        except BeamfallError as error:
            show_text(str(error))

    def _list_acts(self, board: Board) -> tuple[Callable[[], object], ...]:
        return (
            lambda: self._fire(board) if self._runs % _LOGGED == 0 else board.shoot(_SEQUENCE),
            board.status,
            lambda: board.drip(1, 0.013),
            lambda: board.test_flash(1, 0.002),
            lambda: board.rinse(1, 1.0, lambda seconds: True),
            board.slots,
            lambda: board.watch(True),
            lambda: list(zip(range(200), board.events(0.1), strict=False)),
            board.settle,
            board.abort,
        )

    def _fire(self, board: Board) -> None:
        if self._log is None or self._log.count_shots() > _LOG_SHOTS:
            if self._log is not None:
                self._log.close()
                self._folder.cleanup()
                self._folder = tempfile.TemporaryDirectory(prefix="beamfall-fuzz-")
            self._log = ShotLog.open(Path(self._folder.name) / "log.sqlite3")
        Shooter.begin(board, self._log, "shoot", rig=None).fire(_SEQUENCE)
        self._log.list_shots(limit=3)


TARGETS: dict[str, Callable[[bytes], None]] = {"talk": BoardTarget(), **outside_files.TARGETS}
