"""`beamfall check` and `beamfall beam` as they are typed."""

from __future__ import annotations

import io
import json
import sys
from pathlib import Path

import pytest

from beamfall.board import Board
from beamfall.cli import main
from beamfall.events import Edge, Outcome
from beamfall.faults.catalogue import load_catalogue
from beamfall.setup.rig import EXAMPLE
from beamfall.setup.signals import Signal
from beamfall.sim.faults import FAULTS
from beamfall.workflows.watch import BeamView


def test_list_prints_a_cause_a_line_its_name_first(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", "--list"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert [line.split()[0] for line in lines] == list(FAULTS)


def test_json_is_one_object_at_the_end(capsys: pytest.CaptureFixture[str]) -> None:
    port = "sim?fault=outputs-swapped"
    arguments = ["--simulated-person", "--wrong-answers", "0.1", "--json", "--seed", "4"]
    assert main(["check", "--port", port, *arguments]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["ranked"][0]["name"] == "outputs-swapped"
    assert 0.5 < found["ranked"][0]["probability"] <= 1.0
    assert isinstance(found["questions"], int)
    assert "plugs" in found["advice"]


def test_the_same_seed_finds_the_same(capsys: pytest.CaptureFixture[str]) -> None:
    said = []
    for _ in range(2):
        main(["check", "--port", "sim?seed=9&fault=flash-cable", "--simulated-person", "--json"])
        said.append(capsys.readouterr().out)
    assert said[0] == said[1]


def test_text_says_reason_and_advice(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", "--port", "sim?fault=valve-unplugged", "--simulated-person"]) == 0
    said = capsys.readouterr().out
    cause = load_catalogue().causes["valve-unplugged"]
    assert cause.what in said and all(caution in said for caution in cause.cautions)
    assert "supply" in cause.advice and cause.advice in said


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--port", "sim", "--wrong-answers", "0.1"], "--simulated-person"),
        (["--port", "sim?fault=none-such", "--simulated-person"], "none-such"),
    ],
)
def test_mistakes_are_told(
    arguments: list[str], words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["check", *arguments]) == 2
    assert words in capsys.readouterr().err


def test_a_person_at_the_terminal_is_led_and_warned(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Enter to begin; then by number or word, whatever is asked: no drop, no click, and so on."""
    lines = ["", *(["", "no"] * 40)]
    monkeypatch.setattr(sys, "stdin", io.StringIO("\n".join(lines) + "\n"))
    assert main(["check", "--port", "sim?fault=bottle-empty"]) == 0
    said = capsys.readouterr()
    catalogue = load_catalogue()
    assert all(catalogue.cautions[name] in said.err for name in ("strobe", "wet"))
    question = catalogue.questions["saw-drop"].text
    assert question in said.err and question not in said.out
    assert "bottle-empty" in said.out


def test_a_beams_view_follows_its_edges() -> None:
    signals = Signal

    def edge(level: int, ticks: int, name: str = "beam1") -> Edge:
        return Edge(signals[name], level, ticks, stamped=True)

    view = BeamView(1, 1_000_000)
    view.take((edge(1, 1000), edge(1, 2000, "beam2")))
    assert (view.is_dark, view.count, view.dwell_s) == (True, 1, None)
    view.take((edge(0, 4000), edge(1, 9000), edge(0, 10_000)))
    assert (view.is_dark, view.count, view.dwell_s) == (False, 2, 0.001)
    assert view.longest_s == 0.003


def test_beam_shows_what_crosses_it(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["beam", "--port", "sim?fault=valve-leaking", "--for", "2 s"]) == 0
    lines = capsys.readouterr().out.splitlines()
    signal, state, _, count = lines[0].split()[:4]
    assert (signal, state, count) == ("beam1", "clear", "0")
    assert "last dwell 3." in lines[-1]


@pytest.mark.full
def test_beam_lets_drops_fall_to_align_by(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["beam", "--port", "sim", "--drops", "--for", "3 s"]) == 0
    assert "count 2" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("more", "opening_s"), [((), 0.026), (("RIG",), 0.021), (("RIG", "--opening", "15 ms"), 0.015)]
)
def test_beam_opens_the_valve_as_the_rig_file_says(
    more: tuple[str, ...], opening_s: float, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    text = EXAMPLE.read_text(encoding="utf-8")
    assert 'opening = "26 ms"' in text
    rig = tmp_path / "rig.toml"
    rig.write_text(text.replace('opening = "26 ms"', 'opening = "21 ms"'), encoding="utf-8")
    opened = []
    drip = Board.drip

    def note(board: Board, valve: int, seconds: float) -> Outcome:
        opened.append(seconds)
        return drip(board, valve, seconds)

    monkeypatch.setattr(Board, "drip", note)
    words = [str(rig) if word == "RIG" else word for word in more]
    assert main(["beam", *words, "--port", "sim", "--drops", "--for", "1 s"]) == 0
    assert set(opened) == {opening_s}


def test_beam_tells_a_dark_beam(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["beam", "--port", "sim?fault=beam-stuck-dark", "--for", "0.7 s"]) == 0
    assert "DARK" in capsys.readouterr().out


@pytest.mark.parametrize("duration", ["0 s", "-2 s"])
def test_a_beam_is_not_watched_for_no_time(
    duration: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["beam", "--port", "sim", "--for", duration]) == 2
    said = capsys.readouterr()
    assert f'--for = "{duration}"' in said.err and "10 s" in said.err and not said.out
