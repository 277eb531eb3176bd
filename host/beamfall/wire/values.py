"""Invented values for every field of every message, and how the JSON files of protocol/ write them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from beamfall.wire.messages import Message
from beamfall.wire.schema import Definition, Field

# A plausible value for each field, by name; `message.field` overrides it for one message.
# A field that is missing here stops the regeneration.
_TYPICAL: Mapping[str, Any] = {
    "activity": "shot", "anchor": "beam1", "await1": 2, "await2": 0, "base_ticks": 0,
    "beam1_counted": 2, "beam1_edge": "dark", "beam2_counted": 0, "beam2_edge": "dark",
    "beam_edges_ignored": 1, "beams_dark": 0, "blanking_ticks": 2_500_000, "boot_id": 0x1F3A_55C7,
    "camera_max_ms": 8000, "cause": "none", "chosen": 1, "clock_hz": 125_000_000, "count": 2,
    "definition": "digest", "delay_ticks": 9_437_500, "detail": 1, "digest": bytes(range(16, 32)),
    "edge_constant.ticks": 3, "edge_constant_is.ticks": 3, "expected": 3, "edge_constant_is.most": 4, "set": 1,
    "duty_percent": 30, "duty_window_ms": 10_000, "dwell_ticks": 12_500,
    "earliest_beam_ticks": 250, "earliest_ticks": 125, "shot_done.edges": 14, "edges_lost": 0,
    "ended_ticks": 71_250_000, "firmware_major": 0, "firmware_minor": 1, "firmware_patch": 0,
    "table_rows.first": 0, "forgotten.first": 12, "flash_gap_us": 20_000, "flash_max_us": 20_000,
    "frames_bad": 1, "frames_good": 4711, "inputs": 0b1_1110_0000_0000, "last_release": 41,
    "mark": 3, "most": 8, "name": "example board", "oldest_report": 18, "on": 1,
    "output": "valve1", "row.output": "flash1",
    "test_flash.output": "flash1", "outputs": 0b1_1111_1110, "protocol": "version",
    "reason": "beam_blocked", "release": 42, "reports": 31, "reports_forgotten": 0,
    "reports_kept": 3, "request": 6, "rinse_max_ms": 5000, "row": 65535,
    "table_begin.rows": 5, "slot.rows": 5, "rows_late": 0, "rows_max": 64, "shots": 4, "shots_forgotten": 0,
    "signal": "beam1", "slot": 1, "spare": 0, "stamp_ticks": 1, "state": "fired", "table": "ready",
    "tail_ticks": 12_500_000, "text": "ValueError: 300 µs", "through": 17, "ticks": 40_360_017,
    "timeout_ms": 3000, "timing": "simulated", "token": 0, "unique_id": bytes(range(8)),
    "uptime_ms": 93_250, "valve_gap_us": 1000, "valve_max_us": 200_000, "width_ms": 1500,
    "width_ticks": 500_000, "window_max_ms": 5000, "window_ticks": 100_000_000,
    "worst_late_ticks": 0, "part": 1, "parts": 2, "start_ticks": 41_875_000, "spacing_ticks": 37_500,
    "current_ma": 212, "supply_mv": 23_840,
}  # fmt: skip
_TYPICAL_RECORDS = 3
_TEXT_PATTERN = "µ"  # two bytes of UTF-8: a text's limit counts bytes


def make_typical(definition: Definition, name: str) -> dict[str, Any]:
    """The typical value of each field of a message."""
    return {
        field.name: make_value(definition, name, field, "typical")
        for field in definition.messages[name].fields
    }


def fields_to_json(definition: Definition, message: Message) -> dict[str, Any]:
    """A message's fields as the JSON files give them."""
    return {
        field.name: field_to_json(definition, field, message[field.name])
        for field in definition.messages[message.name].fields
    }


def field_to_json(definition: Definition, field: Field, value: Any) -> Any:
    """A field's value as the JSON files give it: enums by name, bytes in hexadecimal, u64 as a decimal string."""
    if field.base == "list":
        record = definition.records[field.of or ""]
        return [
            {
                part.name: field_to_json(definition, part, item)
                for part, item in zip(record.fields, entry, strict=True)
            }
            for entry in value
        ]
    if field.base == "enum":
        return definition.enum(field.of or "")(value).name
    if field.base == "bytes":
        return value.hex()
    return str(value) if field.base == "u64" else value


def make_value(definition: Definition, owner: str, field: Field, size: str) -> Any:
    """A value for a field: the smallest, a typical or the largest one, as `size` says."""
    if field.base == "list" and field.of is not None and field.max is not None:
        record = definition.records[field.of]
        count = {"smallest": 0, "typical": _TYPICAL_RECORDS, "largest": field.max}[size]
        return tuple(
            record.python(
                *(
                    _advance(part, make_value(definition, record.name, part, size), index, size)
                    for part in record.fields
                )
            )
            for index in range(count)
        )
    if size == "typical":
        return _find_typical(definition, owner, field)
    largest = size == "largest"
    if field.base == "text":
        return _TEXT_PATTERN * ((field.max or 0) // 2) if largest else ""
    if field.base == "bytes":
        return (b"\xff" if largest else b"\0") * field.size
    if field.base == "enum":
        members = list(definition.enum(field.of or ""))
        return max(members) if largest else min(members)
    return (1 << 8 * field.size) - 1 if largest else 0


def _find_typical(definition: Definition, owner: str, field: Field) -> Any:
    value = _TYPICAL.get(f"{owner}.{field.name}", _TYPICAL.get(field.name))
    if value is None:
        raise KeyError(f"values.py: _TYPICAL needs a value for {owner}.{field.name}")
    if field.base == "enum":
        return definition.enum(field.of or "")[value]
    if field.name == "definition":
        return definition.digest
    if field.name == "protocol":
        return definition.protocol
    return value


def _advance(field: Field, value: Any, index: int, size: str) -> Any:
    """Make typical records of a list differ from each other, as real ones do."""
    if size == "typical" and field.name in ("ticks", "delay_ticks"):
        return value + index * 2_512_345
    return value
