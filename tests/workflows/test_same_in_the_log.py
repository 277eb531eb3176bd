"""Each workflow fires and learns the same, at the terminal and on the page."""

from __future__ import annotations

import contextlib
import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from workflow_helpers import SEED

from beamfall.board import Board
from beamfall.cli import main
from beamfall.faults.setup import make_setup
from beamfall.page.jobs import (
    make_arm,
    make_calibrate,
    make_check,
    make_release,
    make_repeat,
    make_seek,
    make_sweep,
    make_sweep_resume,
)
from beamfall.page.words import AGREE
from beamfall.page.work import Work
from beamfall.setup.rig import load_rig
from beamfall.shots import ShotLog
from beamfall.workflows.check import Look, check, find_hands
from beamfall.workflows.run import PythonFrontEnd, run
from beamfall.workflows.series import Shooter
from beamfall.workflows.steps import WarmingUp
from beamfall.workflows.words import say_warming_up

# What each series draws again where the board is a real one, and where the port is told apart.
_OWN = ("rest_seed", "port")


@pytest.fixture
def assert_same(
    use_log: Any, monkeypatch: pytest.MonkeyPatch
) -> Callable[[Path, Path], list[dict[str, Any]]]:
    """Compare logs, rests between shots, calibrations and what was learned; return the log, series by series."""
    rests: dict[Path, list[float]] = {}
    rest = Shooter.rest

    def note(self: Shooter, seconds: float, *more: float) -> float:
        chosen = rest(self, seconds, *more)
        rests.setdefault(self.log.path, []).append(chosen)
        return chosen

    monkeypatch.setattr(Shooter, "rest", note)

    def compare(terminal: Path, paged: Path) -> list[dict[str, Any]]:
        use_log("none")
        logged = read_log(paged)
        assert logged == read_log(terminal)
        assert rests.get(paged) == rests.get(terminal)
        assert bool(rests.get(paged)) == any(len(series["shots"]) > 1 for series in logged)
        assert _read_calibrations(paged) == _read_calibrations(terminal)
        assert _read_learned(paged) == _read_learned(terminal)
        return logged

    return compare


def _read_calibrations(path: Path) -> list[tuple[Any, ...]]:
    with ShotLog.open(path, read_only=True) as log:
        return log.query("SELECT shots, content FROM calibration")


def _read_learned(log: Path) -> Any:
    """What was learned while this log was in use, without times of day; `use_log` has moved it there."""
    kept = log.with_name("rig.learned.json")
    if not kept.exists():
        return None
    return json.loads(
        kept.read_text(encoding="utf-8"),
        object_pairs_hook=lambda pairs: {k: v for k, v in pairs if k != "when"},
    )


def read_log(path: Path) -> list[dict[str, Any]]:
    """What reached the log, series by series, without times of day."""
    with ShotLog.open(path, read_only=True) as log:
        return [
            {
                "kind": series.kind,
                "settings": {k: v for k, v in series.settings.items() if k not in _OWN},
                "seed": series.seed,
                "rig": series.rig_name,
                "shots": [_read_shot(log, line.shot) for line in log.list_shots(limit=None, series=series.series)],
            }
            for series in log.list_series(limit=None)
        ]  # fmt: skip


def _read_shot(log: ShotLog, shot: int) -> dict[str, Any]:
    logged = log.read_shot(shot)
    return {
        "state": logged.line.shown_state,
        "cause": logged.line.cause,
        "sequence": logged.table,
        "swept": logged.record.swept,
        "note": logged.line.note,
        "rig": logged.rig,
        "edges": logged.record.edges,
    }


def test_shoot(use_log: Any, at_terminal: Any, on_page: Any, assert_same: Any) -> None:
    terminal, paged = use_log("terminal"), use_log("page")
    use_log("terminal")
    assert at_terminal("shoot", "--count", "3") == 0
    use_log("page")
    page = on_page(paged)
    assert page.do(make_arm())["state"] == "ended"
    assert page.do(make_release(3))["state"] == "ended"
    logged = assert_same(terminal, paged)
    assert [shot["swept"] for shot in logged[0]["shots"]] == [{"warm_up": 1}, None, None, None]


def test_drops_that_fall_first_are_announced_alike(
    use_log: Any, at_terminal: Any, on_page: Any, capsys: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    use_log("terminal")
    at_terminal("shoot")
    said = say_warming_up(WarmingUp(1))
    assert said in capsys.readouterr().out.splitlines()
    told: list[str] = []
    tell = Work.tell

    def note(work: Work, **values: Any) -> None:
        told.append(values.get("text", ""))
        tell(work, **values)

    monkeypatch.setattr(Work, "tell", note)
    page = on_page(use_log("page"))
    page.do(make_arm())
    page.do(make_release(2))
    assert told.count(said) == 1


SWEEP = ("--of", "flash", "--from", "182 ms", "--to", "185 ms", "--step", "1 ms", "--shuffle")


def test_sweep(use_log: Any, at_terminal: Any, on_page: Any, assert_same: Any) -> None:
    terminal, paged = use_log("terminal"), use_log("page")
    use_log("terminal")
    assert at_terminal("sweep", *SWEEP, "--rest", "0.3 s") == 0
    use_log("page")
    page = on_page(paged)
    job = make_sweep("flash", "182 ms", "185 ms", "1 ms", 1, "shuffle", "0.3 s")
    shown = page.do(job)
    assert (shown["state"], shown["done"]) == ("ended", 4)
    logged = assert_same(terminal, paged)
    assert len(logged[0]["shots"]) == 5, "the warm-up and four steps"


@pytest.mark.full
def test_a_sweep_that_was_stopped_is_resumed(
    use_log: Any, at_terminal: Any, on_page: Any, assert_same: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Somebody stops after two steps; the rest is fired by the other front end, with the sweep's own rest."""
    rests: list[float] = []
    rest = Shooter.rest
    monkeypatch.setattr(
        Shooter, "rest", lambda self, s, *more: (rests.append(s), rest(self, s, *more))[1]
    )
    logs = {name: use_log(name) for name in ("terminal", "page")}
    for name, path in logs.items():
        use_log(name)
        with stopped_after(3, monkeypatch):  # the warm-up counts
            assert at_terminal("sweep", *SWEEP, "--rest", "0.3 s") == 130
        if name == "terminal":
            assert at_terminal("sweep", "--resume", "0", rig=False) == 0
        else:
            assert on_page(path).do(make_sweep_resume(0))["state"] == "ended"
    logged = assert_same(logs["terminal"], logs["page"])
    steps = [shot["swept"]["step"] for shot in logged[0]["shots"] if "step" in shot["swept"]]
    assert sorted(steps) == [1, 2, 3, 4]
    assert set(rests) == {0.3}, "after the warm-up too, and where it is resumed"


@contextlib.contextmanager
def stopped_after(shots: int, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Ctrl-C before one shot more."""
    fired: list[int] = []
    fire = Shooter.fire

    def count(self: Shooter, *arguments: Any, **options: Any) -> Any:
        if len(fired) == shots:
            raise KeyboardInterrupt
        fired.append(1)
        return fire(self, *arguments, **options)

    with monkeypatch.context() as patch:
        patch.setattr(Shooter, "fire", count)
        yield


@pytest.mark.full
def test_seek_by_the_simulated_photographer(
    use_log: Any, at_terminal: Any, on_page: Any, assert_same: Any
) -> None:
    terminal, paged = use_log("terminal"), use_log("page")
    use_log("terminal")
    at_terminal("seek", "--fresh", "--shots", "4")
    use_log("page")
    page = on_page(paged)
    page.do(make_seek("", 4, True, True))
    logged = assert_same(terminal, paged)
    assert all(shot["note"].startswith("seek: ") for shot in logged[0]["shots"][1:])


def test_seek_by_a_persons_answers(
    use_log: Any, at_terminal: Any, on_page: Any, assert_same: Any, type_in: Any
) -> None:
    # A jet that tall is asked about again, and kept.
    words = ["umbrella", "before jet 200 mm", "", "found"]
    terminal, paged = use_log("terminal"), use_log("page")
    use_log("terminal")
    type_in(*words)
    assert at_terminal("seek", "--fresh", "--ask") == 0
    use_log("page")
    answers = iter(word or AGREE for word in words)
    shown = on_page(paged).do(make_seek("", 20, True, False), lambda question: next(answers))
    assert shown["result"]["found"]
    logged = assert_same(terminal, paged)
    notes = [shot["note"] for shot in logged[0]["shots"][1:]]
    assert notes == ["seek: after", "seek: before", "seek: found"]


@pytest.mark.full
def test_a_search_that_is_stopped_keeps_what_it_has_learned(
    use_log: Any,
    at_terminal: Any,
    on_page: Any,
    assert_same: Any,
    type_in: Any,
    rig_file: Path,
    capsys: Any,
) -> None:
    """One answer, and then nobody at the terminal; an abort on the page."""
    learned = rig_file.with_name("rig.learned.json")
    terminal, paged = use_log("terminal"), use_log("page")
    use_log("terminal")
    type_in("before")
    assert at_terminal("seek", "--fresh", "--ask") == 130
    assert str(learned) in capsys.readouterr().out, "where it is kept is said"
    use_log("page")
    page = on_page(paged)
    answers = iter(["before"])

    def answer(question: Any) -> str | None:
        given = next(answers, None)
        if given is None:
            page.bench.abort()
        return given

    assert page.do(make_seek("", 20, True, False), answer)["state"] == "aborted"
    logged = assert_same(terminal, paged)
    assert _read_learned(paged) is not None
    assert [shot["note"] for shot in logged[0]["shots"]] == ["", "seek: before", ""]


def test_calibrate(use_log: Any, at_terminal: Any, on_page: Any, assert_same: Any) -> None:
    terminal, paged = use_log("terminal"), use_log("page")
    use_log("terminal")
    at_terminal("calibrate", "--count", "8")
    use_log("page")
    assert on_page(paged).do(make_calibrate(8, "0.3 mm"))["state"] == "ended"
    assert_same(terminal, paged)
    assert [shots for shots, _ in _read_calibrations(paged)] == ["[1,2,3,4,5,6,7,8]"]
    assert _read_learned(paged) is not None


def test_repeat(use_log: Any, at_terminal: Any, on_page: Any, assert_same: Any) -> None:
    logs = {name: use_log(name) for name in ("terminal", "page")}
    for name, path in logs.items():
        use_log(name)
        assert at_terminal("shoot", "--no-warm-up") == 0
        if name == "terminal":
            assert main(["shots", "repeat", "1", "--count", "2", "--port", "sim"]) == 0
        else:
            assert on_page(path).do(make_repeat(1, 2))["state"] == "ended"
    logged = assert_same(logs["terminal"], logs["page"])
    assert logged[1]["settings"]["of_shot"] == 1 and len(logged[1]["shots"]) == 2


def test_check_asks_the_same_and_finds_the_same(
    use_log: Any, on_page: Any, rig_file: Path, capsys: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A check logs nothing; it is its tests and its finding that are compared."""
    port = "sim?fault=flash-cable"
    rig = load_rig(rig_file)
    path = use_log("log")
    options = ["--port", port, "--seed", str(SEED), "--simulated-person", "--json"]
    assert main(["check", str(rig_file), *options]) == 0
    at_terminal = json.loads(capsys.readouterr().out)
    shown = on_page(path, port=port).do(make_check(True))
    assert shown["state"] == "ended", shown["text"]
    on_the_page = shown["result"]
    assert on_the_page["ranked"] == at_terminal["ranked"]
    assert on_the_page["tests"] == len(at_terminal["tests"]) == len(shown["lines"])
    # From plain Python, by the answers that a look at the simulated rig gives.
    asked: list[str] = []

    def answer(question: Any) -> str:
        asked.append(type(question).__name__)
        return question.simulated if isinstance(question, Look) else question.choices[0]

    with Board.connect(port, rig=rig, seed=SEED) as board:
        setup = make_setup(rig)
        hands = find_hands(board, setup)
        finding = run(check(board, setup, hands=hands), board, None, PythonFrontEnd(answer))
    assert [list(one) for one in finding.ranked] == [
        [one["name"], pytest.approx(one["probability"], abs=1e-4)] for one in at_terminal["ranked"]
    ]
    assert asked[0] == "Agree" and "Look" in asked
