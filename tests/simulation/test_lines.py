"""A simulated rig is wired as its file says: parts on any lines of the board, in any order."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from finding import find_faults
from tiers import in_full

from beamfall.board import Board
from beamfall.cli import main
from beamfall.faults.setup import make_setup
from beamfall.planning.make import make_plan
from beamfall.setup.rig import Rig, example_rig
from beamfall.setup.signals import Signal, SignalKind
from beamfall.sim.build import build_rig, draw_model
from beamfall.sim.model import BeamModel, ValveModel
from beamfall.sim.person import SimulatedPerson
from beamfall.sim.room import Room
from beamfall.sim.truth import take_truth

LINES = [("valve1", "beam1", "flash1"), ("valve2", "beam2", "flash2"), ("valve3", "beam1", "flash3"),
         ("valve1", "beam2", "flash3")]  # fmt: skip


def rig_at(valve: str, beam: str, flash: str) -> Rig:
    """The example rig with its parts at those lines of the board."""
    rig = example_rig()
    return replace(
        rig,
        valves=(replace(rig.valves[0], output=valve),),
        beams=(replace(rig.beams[0], input=beam),),
        flashes=(replace(rig.flashes[0], output=flash),),
    )


@pytest.mark.parametrize("lines", LINES)
def test_a_drop_and_a_flash_come_at_the_lines_of_the_file(lines: tuple[str, str, str]) -> None:
    valve, beam, flash = lines
    with Board.connect("sim", rig=rig_at(*lines), seed=1) as board:
        drop = board.drip(Signal.of(valve).number, 0.013)
        seen = [(e.signal.name, e.word) for e in drop.edges if e.signal.kind == "beam"]
        assert seen == [(beam, "dark"), (beam, "clear")]
        light = board.test_flash(Signal.of(flash).number, 0.002)
        assert ("light1", 1) in [(e.signal.name, e.level) for e in light.edges]
        # And nothing is where the file has nothing.
        idle = next(n for n in (1, 2, 3) if f"valve{n}" != valve)
        assert [e for e in board.drip(idle, 0.013).edges if e.signal.kind == "beam"] == []
        dark = next(n for n in (1, 2, 3) if f"flash{n}" != flash)
        edges = board.test_flash(dark, 0.002).edges
        assert "light1" not in {edge.signal.name for edge in edges}


@pytest.mark.parametrize("lines", LINES)
def test_the_same_drop_falls_whatever_line_its_valve_is_at(lines: tuple[str, str, str]) -> None:
    """A line is only a wire: at 125 MHz the beam's edges come at the same ticks as on the plain rig."""
    times = []
    for rig in (example_rig(), rig_at(*lines)):
        with Board.connect("sim", rig=rig, seed=5) as board:
            edges = board.drip(int(rig.valves[0].output[-1]), 0.013).edges
        times.append([edge.ticks for edge in edges if edge.signal.kind == "beam"])
    assert times[0] == times[1] and len(times[0]) == 2


@pytest.mark.parametrize("lines", LINES[1:])
def test_a_planned_shot_of_such_a_rig_fires_and_its_truth_names_its_lines(
    lines: tuple[str, str, str],
) -> None:
    valve, beam, flash = lines
    rig = rig_at(*lines)
    with Board.connect("sim", rig=rig, seed=1) as board:
        outcome = board.shoot(make_plan(rig).sequence)
        assert outcome.done.state.name == "fired"
        simulated = board.transport.rig
        assert simulated is not None
        truth, _ = take_truth(simulated, outcome.edges)
    assert {drop["valve"] for drop in truth["drops"]} == {Signal.of(valve).number}
    assert {name for drop in truth["drops"] for name in drop["beam_ticks"]} == {beam}
    assert [picture["flash"] for picture in truth["pictures"]] == [Signal.of(flash).number]
    # What the beam saw is what was true (protocol: 8 ns ticks; edges are taken at the next tick).
    dark = [e.ticks for e in outcome.edges if e.signal.name == beam and e.level]
    true = [drop["beam_ticks"][beam][0] for drop in truth["drops"]]
    assert dark == pytest.approx(true, abs=2)


def test_parts_may_be_listed_in_any_order() -> None:
    """Two beams and two valves, the second ones first: heights and places stay with their lines."""
    rig = example_rig()
    upper, lower = rig.beams[0], replace(rig.beams[0], input="beam2", height_m=0.30)
    aside = replace(rig.valves[0], output="valve2", place_m=0.05)
    turned = replace(rig, valves=(aside, rig.valves[0]), beams=(lower, upper))
    with Board.connect("sim", rig=turned, seed=2) as board:
        edges = [e for e in board.drip(1, 0.013).edges if e.signal.kind == "beam" and e.level]
        assert [edge.signal.name for edge in edges] == ["beam1", "beam2"], "the upper one first"
        past = [e for e in board.drip(2, 0.013).edges if e.signal.kind == "beam"]
        assert past == [], "valve 2 stands aside of both beams"


def test_lines_are_given_out_in_order_where_a_model_names_none() -> None:
    model = draw_model(example_rig(), 1)
    plain = replace(
        model,
        valves=(replace(model.valves[0], line=0),),
        beams=(BeamModel(0.4, 0.001, line=2), BeamModel(0.3, 0.001)),
    )
    assert plain.list_lines(SignalKind.VALVE) == (1, 2, 3)
    assert plain.list_lines(SignalKind.BEAM) == (2, 1)
    two = replace(plain, valves=(ValveModel(0.6, 1e-6, 0.01, 0.0, 0.02, 0.0, 0.0, line=3),))
    assert two.list_lines(SignalKind.VALVE) == (3, 1, 2)


@pytest.mark.parametrize(
    "fault", ["", "outputs-swapped", *in_full("beam-misaligned", "flash-asleep", "valve-leaking")]
)
def test_a_check_finds_what_is_wrong_with_such_a_rig(fault: str) -> None:
    rig = rig_at("valve2", "beam2", "flash3")
    setup = make_setup(rig)

    def set_up(board: Board) -> Any:
        simulated: Any = board.transport.rig
        return replace(setup, sequence=simulated.set_by_photographer(setup.sequence))

    def choose(board: Board, _: Any) -> SimulatedPerson:
        simulated: Any = board.transport.rig
        return SimulatedPerson(Room(simulated), valve=2, beam=2, flash=3, seed=1)

    port = f"sim?fault={fault}" if fault else "sim"
    finding = find_faults(
        lambda: Board.connect(port, rig=rig, seed=1), set_up, choose, bare_setup=lambda: setup
    )
    assert finding.ranked[0][0] == (fault or "nothing-wrong"), finding.ranked[:3]
    assert not [step.trouble for step in finding.steps if step.trouble]


def test_the_command_checks_a_rig_file_with_other_lines(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from beamfall.setup.rig import EXAMPLE

    text = EXAMPLE.read_text(encoding="utf-8")
    for kind, key in (("valve", "output"), ("flash", "output"), ("beam", "input")):
        text = text.replace(f'{key} = "{kind}1"', f'{key} = "{kind}2"')
    file = tmp_path / "other_lines.toml"
    file.write_text(text, encoding="utf-8")
    assert all(part in text for part in ('"valve2"', '"flash2"', '"beam2"'))
    assert main(["check", str(file), "--port", "sim", "--simulated-person", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["found"] == ["nothing-wrong"]


def test_a_person_in_the_room_finds_parts_by_their_lines() -> None:
    rig = build_rig(rig_at("valve3", "beam2", "flash2"), 1, "flash-asleep,beam-stuck-dark")
    room = Room(rig)
    assert not room.ready_lamp_on(2) and room.ready_lamp_on(1)
    assert not room.beam_path_free(2) and room.beam_path_free(1)
    rig.condition.valves[0].plug_in = False
    assert not room.valve_plug_in(3)
