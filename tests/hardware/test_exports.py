"""The KiCad netlist, the bill of materials and the tables say the same as the netlist."""

from __future__ import annotations

import csv
import io
import re

import pytest
from circuit import bill, connections, kicad, tables
from circuit.catalogue import ITEMS


def read_expression(text: str):
    """A reader of s-expressions written for this test: nested lists of strings."""
    stack, current = [], []
    for token in re.findall(r'"(?:[^"\\]|\\.)*"|[()]|[^\s()]+', text):
        if token == "(":
            stack.append(current)
            current = []
        elif token == ")":
            stack[-1].append(current)
            current = stack.pop()
        else:
            current.append(token.strip('"'))
    assert not stack, "brackets do not close"
    return current[0]


def test_kicad_netlist_by_a_reader_of_our_own(circuit):
    tree = read_expression(kicad.kicad_netlist(circuit))
    assert tree[0] == "export" and tree[1] == ["version", "E"]
    sections = {section[0]: section[1:] for section in tree[1:]}
    refs = {dict(f for f in comp[1:] if len(f) == 2)["ref"] for comp in sections["components"]}
    assert refs == {part.ref for part in circuit.parts}
    nets = {}
    for net in sections["nets"]:
        name = next(field[1] for field in net[1:] if field[0] == "name")
        nets[name] = {(node[1][1], node[2][1]) for node in net[1:] if node[0] == "node"}
    assert nets == {n: {(p.ref, pin) for p, pin in pins} for n, pins in circuit.nets().items()}


@pytest.mark.filterwarnings("ignore::DeprecationWarning")
@pytest.mark.full
def test_kicad_netlist_by_an_independent_reader(circuit, tmp_path):
    kinparse = pytest.importorskip("kinparse", reason="kinparse (PyPI) is not installed")
    path = tmp_path / "controller.net"
    path.write_text(kicad.kicad_netlist(circuit))
    netlist = kinparse.parse_netlist(str(path))
    assert {part.ref for part in netlist.parts} == {part.ref for part in circuit.parts}
    read = {net.name: {(pin.ref, pin.num) for pin in net.pins} for net in netlist.nets}
    assert read == {n: {(p.ref, pin) for p, pin in pins} for n, pins in circuit.nets().items()}


def test_bill_lists_every_part_once(circuit):
    everything = list(csv.DictReader(io.StringIO(bill.bill_csv(circuit))))
    rows = [row for row in everything if row["references"]]
    assert all(row["fit"] == "beside the circuit" for row in everything if row not in rows)
    refs = [ref for row in rows for ref in row["references"].split()]
    assert sorted(refs) == sorted(part.ref for part in circuit.parts)
    assert {row["item"] for row in rows} == set(ITEMS)
    for row in rows:
        assert int(row["quantity"]) == len(row["references"].split())
        for column in ("description", "purpose", "substitutes", "cost"):
            assert row[column], f"{row['item']} has no {column}"


def test_thyristors_are_the_only_parts_not_always_fitted(circuit):
    rows = csv.DictReader(io.StringIO(bill.bill_csv(circuit)))
    assert [row["item"] for row in rows if row["fit"].startswith("in a socket")] == ["SCR"]


def test_tables_compare_numbers_with_a_tolerance_and_words_without():
    assert tables.first_difference("a 100 b", "a 102 b", 0.03) is None
    assert tables.first_difference("a 100 b", "a 110 b", 0.03)
    assert tables.first_difference("a 100 b", "a 102 b")
    assert tables.first_difference("a 100 b", "a 100 c", 0.03)
    assert tables.first_difference("x\n", "x\ny\n", 0.03)


def test_connections_name_every_pin_of_every_net(circuit):
    joined: dict[str, set[str]] = {}
    for line in connections.connections_page(circuit).splitlines():
        match = re.fullmatch(r"\| (?:rail \*\*)?(\w+)(?:\*\*)? \| (.*) \|", line)
        if match and match[1] != "connection":
            pins = {" ".join(end.split()[:2]) for end in match[2].split(", ")}
            joined.setdefault(match[1], set()).update(pins)
    assert joined == {
        net: {f"{part.ref} {pin}" for part, pin in pins} for net, pins in circuit.nets().items()
    }


PAGES = ("README.md", "build.md", "rig.md", "cautions.md", "wiring/README.md")


@pytest.mark.parametrize("page", PAGES)
def test_the_guide_names_only_parts_that_exist(circuit, hardware, page):
    text = (hardware / page).read_text()
    known = {part.ref for part in circuit.parts}
    named = set(re.findall(r"\b(?:R|RV|C|D|LED|Q|U|F|J|S|L|M)\d{1,3}\b", text))
    assert named <= known, f"{page} names {sorted(named - known)}"


@pytest.mark.parametrize("page", PAGES)
def test_the_guides_links_and_pictures_exist(hardware, page):
    text = (hardware / page).read_text()
    for target in re.findall(r"\]\(([^)#\s]+)", text):
        assert ((hardware / page).parent / target).exists(), f"{page} points to {target}"


def test_the_guide_fits_every_part(circuit, hardware):
    # Blocks that are alike are named by their first; some steps take a whole block from the list.
    text = (hardware / "build.md").read_text()
    by_step = {"sensing", "receivers", "beam1", "beam2", "light1", "buffer", "board"}
    first = {part.ref for part in circuit.parts if not re.search(r"[23]$", part.block)}
    for part in circuit.parts:
        if part.ref in first and part.block not in by_step:
            assert re.search(rf"\b{part.ref}\b", text), f"no step of the guide fits {part.ref}"


def test_the_guide_shows_every_picture(hardware):
    text = "".join((hardware / page).read_text() for page in PAGES)
    for path in (hardware / "pictures").glob("*.png"):
        assert f"](pictures/{path.name})" in text, f"{path.name} is shown nowhere"
