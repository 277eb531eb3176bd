"""Numbers and texts that no log can hold are reported as mistakes in the input, by name, and never as a bug."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from beamfall.cli import main
from beamfall.fault_report import BUG

HUGE = "9223372036854775808"  # 2^63: the first that SQLite cannot hold (sqlite.org/datatype3.html)


@pytest.fixture(autouse=True)
def log(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    path = tmp_path / "shots.sqlite3"
    monkeypatch.setenv("BEAMFALL_LOG", str(path))
    assert main(["shoot", "--port", "sim"]) == 0
    return path


@pytest.mark.parametrize(
    "arguments",
    [
        ["shots", "show", HUGE],
        ["shots", "list", "--series", "99999999999999999999"],
        ["shots", "note", HUGE, "a note"],
        ["shots", "rate", HUGE, "3"],
        ["shoot", "--port", "sim", "--seed", HUGE],
        ["shoot", "--port", "sim", f"--seed={HUGE}"],
    ],
)
def test_a_number_that_is_too_large_is_a_mistake_of_whoever_typed_it(
    arguments: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    """By its option if that has a bound, otherwise as it was typed."""
    assert main(arguments) == 2
    said = capsys.readouterr().err
    assert "2^63" in said or "9223372036854775807" in said or "digits" in said
    assert BUG not in said


def test_what_no_command_foresees_is_named_as_it_was_typed(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The net below all commands: such an error from anywhere, and such a value among what was typed."""
    from beamfall.shots import ShotLog

    def overflow(*_: object) -> None:
        raise OverflowError("somewhere inside")

    def encode(*_: object) -> None:
        "\udce9".encode()

    monkeypatch.setattr(ShotLog, "set_note", overflow)
    assert main(["shots", "note", "1", HUGE]) == 2
    assert HUGE in capsys.readouterr().err
    monkeypatch.setattr(ShotLog, "set_note", encode)
    assert main(["shots", "note", "1", "caf\udce9"]) == 2
    assert "UTF-8" in capsys.readouterr().err


def test_a_text_that_is_no_text_is_named(capsys: pytest.CaptureFixture[str]) -> None:
    """A byte that is no UTF-8 comes from the command line as half a surrogate pair (PEP 383)."""
    assert main(["shots", "note", "1", "caf\udce9"]) == 2
    said = capsys.readouterr().err
    assert r"caf\udce9" in said and "UTF-8" in said
    assert BUG not in said


def test_what_was_not_given_stays_a_fault_of_the_program(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The same errors from inside, when the input was correct, must not be blamed on the user."""
    from beamfall.shots import ShotLog

    for error in (OverflowError("inside"), UnicodeEncodeError("utf-8", "x", 0, 1, "inside")):

        def fail(*_: object, error: Exception = error, **__: object) -> None:
            raise error

        monkeypatch.setattr(ShotLog, "read_shot", fail)
        assert main(["shots", "show", "1"]) == 1
        assert BUG in capsys.readouterr().err


def test_help_shows_no_bound_that_nobody_comes_near(capsys: pytest.CaptureFixture[str]) -> None:
    for command in ("shoot", "seek", "sweep", "drip", "shots list", "shots repeat"):
        assert main([*command.split(), "--help"]) == 0
        said = capsys.readouterr().out
        assert "--help" in said and not re.search(r"[0-9]{12,}", said), command


def test_a_state_that_no_shot_is_in_is_a_mistake_also_without_a_log(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("BEAMFALL_LOG", str(tmp_path / "none.sqlite3"))
    assert main(["shots", "list"]) == 0
    assert main(["shots", "list", "--state", "zz"]) == 2
