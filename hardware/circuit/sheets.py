"""All schematic sheets. Values and references come from the netlist; `sheet.compare` checks every connection."""

from __future__ import annotations

from collections.abc import Callable

from circuit.netlist import Circuit
from circuit.sheet import Sheet
from circuit.sheets_contacts import draw_camera, draw_flash
from circuit.sheets_inputs import draw_beam, draw_light, draw_sensing
from circuit.sheets_power import draw_buffer, draw_supply, draw_valve

DRAWERS: tuple[Callable[[Circuit], Sheet], ...] = (
    draw_supply,
    draw_buffer,
    draw_valve,
    draw_flash,
    draw_camera,
    draw_beam,
    draw_light,
    draw_sensing,
)


def draw_sheets(circuit: Circuit) -> list[Sheet]:
    """All sheets, drawn but not written."""
    return [draw(circuit) for draw in DRAWERS]
