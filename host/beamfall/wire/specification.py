"""Makes the generated parts of protocol/SPEC.md: the definition's tables, a worked example."""

from __future__ import annotations

import zlib
from collections.abc import Callable, Mapping

from beamfall.wire import cobs
from beamfall.wire.framing import encode_frame
from beamfall.wire.messages import Codec, Message
from beamfall.wire.parts import fill_parts
from beamfall.wire.schema import CRC_SIZE, HEADER_SIZE, Definition, Field, MessageDefinition


def render_specification(definition: Definition, text: str) -> str:
    """Return SPEC.md with its generated parts written again; the text between them stays.

    Raises DefinitionError when a marker is missing or names a part that does not exist.
    """
    parts: Mapping[str, Callable[[Definition], str]] = {
        "limits": _render_limits,
        "enums": _render_enums,
        "records": _render_records,
        "messages": _render_messages,
        "digest": _render_digest,
        "example": _render_example,
    }
    rendered = {name: f"\n{render(definition).strip()}\n\n" for name, render in parts.items()}
    return fill_parts(text, rendered, "SPEC.md")


def _table(heads: list[str], rows: list[list[str]]) -> str:
    lines = [heads, ["---"] * len(heads), *rows]
    return "\n".join(
        "| " + " | ".join(cell.replace("|", "\\|") for cell in r) + " |" for r in lines
    )


def _render_limits(definition: Definition) -> str:
    sizes = {"protocol": definition.protocol, **vars(definition.frame), **vars(definition.limits)}
    return _table(["name", "value"], [[f"`{name}`", str(value)] for name, value in sizes.items()])


def _render_enums(definition: Definition) -> str:
    parts = []
    for enum in definition.enums.values():
        if enum.name == "signal":
            parts.append(_render_signals(definition))
            continue
        cures = any(member.cure for member in enum.python)
        heads = ["value", "name", "meaning"] + (["cure"] if cures else [])
        rows = [
            [str(int(member)), f"`{member.name}`", member.meaning]
            + ([member.cure] if cures else [])
            for member in enum.python
        ]
        parts.append(f"### `{enum.name}`\n\n{enum.meaning}.\n\n{_table(heads, rows)}")
    return "\n\n".join(parts)


def _render_signals(definition: Definition) -> str:
    signals = [
        [str(one.value), f"`{one.name}`", one.kind, str(one.number), one.meaning]
        for one in definition.signals
    ]
    kinds = [
        [kind.name, "output" if kind.output else "input", kind.meaning]
        for kind in definition.signal_kinds
    ]
    return (
        f"### `signal`\n\n{definition.enums['signal'].meaning}.\n\n"
        + _table(["value", "name", "kind", "number", "meaning"], signals)
        + "\n\nA signal is an output or an input by its kind:\n\n"
        + _table(["kind", "direction", "meaning"], kinds)
    )


def _render_records(definition: Definition) -> str:
    return "\n\n".join(
        f"### `{record.name}` ({record.size} bytes)\n\n{record.meaning}.\n\n"
        + _render_fields(record.fields)
        for record in definition.records.values()
    )


def _render_messages(definition: Definition) -> str:
    summary = _table(
        ["id", "message", "kind", "payload bytes", "answer"],
        [
            [
                f"0x{message.id:02X}",
                f"`{message.name}`",
                message.kind,
                str(message.smallest)
                if message.smallest == message.largest
                else f"{message.smallest} to {message.largest}",
                f"`{message.answer}`" if message.answer else "",
            ]
            for message in definition.messages.values()
        ],
    )
    parts = [summary]
    for message in definition.messages.values():
        head = f"### `{message.name}` (0x{message.id:02X}, {message.kind})\n\n{message.meaning}."
        body = _render_fields(message.fields) if message.fields else "No payload."
        parts.append(f"{head}\n\n{body}{_render_rules(message)}")
    return "\n\n".join(parts)


_REPEATS = {
    "always": "at any time",
    "same_boot": "if `boot_id` is the same",
    "release": 'see "Release"',
    "once": "only if it was certainly not carried out",
}


def _render_rules(message: MessageDefinition) -> str:
    """What a request is checked for, in order, what it does, and when it may be repeated."""
    if message.kind != "request":
        return ""
    checks = [
        [str(number), reason if " " in reason else f"`{reason}`", when]
        for number, (reason, when) in enumerate(message.checks, 1)
    ]
    table = (
        _table(["check", "refusal", "if"], checks)
        if checks
        else "This request has no checks of its own."
    )
    return (
        f"\n\n{table}\n\nEffect: {message.effect}. "
        f"Repeat after a lost session: {_REPEATS[message.repeat]}."
    )


def _render_fields(fields: tuple[Field, ...]) -> str:
    rows = []
    offset = 0
    for field in fields:
        most = f", at most {field.max}" if field.max is not None else ""
        rows.append(
            [str(offset), f"`{field.name}`", f"`{field.type}`{most}", field.unit, field.meaning]
        )
        offset += field.size
    return _table(["offset", "field", "type", "unit", "meaning"], rows)


def _render_digest(definition: Definition) -> str:
    return (
        f"For this version the canonical form is {len(definition.canonical)} bytes long and the "
        f"digest is `{definition.digest.hex()}`; `vectors.json` has the form itself."
    )


def _render_example(definition: Definition) -> str:
    """A drip of valve 1, byte by byte."""
    output = definition.enum("signal")["valve1"]
    message = Message("drip", {"output": output, "width_ticks": 500_000})
    frame = Codec(definition).make_frame(message, 0x5AC3, 17)
    line = encode_frame(frame, definition)
    body = cobs.decode(line[:-1])
    header, payload, crc = body[:HEADER_SIZE], body[HEADER_SIZE:-CRC_SIZE], body[-CRC_SIZE:]
    rows = [
        ["protocol", str(frame.protocol), _hex(header[:1])],
        ["message", f"0x{frame.message:02X}, `{message.name}`", _hex(header[1:2])],
        ["session", f"0x{frame.session:04X}", _hex(header[2:4])],
        ["number", str(frame.number), _hex(header[4:8])],
        ["`output`", f"{int(output)}, `{output.name}`", _hex(payload[:1])],
        ["`width_ticks`", str(message["width_ticks"]), _hex(payload[1:])],
        ["CRC-32", f"0x{zlib.crc32(header + payload):08X}", _hex(crc)],
    ]
    return (
        "A host asks for one drop from valve 1, 500,000 ticks long, in session 0x5AC3, as its "
        "request 17:\n\n"
        + _table(["part", "value", "bytes"], rows)
        + f"\n\nThe CRC-32 covers the {len(header)} bytes of the header and the {len(payload)} of "
        "the payload. With COBS and the delimiter, this goes on the line:\n\n"
        f"```\n{_hex(line)}\n```"
    )


def _hex(data: bytes) -> str:
    return data.hex(" ").upper()
