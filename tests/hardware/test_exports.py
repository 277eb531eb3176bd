"""The bill of materials, the order lists and the tables say the same as the KiCad netlist."""

from __future__ import annotations

import csv
import io
import re
from collections import Counter

import pytest
from circuit import bill, connections, profiles, tables, wiring
from circuit.catalogue import ITEMS
from circuit.errors import NetlistError
from circuit.netlist import NETLIST, read_netlist


def test_the_boards_socket_carries_the_lines_that_the_pico_profile_names(circuit):
    profile = profiles.read_profile(profiles.PROFILES / "pico_w.py")
    rows = wiring.wiring_rows(circuit, profile, profiles.read_signals())
    on_header = [row for row in rows if row["header position"]]
    assert on_header
    for row in on_header:
        assert row["M1 socket"] == row["header position"], row


def test_every_part_on_the_board_has_a_footprint_with_a_pad_for_each_pin(circuit):
    for part in circuit.parts:
        assert set(part.pads) == set(part.pins)
        beside = part.item.kind in ("coil", "phototransistor", "photodiode", "button", "switch")
        if not beside and part.item_key not in ("LEDIR", "JDC", "JFLASH", "JCAM"):
            assert ":" in part.footprint, f"{part.ref} has no footprint"


def test_a_part_without_its_fields_is_refused(tmp_path):
    path = tmp_path / "netlist.xml"
    path.write_text(NETLIST.read_text().replace('<field name="Block">supply</field>', "", 1))
    with pytest.raises(NetlistError):
        read_netlist(path)


def test_the_order_lists_name_only_lines_of_the_bill_and_the_kit_is_smaller(circuit):
    kit, whole = (
        list(csv.DictReader(io.StringIO(bill.order_csv(circuit, kit=kit)))) for kit in (True, False)
    )
    assert (
        {row["Customer Reference"] for row in kit}
        <= {row["Customer Reference"] for row in whole}
        <= set(ITEMS)
    )
    assert sum(int(row["Quantity"]) for row in kit) < sum(int(row["Quantity"]) for row in whole)
    low, high = bill.price_range(circuit, kit=True)
    assert 0 < low < high < bill.price_range(circuit, kit=False)[1]


def test_each_line_of_the_bill_names_two_examples(circuit):
    """A test point is a loop of wire: nothing to order."""
    bought = [row for row in bill.bill_rows(circuit) if row["references"]]
    one_at_most = [row["item"] for row in bought if not row["example 1"] or not row["example 2"]]
    assert one_at_most == ["TESTPOINT"]
    assert all(row["example 1"] != row["example 2"] for row in bought if row["example 1"])


def test_the_order_lists_hold_each_contact_of_a_plug_and_the_spare_fuses(circuit):
    whole = list(csv.DictReader(io.StringIO(bill.order_csv(circuit, kit=False))))
    pieces = {row["Manufacturer Part Number"]: int(row["Quantity"]) for row in whole}
    lines = Counter(part.item_key for part in circuit.parts)
    beams, fuses = lines["JBEAM"], lines["FF630"]
    assert pieces["Molex 22-27-2041"] == beams and pieces["Littelfuse 0217.630HXP"] == 3 * fuses
    contacts = [row for row in whole if row["Manufacturer Part Number"] == "Molex 08-50-0114"]
    assert {row["Customer Reference"]: int(row["Quantity"]) for row in contacts} == {
        "JBEAM": 4 * beams,
        "JLIGHT": 2 * lines["JLIGHT"],
    }


def test_the_kit_is_small_and_lacks_nothing_that_protects(circuit):
    kit = {part.ref for part in circuit.parts if bill.in_kit(part)}
    assert bill.count_parts(circuit, kit=True) <= 70
    protect = {"F1", "F110", "Q1", "D1", "D2"}  # fuses, reverse polarity, surges
    protect |= {"D110", "D111", "R111"}  # the coil's clamp, the gate's pull-down
    protect |= {"Q140", "Q141", "R141", "R143", "D140"}  # supply only while the valve is commanded
    # Off at the start; what leaves the box.
    protect |= {"R21", "R24", "D411", "D412", "R417", "R418"}
    assert protect <= kit
    # Each input of the comparator that serves nothing rests at a rail, signal and threshold at different ones.
    for name in ("BEAM2", "LIGHT1"):
        for net, rail in ((f"{name}_SIGNAL", "GND"), (f"{name}_THRESHOLD", "V3")):
            assert [one for one in circuit.between(net, rail, "resistor") if one.ref in kit], net


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


PAGES = (
    "README.md",
    "first_picture.md",
    "parts/README.md",
    "build.md",
    "rig.md",
    "cautions.md",
    "wiring/README.md",
)


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
