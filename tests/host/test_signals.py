"""Each line of the board knows its kind and its number; nothing is read out of a name."""

from __future__ import annotations

from pathlib import Path

import pytest

import beamfall
from beamfall.plot.draw import COLOURS
from beamfall.setup.sequence import Row, Sequence
from beamfall.setup.sequence_file import parse_sequence
from beamfall.setup.signals import INPUTS, OUTPUTS, Signal, SignalKind
from beamfall.setup.table import Table
from beamfall.shots.record import EdgeRecord
from beamfall.wire import get_definition


def test_the_types_are_those_of_the_wire() -> None:
    defined = get_definition().signals
    assert [(one.value, one.name, one.kind, one.number, one.label) for one in Signal] == [
        (one.value, one.name, one.kind, one.number, one.meaning) for one in defined
    ]
    driven = {kind.name for kind in get_definition().signal_kinds if kind.output}
    assert {kind for kind in SignalKind if kind.is_output} == driven


def test_signals_are_found_by_name_by_number_and_by_place_in_their_kind() -> None:
    for signal in Signal:
        assert Signal.of(signal.name) is signal
        assert Signal.at(int(signal)) is signal
        assert signal.kind.nth(signal.number) is signal
        assert signal.kind.signals[signal.number - 1] is signal
        assert signal in (OUTPUTS if signal.is_output else INPUTS)
    assert {*OUTPUTS, *INPUTS} == set(Signal)


def test_the_contacts_of_the_camera_are_focus_and_shutter() -> None:
    assert SignalKind.CAMERA.names == ("focus", "shutter")


@pytest.mark.parametrize("number", [0, 4, -1])
def test_a_valve_that_no_board_has_is_an_error(number: int) -> None:
    with pytest.raises(LookupError):
        SignalKind.VALVE.nth(number)


def test_a_name_that_no_signal_has_is_an_error() -> None:
    assert Signal.find("valve9") is None
    with pytest.raises(LookupError):
        Signal.of("valve9")


OLD_TO_NEW = [("camera1", "focus"), ("camera2", "shutter")]


@pytest.mark.parametrize(("old", "new"), OLD_TO_NEW)
def test_a_sequence_file_with_an_old_name_is_still_read(old: str, new: str) -> None:
    entry = {"output": old, "delay": "1 ms", "width": "20 ms"}
    sequence = parse_sequence({"row": [entry]}, "old.toml")
    assert [row.output for row in sequence.rows] == [new]


@pytest.mark.parametrize(("old", "new"), OLD_TO_NEW)
def test_rows_tables_and_edges_of_an_old_log_have_the_new_name(old: str, new: str) -> None:
    table = Sequence(rows=(Row("release", 0, new, 0.001, 0.02),)).to_table(1_000_000)
    content = table.to_dict()
    content["rows"] = [[old if item == new else item for item in row] for row in content["rows"]]
    assert content != table.to_dict()
    again = Table.from_dict(content)
    assert again == table and again.digest == table.digest
    assert Row("release", 0, old, 0.001, 0.02).output == new
    assert EdgeRecord(old, "on", 1, 1) == EdgeRecord(new, "on", 1, 1)


def test_every_kind_has_a_colour_in_charts_and_on_the_page() -> None:
    css = (Path(beamfall.__file__).parent / "page" / "static" / "base.css").read_text()
    for kind in SignalKind:
        assert kind in COLOURS
        assert f"--{kind}:" in css
