"""The schematics show exactly the connections of the netlist."""

from __future__ import annotations

import dataclasses
import os

import pytest

if not os.environ.get("CI"):  # in CI a missing schemdraw is a failure
    pytest.importorskip(
        "schemdraw", reason="schemdraw is not installed: pip install beamfall[hardware]"
    )

from circuit import sheet, sheets, twins
from circuit.netlist import Part


@pytest.fixture(scope="module")
def drawn(circuit):
    return sheets.draw_sheets(circuit)


def compare(drawn, circuit):
    return sheet.compare(drawn, circuit, twins.skipped_refs(circuit), twins.skipped_pins(circuit))


def test_drawings_and_netlist_agree(drawn, circuit):
    assert compare(drawn, circuit) == []


def test_a_connection_that_is_drawn_wrongly_is_found(drawn, circuit):
    part = circuit.part("R110")
    moved = circuit.with_part(dataclasses.replace(part, pins={"1": "OUT_VALVE1", "2": "DRAIN1"}))
    assert any("valve_schematic: joins DRAIN1, GATE1" in line for line in compare(drawn, moved))


def test_a_part_that_is_not_drawn_is_found(drawn, circuit):
    more = circuit.with_part(Part("R99", "R10K", "supply", {"1": "VS", "2": "GND"}))
    assert "R99 pin 1 is not drawn" in compare(drawn, more)


def test_a_net_in_two_pieces_is_found(circuit):
    torn = sheet.Sheet(circuit, "torn", "torn")
    torn.pins += [((0.0, 0.0), "R110", "2"), ((5.0, 5.0), "R111", "1")]
    findings = sheet.compare([torn], circuit)
    assert any("net GATE1 is drawn in 2 pieces" in line for line in findings)


def test_wires_that_only_cross_do_not_join(circuit):
    crossing = sheet.Sheet(circuit, "crossing", "crossing")
    crossing.wires += [((0.0, 0.0), (2.0, 0.0)), ((1.0, -1.0), (1.0, 1.0))]
    crossing.tags += [((0.0, 0.0), "VS"), ((1.0, 1.0), "V5")]
    assert {frozenset(names) for _, names in crossing.groups()} == {
        frozenset({"VS"}),
        frozenset({"V5"}),
    }


def test_a_wire_that_ends_on_another_joins(circuit):
    joined = sheet.Sheet(circuit, "joined", "joined")
    joined.wires += [((0.0, 0.0), (2.0, 0.0)), ((1.0, 0.0), (1.0, 1.0))]
    joined.tags += [((0.0, 0.0), "VS"), ((1.0, 1.0), "V5")]
    assert {frozenset(names) for _, names in joined.groups()} == {frozenset({"VS", "V5"})}


def test_pictures_are_written(drawn, tmp_path):
    for path in drawn[0].save(tmp_path):
        assert path.stat().st_size > 5000
        head = path.read_bytes()[:8]
        assert head.startswith(b"\x89PNG") or head.startswith(b"<?xml")
