"""The bill of materials, made from the netlist, the catalogue and the list of what is needed beside them."""

from __future__ import annotations

from circuit.netlist import Circuit
from circuit.sundries import SUNDRIES
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
                "fit": "beside the circuit",
            }
        )
    return rows


def bill_csv(circuit: Circuit) -> str:
    """The bill of materials as CSV."""
    return to_csv(bill_rows(circuit))
