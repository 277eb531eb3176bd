"""`beamfall ports`: what a board could be connected to."""

from __future__ import annotations

import typer

from beamfall.cli.output import print_json, print_table
from beamfall.link.port_list import list_ports

_SIMULATED = (
    ("sim", "simulated board and rig, in this program"),
    ("sim:micropython", "the same, with the firmware in the MicroPython interpreter"),
)


def show_ports(
    as_json: bool = typer.Option(False, "--json", help="One JSON object per port."),
) -> None:
    """List serial and simulated ports, without opening any."""
    seen = list_ports()
    if as_json:
        for port in seen:
            print_json(
                {
                    "port": port.device,
                    "usb_vendor": port.vid,
                    "usb_product": port.pid,
                    "serial_number": port.serial_number,
                    "candidate": port.is_candidate,
                    "simulated": False,
                }
            )
        for name, _ in _SIMULATED:
            print_json({"port": name, "candidate": False, "simulated": True})
        return
    rows = [
        (
            port.device,
            "-" if port.vid is None else f"{port.vid:04x}:{port.pid or 0:04x}",
            port.serial_number or "-",
            "may be a board" if port.is_candidate else "not a known board",
        )
        for port in seen
    ]
    print_table(
        ("port", "USB id", "serial number", "what it is"),
        [*rows, *((name, "-", "-", what) for name, what in _SIMULATED)],
    )
    if not any(port.is_candidate for port in seen):
        print("No board found over USB. To try Beamfall without one: beamfall shoot --port sim")
