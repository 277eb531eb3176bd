"""The bill of materials, made from the netlist and the catalogue."""

from __future__ import annotations

from circuit.netlist import Circuit
from circuit.tables import to_csv

Row = dict[str, str | float]


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
                "references": " ".join(refs),
                "description": item.description,
                "value": item.value,
                "package": item.package,
                "purpose": item.purpose,
                "substitutes": item.substitutes,
                "cost": item.cost,
                "fit": "in a socket, see the guide" if set(refs) <= optional else "always",
            }
        )
    return sorted(rows, key=lambda row: str(row["item"]))


def bill_csv(circuit: Circuit) -> str:
    """The bill of materials as CSV."""
    return to_csv(bill_rows(circuit))
