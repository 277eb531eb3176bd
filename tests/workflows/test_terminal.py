"""What somebody at a terminal is told before and while a workflow runs."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from beamfall.board import Board
from beamfall.cli import main
from beamfall.events import Outcome
from beamfall.planning.seek.answer import WORDS
from beamfall.setup.rig import EXAMPLE
from beamfall.setup.signals import SignalKind
from beamfall.shots import ShotLog
from beamfall.shots.describe import list_seen
from beamfall.sim.traits import SimulatedStudio

AtTerminal = Callable[..., int]


@pytest.mark.parametrize(
    "command",
    [
        ("shoot",),
        ("sweep", "--from", "182 ms", "--to", "182 ms"),
        ("seek", "--fresh", "--shots", "1"),
    ],
)
def test_whoever_fires_flashes_is_warned_of_epilepsy_once(
    command: tuple[str, ...], use_log: Any, at_terminal: AtTerminal, capsys: Any
) -> None:
    use_log("log")
    at_terminal(*command)
    assert capsys.readouterr().err.count("epilepsy") == 1


@pytest.mark.parametrize(
    ("more", "contact_s"),
    [
        (("--flash", "1"), 0.005),
        (("--flash", "2"), 0.007),
        (("--flash", "3"), 0.002),
        (("--flash", "2", "--contact", "1 ms"), 0.001),
    ],
)
def test_a_flash_has_the_contact_of_its_rig_file(
    more: tuple[str, ...], contact_s: float, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    rig = tmp_path / "flashes.toml"
    text = EXAMPLE.read_text(encoding="utf-8").replace('contact = "2 ms"', 'contact = "5 ms"')
    rig.write_text(f'{text}\n[[flash]]\noutput = "flash2"\ncontact = "7 ms"\n', encoding="utf-8")
    widths_s = []
    test_flash = Board.test_flash

    def note(board: Board, flash: int, seconds: float) -> Outcome:
        outcome = test_flash(board, flash, seconds)
        on, off = [one for one in outcome.edges if one.signal.kind is SignalKind.FLASH]
        widths_s.append((off.ticks - on.ticks) / board.info.clock_hz)
        return outcome

    monkeypatch.setattr(Board, "test_flash", note)
    assert main(["flash", str(rig), "--port", "sim", *more]) == 0
    assert widths_s == [pytest.approx(contact_s, abs=1e-5)]


def test_seek_names_the_shot_and_its_timings_before_it_asks(
    use_log: Any, at_terminal: AtTerminal, type_in: Any, capsys: Any
) -> None:
    path = use_log("log")
    at_terminal("shoot", "--no-warm-up")
    capsys.readouterr()
    type_in("?", "umbrella", "found")
    assert at_terminal("seek", "--fresh", "--ask") == 0
    said = capsys.readouterr().out
    # Shot 1 is of the series before, shot 2 the warm-up.
    named = re.search(r"\bshot 3 .*\b20\b.* ms", said)
    assert named is not None
    # "?" explains the words, after the question.
    assert named.end() < said.index("?", named.end()) < said.index(WORDS["after"])
    with ShotLog.open(path, read_only=True) as log:
        notes = [line.note for line in log.list_shots(limit=None) if line.note]
    assert sorted(notes) == ["seek: after", "seek: found"]


def test_the_picture_is_there_before_it_is_asked_about(
    use_log: Any, at_terminal: AtTerminal, tmp_path: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """And the sheet at the end names the shots as the log does."""
    from beamfall.cli.seek_front import SeekTerminal

    use_log("log")
    at_terminal("shoot", "--no-warm-up")
    file = tmp_path / "seen.png"
    drawn: list[bool] = []

    def read(self: SeekTerminal, prompt: str) -> str:
        drawn.append(file.exists())
        return "found"

    captions: list[str] = []
    monkeypatch.setattr(SeekTerminal, "_read_line", read)
    monkeypatch.setattr(
        SimulatedStudio,
        "draw_sheet",
        lambda self, pictures, *_, **__: captions.extend(words for _, words in pictures),
    )
    assert at_terminal("seek", "--fresh", "--ask", "--picture", str(file)) == 0
    assert drawn == [True]
    assert any("3" in caption and "found" in caption for caption in captions), captions


def test_two_flashes_make_one_picture(
    use_log: Any, at_terminal: AtTerminal, rig_file: Any, capsys: Any
) -> None:
    path = use_log("log")
    with rig_file.open("a", encoding="utf-8") as file:
        file.write('\n[[flash]]\noutput = "flash2"\nlatency = "60 us"\nduration = "2 us"\n')
    at_terminal("shoot", "--no-warm-up")
    said = capsys.readouterr().out
    with ShotLog.open(path, read_only=True) as log:
        (seen,) = list_seen(log.read_shot(1).record)
    assert said.count(seen) == 1
