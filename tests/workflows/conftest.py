"""Workflows through the terminal and through the page: in this process, on the same simulated rig."""

from __future__ import annotations

import io
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from spared_work import nothing_left_to_draw, plans_made_once  # noqa: F401

sys.path.insert(0, str(Path(__file__).parent))
from workflow_helpers import RIG, SEED

from beamfall.cli import main
from beamfall.page.board_thread import BoardThread
from beamfall.page.desk import Desk
from beamfall.page.hub import Hub
from beamfall.page.listening import make_opener
from beamfall.page.work import Job

PACE = 200.0
_PATIENT_S = 120.0  # other tests may share the processor


@pytest.fixture
def rig_file(tmp_path: Path) -> Path:
    file = tmp_path / "rig.toml"
    file.write_text(RIG, encoding="utf-8")
    return file


@pytest.fixture
def use_log(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[str], Path]:
    """Have what follows log into a file of that name; what was learned before lies beside the log before."""
    used: list[Path] = []

    def use(name: str) -> Path:
        path = tmp_path / name / "shots.sqlite3"
        monkeypatch.setenv("BEAMFALL_LOG", str(path))
        learned = tmp_path / "rig.learned.json"
        if learned.exists():
            learned.rename(used[-1].with_name(learned.name))
        used.append(path)
        return path

    return use


@pytest.fixture
def type_in(monkeypatch: pytest.MonkeyPatch) -> Callable[..., None]:
    """Have lines wait on standard input."""

    def give(*lines: str) -> None:
        monkeypatch.setattr(sys, "stdin", io.StringIO("".join(f"{line}\n" for line in lines)))

    return give


@pytest.fixture
def at_terminal(rig_file: Path) -> Callable[..., int]:
    """Run a command on the simulated rig."""

    def command(name: str, *arguments: str, port: str = "sim", rig: bool = True) -> int:
        named = [str(rig_file)] if rig else []
        return main([name, *named, "--port", port, "--seed", str(SEED), *arguments])

    return command


class OnPage:
    """The page's board thread, with no server and no browser."""

    def __init__(self, rig_file: Path, log_path: Path, port: str, pace: float) -> None:
        self.hub = Hub()
        self.desk = Desk(self.hub, rig_file)
        self.bench = BoardThread(
            self.hub, self.desk, make_opener(port, SEED), log_path=log_path, seed=SEED, pace=pace
        )
        self.desk.start()
        self.bench.start()
        self.wait(
            lambda: (self.hub.get("link") or {}).get("state") == "up" and self.hub.get("plan")
        )
        self.desk.wait(_PATIENT_S)

    def wait(self, what: Callable[[], Any]) -> Any:
        end = time.monotonic() + _PATIENT_S
        while not (found := what()):
            assert time.monotonic() < end, f"it did not come to that: {self.hub.get('job')}"
            time.sleep(0.005)
        return found

    def do(self, job: Job, answer: Callable[[Any], str | None] | None = None) -> Any:
        """Have a job done and its questions answered (None: not); return how the hub shows its end."""
        before = (self.hub.get("job") or {}).get("id")
        self.bench.submit(job)
        answered = 0
        while True:
            shown = self.wait(lambda after=answered: self._look(before, after))
            if shown["state"] != "running":
                self.wait(lambda: self.bench._running is None)
                return shown
            question = shown["question"]
            answered = question["id"]
            assert answer is not None, f"nobody expected to be asked: {question['text']}"
            given = answer(question)
            if given is not None:
                self.bench.answers.give(answered, given)

    def _look(self, before: int | None, answered: int) -> Any:
        """The job after `before`, once it asks something after `answered` or has ended."""
        shown = self.hub.get("job")
        if shown is None or shown["id"] == before:
            return None
        asks = shown["question"] and shown["question"]["id"] > answered
        return shown if asks or shown["state"] != "running" else None

    def close(self) -> None:
        self.bench.close()
        self.desk.close()


@pytest.fixture
def on_page(rig_file: Path) -> Iterator[Callable[..., OnPage]]:
    running: list[OnPage] = []

    def begin(log_path: Path, *, port: str = "sim", pace: float = PACE) -> OnPage:
        running.append(OnPage(rig_file, log_path, port, pace))
        return running[-1]

    yield begin
    for one in running:
        one.close()
