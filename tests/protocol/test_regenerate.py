"""Files made from messages.toml are up to date, and the check names those that are not."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from beamfall.wire import regenerate

TOP = Path(__file__).parents[2]


@pytest.fixture
def copy_of_tree(tmp_path: Path) -> Path:
    shutil.copytree(TOP / "protocol", tmp_path / "protocol")
    for made in ("firmware/beamfall_board/wire_definition.py", "host/beamfall/setup/signals.py"):
        (tmp_path / made).parent.mkdir(parents=True)
        shutil.copy(TOP / made, tmp_path / made)
    return tmp_path


def test_the_committed_files_are_fresh() -> None:
    assert regenerate.find_stale(TOP) == []


def read_without_earlier_ones(path: Path) -> str:
    """messages.toml without the definitions it extends, because it is about to change by more than an added message."""
    return re.sub(r"\[\[extends\]\].*?\n\n", "", path.read_text(encoding="utf-8"), flags=re.DOTALL)


def test_a_change_of_the_definition_makes_every_file_that_has_it_stale(copy_of_tree: Path) -> None:
    path = copy_of_tree / "protocol" / "messages.toml"
    text = read_without_earlier_ones(path)
    changed = text.replace("report_window = 8", "report_window = 9").replace(
        "protocol = 1", "protocol = 2", 1
    )
    path.write_text(changed, encoding="utf-8")
    stale = [file.name for file in regenerate.find_stale(copy_of_tree)]
    assert stale == [
        "wire_definition.py",
        "SPEC.md",
        "vectors.json",
        "transcripts.json",
        "beamfall.lua",
    ]
    assert len(regenerate.regenerate(copy_of_tree)) == 5
    assert regenerate.find_stale(copy_of_tree) == []
    made = copy_of_tree / "firmware" / "beamfall_board" / "wire_definition.py"
    assert "REPORT_WINDOW = const(9)" in made.read_text(encoding="utf-8")


def test_a_new_kind_of_output_is_known_to_firmware_and_host_from_the_definition_alone(
    copy_of_tree: Path,
) -> None:
    path = copy_of_tree / "protocol" / "messages.toml"
    text = read_without_earlier_ones(path)
    text = text.replace(
        "[enums.signal.values]",
        'pump = { output = true, meaning = "a pump" }\n[enums.signal.values]\n'
        'pump1 = { value = 13, kind = "pump", number = 1, meaning = "pump 1" }',
    )
    path.write_text(text, encoding="utf-8")
    assert len(regenerate.regenerate(copy_of_tree)) == 6
    board: dict[str, Any] = {}
    exec((copy_of_tree / "firmware/beamfall_board/wire_definition.py").read_text(), board)
    assert (board["SIGNAL_PUMP1"], board["KIND_PUMP"]) == (13, (13,))
    made: dict[str, Any] = {"__name__": "made_signals"}
    exec((copy_of_tree / "host/beamfall/setup/signals.py").read_text(), made)
    assert made["SignalKind"].PUMP.nth(1) == 13
    assert made["Signal"].pump1 in made["OUTPUTS"]


def test_an_edit_of_a_generated_part_is_found_and_words_between_are_kept(
    copy_of_tree: Path,
) -> None:
    path = copy_of_tree / "protocol" / "SPEC.md"
    text = read_without_earlier_ones(path)
    path.write_text("Own words.\n" + text.replace("| `payload_max` | 240 |", ""), encoding="utf-8")
    assert regenerate.find_stale(copy_of_tree) == [path]
    regenerate.regenerate(copy_of_tree)
    assert path.read_text(encoding="utf-8") == "Own words.\n" + text


def test_check_fails_by_exit_status_and_names_the_file(
    copy_of_tree: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(regenerate, "find_checkout", lambda: copy_of_tree)
    assert regenerate.main(["--check"]) == 0
    (copy_of_tree / "protocol" / "vectors.json").write_text("{}", encoding="utf-8")
    assert regenerate.main(["--check"]) == 1
    assert "vectors.json" in capsys.readouterr().err


def test_the_command_runs() -> None:
    command = [sys.executable, "-m", "beamfall.wire.regenerate", "--check"]
    done = subprocess.run(command, cwd=TOP / "host", capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")
