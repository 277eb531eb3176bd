"""Wiring tables: which pin of a board goes where, made from the firmware's profile and the netlist.

ProfileError when the two cannot be reconciled: a signal with the wrong level, a pin used twice, a pin that is
not on the header.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from circuit.errors import ProfileError
from circuit.netlist import (
    BUFFER_CHANNELS,
    INPUT_LEVELS,
    INPUT_MEANINGS,
    OUTPUT_ON_LEVEL,
    SENSE_LINES,
    STATUS_LED,
    Circuit,
)
from circuit.profiles import Header, Profile, header_of
from circuit.tables import to_csv, to_markdown

Row = dict[str, str | float]
_SENSE_MEANINGS = {
    "coil_current": "1.87 V per ampere: the valves' coil currents together",
    "supply_voltage": "1/11 of the supply voltage",
}


def wiring_rows(circuit: Circuit, profile: Profile, signals: Mapping[int, str]) -> list[Row]:
    """One row for each wire between the board and the circuit."""
    header = header_of(profile.board)
    used: dict[Any, str] = {}
    rows: list[Row] = []

    def add(line: str, pin: Any, meaning: str) -> None:
        if pin in used:
            raise ProfileError(
                f"{profile.board}: pin {pin} is used for {used[pin]} and for {line}; give one of them another pin"
            )
        if header.positions and pin not in header.positions:
            raise ProfileError(
                f"{profile.board}: pin {pin} ({line}) is not on the board's header; choose another"
            )
        used[pin] = line
        rows.append(_row(circuit, header, line, pin, meaning))

    for value, (pin, active_high) in sorted(profile["OUTPUTS"].items()):
        name = _name(signals, value, profile)
        if name not in BUFFER_CHANNELS:
            raise ProfileError(
                f"{profile.board}: OUTPUTS has {name}, which is not an output of the circuit"
            )
        if bool(active_high) != OUTPUT_ON_LEVEL:
            raise ProfileError(
                f"{profile.board}: {name} is active-low in the profile, but in the circuit a high level switches it on"
            )
        add(name, pin, "high: on")
    for value, (pin, level, _pull) in sorted(profile["INPUTS"].items()):
        name = _name(signals, value, profile)
        if name not in INPUT_LEVELS:
            raise ProfileError(
                f"{profile.board}: INPUTS has {name}, which is not an input of the circuit"
            )
        if bool(level) != INPUT_LEVELS[name]:
            raise ProfileError(
                f"{profile.board}: {name} counts level {level} as dark or on, but in the circuit it is "
                f"{int(INPUT_LEVELS[name])}"
            )
        add(name, pin, INPUT_MEANINGS[name])
    for line, pin in header.sense.items():
        add(line, pin, _SENSE_MEANINGS[line])
    led = profile.values.get("LED")
    if led is not None and not header.led_on_board:
        add(STATUS_LED, led[0], "high: lit" if led[1] else "low: lit")
    # Pins that the firmware keeps for itself must stay free of wires.
    reserved = [profile.values.get("ZERO_PIN"), *profile.values.get("MARK_PINS", ())]
    for pin in reserved:
        if pin is not None and pin in used:
            raise ProfileError(
                f"{profile.board}: pin {pin} is reserved for the firmware, but the profile uses it for {used[pin]}; "
                "choose another"
            )
    for rail, where in header.power.items():
        rows.append(
            {
                "line": rail,
                "pin": where,
                "header position": "",
                "goes to": _ends(circuit, rail),
                "meaning": "supply",
                "M1 socket": _socket(circuit, rail),
            }
        )
    return rows


def _name(signals: Mapping[int, str], value: int, profile: Profile) -> str:
    try:
        return signals[value]
    except KeyError:
        raise ProfileError(
            f"{profile.board}: signal {value} is not in protocol/messages.toml"
        ) from None


def _row(circuit: Circuit, header: Header, line: str, pin: Any, meaning: str) -> Row:
    return {
        "line": line,
        "pin": header.print_name.format(pin),
        "header position": header.positions.get(pin, "see your board"),
        "goes to": _ends(circuit, line),
        "meaning": meaning,
        "M1 socket": _socket(circuit, line),
    }


def _socket(circuit: Circuit, line: str) -> str:
    """The positions of M1's socket strips that carry a line; they are counted as on a Raspberry Pi Pico."""
    return circuit.of_kind("board")[0].pads[line]


def _ends(circuit: Circuit, board_pin: str) -> str:
    """Where a line of the board ends: references and pins on its net."""
    board = circuit.of_kind("board")[0]
    net = board.pins[board_pin]
    if board_pin in ("V5", "3V3", "GND"):
        return f"rail {net}"
    ends = [f"{part.ref} pin {pin}" for part, pin in circuit.nets()[net] if part.ref != board.ref]
    return ", ".join(ends)


def wiring_csv(circuit: Circuit, profile: Profile, signals: Mapping[int, str]) -> str:
    """The wiring table for programs."""
    return to_csv(wiring_rows(circuit, profile, signals))


def wiring_page(circuit: Circuit, profile: Profile, signals: Mapping[int, str]) -> str:
    """The wiring table for people."""
    header = header_of(profile.board)
    rows = wiring_rows(circuit, profile, signals)
    lines = [
        f"# Wiring: {profile['NAME']}",
        "",
        f"Made by `python hardware/make.py` from firmware/boards/{profile.board}.py and the netlist: do not edit.",
        "Switch everything off and pull the USB plug before you touch a wire.",
        "",
        to_markdown(rows),
    ]
    if not header.sense:
        missing = ", ".join(f"`{line}`" for line in SENSE_LINES)
        lines.append(
            f"The lines {missing} may stay open on this board. To measure them, connect them to free analogue "
            f"inputs.\n"
        )
    if header.led_on_board:
        lines.append(
            f"The line `{STATUS_LED}` needs no wire here: the LED sits on the board. R522 and LED520 may be left out.\n"
        )
    elif "LED" not in profile.values or profile["LED"] is None:
        lines.append(
            f"The line `{STATUS_LED}` has no pin on this board: R522 and LED520 may be left out.\n"
        )
    reserved = [profile.values.get("ZERO_PIN"), *profile.values.get("MARK_PINS", ())]
    kept = [header.print_name.format(pin) for pin in reserved if pin is not None]
    if kept:
        lines.append(f"Leave {', '.join(kept)} unconnected: the firmware uses them internally.\n")
    lines += [f"- {note}" for note in header.notes]
    return "\n".join(lines).rstrip() + "\n"
