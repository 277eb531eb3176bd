"""The bill of materials, made from the netlist, the catalogue and the list of what is needed beside them."""

from __future__ import annotations

from circuit.catalogue_orders import DATE, ORDERS, PRICES
from circuit.netlist import Circuit, Part
from circuit.sundries import SUNDRIES
from circuit.tables import to_csv

Row = dict[str, str | float]
# What a first picture needs: one valve, one beam, one flash.
KIT_BLOCKS = (
    "supply",
    "highside",
    "buffer",
    "board",
    "valve1",
    "shunt",
    "beam1",
    "receivers",
    "flash1",
)
# U3's other inputs must not float: one resistor on each puts its signal at ground and its threshold at 3.3 V, which
# keeps its output open.
KIT_RESISTORS = ("R420", "R421", "R430", "R431")
# Valves 2 and 3 in the high-side switch; the thyristor, which a link replaces; pull-downs of channels that lead to
# nothing; lamps for the eye only; a socket in the case's wall that the terminal replaces.
KIT_LEFT_OUT = (
    *("D141", "D142", "Q210"),
    *("R22", "R23", "R25", "R26", "R27", "R28"),
    *("LED2", "R3", "LED110", "R112"),
    "J211",
)


def in_kit(part: Part) -> bool:
    """True for what the first-picture kit contains."""
    return part.ref not in KIT_LEFT_OUT and (part.block in KIT_BLOCKS or part.ref in KIT_RESISTORS)


def count_parts(circuit: Circuit, *, kit: bool) -> int:
    """How many parts are bought; test points are loops of wire."""
    parts = (part for part in circuit.parts if part.item_key != "TESTPOINT")
    return sum(1 for part in parts if not kit or in_kit(part))


def bill_rows(circuit: Circuit) -> list[Row]:
    """One row for each item: how many, where, what it must be able to do, what else will do."""
    by_item: dict[str, list[str]] = {}
    for part in circuit.parts:
        by_item.setdefault(part.item_key, []).append(part.ref)
    optional = {part.ref for part in circuit.parts if part.optional}
    rows: list[Row] = []
    for key, refs in by_item.items():
        item = circuit.part(refs[0]).item
        rows.append(
            {
                "item": key,
                "quantity": len(refs),
                "quantity for first picture": sum(in_kit(circuit.part(ref)) for ref in refs),
                "references": " ".join(refs),
                "description": item.description,
                "value": item.value,
                "package": item.package,
                "purpose": item.purpose,
                "substitutes": item.substitutes,
                "cost": item.cost,
                "price class in euros": _class_range(item.cost),
                "example 1": ORDERS.get(key, ())[0] if ORDERS.get(key) else "",
                "example 2": ORDERS[key][1] if len(ORDERS.get(key, ())) > 1 else "",
                "fit": _fit(key, refs, optional, circuit),
            }
        )
    rows.sort(key=lambda row: str(row["item"]))
    for sundry in SUNDRIES:
        rows.append(
            {
                "item": sundry.key,
                "quantity": sundry.quantity,
                "references": "",
                "description": sundry.description,
                "value": "",
                "package": "",
                "purpose": sundry.purpose,
                "substitutes": sundry.substitutes,
                "cost": sundry.cost,
                "price class in euros": _class_range(sundry.cost),
                "fit": "beside the circuit",
            }
        )
    return rows


def _class_range(cost: str) -> str:
    return "{:.2f} to {:.2f}".format(*PRICES[cost]) if cost in PRICES else ""


def _fit(key: str, refs: list[str], optional: set[str], circuit: Circuit) -> str:
    """Say whether a part is always needed."""
    if set(refs) <= optional:
        return "in a socket, see the guide"
    kit = sum(in_kit(circuit.part(ref)) for ref in refs)
    return (
        "always"
        if kit == len(refs)
        else "may be left out"
        if not kit
        else f"{kit} always, the rest may be left out"
    )


def price_range(circuit: Circuit, *, kit: bool) -> tuple[float, float]:
    """Lowest and highest price in euros of the circuit's parts, by price class, from memory (see DATE)."""
    parts = [part for part in circuit.parts if not kit or in_kit(part)]
    prices = [PRICES[part.item.cost] for part in parts]
    return sum(low for low, _ in prices), sum(high for _, high in prices)


def beside_range() -> tuple[int, float, float]:
    """How many lines the list has beside the circuit, and their lowest and highest price in euros, without what the
    builder has already."""
    prices = [PRICES[sundry.cost] for sundry in SUNDRIES if sundry.cost in PRICES]
    return len(prices), sum(low for low, _ in prices), sum(high for _, high in prices)


def order_csv(circuit: Circuit, *, kit: bool) -> str:
    """A list that distributors' upload pages take: quantity, manufacturer part number, customer reference."""
    rows: list[Row] = []
    for row in bill_rows(circuit):
        quantity = row.get("quantity for first picture" if kit else "quantity", "")
        if not row["references"] or not quantity or not row["example 1"]:
            continue
        for part in str(row["example 1"]).split(" + "):
            times, _, number = part.rpartition(" × ")
            rows.append(
                {
                    "Quantity": int(str(quantity)) * int(times or 1),
                    "Manufacturer Part Number": number.split(" (")[0],
                    "Customer Reference": str(row["item"]),
                    "Description": str(row["description"]),
                }
            )
    return to_csv(rows)


def orders_page(circuit: Circuit) -> str:
    """README of the order lists: columns, counts, prices."""
    lines = [
        "# Ordering",
        "",
        "Made by `python hardware/make.py`: do not edit. Columns of both lists, for distributors' upload pages: "
        "`Quantity`, `Manufacturer Part Number`",
        "(the maker's name comes first; some pages want it in a separate column), `Customer Reference` (the line "
        "of [the bill of materials](../bill_of_materials.csv)),",
        "`Description`. The lists contain the first example of each line, with as many contacts and spare fuses as "
        "it needs. Order a valve by",
        "its type and the details in brackets in the bill.",
        "",
        f"Part numbers and prices are {DATE}: nobody has checked them against a shop. Compare each with the "
        "description before you order.",
        "",
        "| list | parts of the circuit | euros, by price class |",
        "| --- | --- | --- |",
    ]
    for name, kit in (("first_picture.csv", True), ("whole.csv", False)):
        count = count_parts(circuit, kit=kit)
        low, high = price_range(circuit, kit=kit)
        lines.append(f"| [{name}]({name}) | {count} | {low:.0f} to {high:.0f} |")
    count, low, high = beside_range()
    lines += [
        f"| beside the circuit: board, supply, case, cables, stand … | {count} lines | {low:.0f} to {high:.0f} |",
        "",
        "Flash, camera and computer are not counted, nor are test points, which are loops of wire. The last lines "
        "of the bill say what comes beside the circuit.",
    ]
    return "\n".join(lines) + "\n"


def bill_csv(circuit: Circuit) -> str:
    """The bill of materials as CSV."""
    return to_csv(bill_rows(circuit))
