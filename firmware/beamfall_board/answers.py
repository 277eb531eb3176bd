"""Answers that say more than yes or no, packed into the link's buffer. Each returns ANSWERED, as a handler does."""

import struct

from beamfall_board import VERSION
from beamfall_board import wire_definition as wire
from beamfall_board.link import ANSWERED
from beamfall_board.payloads import clip_text
from beamfall_board.slots import SLOTS


def welcome(link, port, profile, controller, boot_id):
    """Who this board is, what it can do and what its limits are."""
    limits = controller.limits
    name = clip_text(profile.NAME)
    body = link.answer_body
    at = wire.HEADER_SIZE
    struct.pack_into(
        wire.FORMAT_WELCOME, body, at,
        wire.PROTOCOL, link.definition, VERSION[0], VERSION[1], VERSION[2], boot_id, port.unique_id,
        port.clock_hz, port.timing, controller.state, controller.cause, controller.last_release,
        link.first_report(), port.stamp_ticks, limits.outputs, limits.inputs, profile.ROWS_MAX,
        profile.VALVE_MAX_US,
        profile.VALVE_GAP_US, profile.DUTY_PERCENT, profile.DUTY_WINDOW_MS, profile.RINSE_MAX_MS,
        profile.FLASH_MAX_US, profile.FLASH_GAP_US, profile.CAMERA_MAX_MS, profile.WINDOW_MAX_MS,
        limits.earliest, limits.earliest_beam,
    )  # fmt: skip
    at += wire.FIXED_WELCOME
    body[at] = len(name)
    body[at + 1 : at + 1 + len(name)] = name
    link.answer(wire.MSG_WELCOME, wire.FIXED_WELCOME + 1 + len(name))
    return ANSWERED


def status(link, port, controller, store, boot_id, uptime_ms):
    """What the board does now, which beams are dark, and what it holds for the host."""
    reader = link.reader
    ready = controller.table.state == wire.TABLE_READY
    dark = 0
    for beam in (1, 2):
        fitted = controller.limits.inputs >> wire.KIND_BEAM[beam - 1] & 1
        if fitted and port.beam_dark(beam):
            dark |= beam
    struct.pack_into(
        wire.FORMAT_STATUS_IS, link.answer_body, wire.HEADER_SIZE,
        boot_id, controller.state, controller.cause, controller.activity, controller.table.state,
        bytes(controller.table.digest) if ready else bytes(16), controller.last_release, dark,
        uptime_ms, store.count, store.forgotten_reports, store.forgotten_shots,
        reader.good, reader.bad,
    )  # fmt: skip
    link.answer(wire.MSG_STATUS_IS, wire.FIXED_STATUS_IS)
    return ANSWERED


def slots(link, held):
    """Which slots hold a table, and which one is chosen."""
    out = link.answer_body
    at = wire.HEADER_SIZE
    struct.pack_into(wire.FORMAT_SLOTS_ARE, out, at, held.chosen(), SLOTS)
    at += wire.FIXED_SLOTS_ARE
    count_at = at
    at += 1
    count = 0
    for slot in range(1, SLOTS + 1):
        found = held.digest(slot)
        if found is not None:
            struct.pack_into(wire.FORMAT_SLOT, out, at, slot, found[1], found[0])
            at += wire.SIZE_SLOT
            count += 1
    out[count_at] = count
    link.answer(wire.MSG_SLOTS_ARE, at - wire.HEADER_SIZE)
    return ANSWERED


def edge_constant(link, port):
    """How many ticks an edge takes through the chip's pins: in use, expected, and the most that may be set."""
    struct.pack_into(
        wire.FORMAT_EDGE_CONSTANT_IS, link.answer_body, wire.HEADER_SIZE,
        port.edge_constant, port.edge_constant_expected, port.edge_constant_max,
    )  # fmt: skip
    link.answer(wire.MSG_EDGE_CONSTANT_IS, wire.FIXED_EDGE_CONSTANT_IS)
    return ANSWERED


def readings(link, controller, measured, part):
    """One part of the readings around the openings; no parts if the board cannot measure."""
    parts = most = count = begun = spacing = 0
    if measured is not None:
        parts = measured.parts
        most = measured.most
        spacing = measured.spacing
    if part < parts:
        count = measured.count(part)
        begun = measured.start(part)
    out = link.answer_body
    at = wire.HEADER_SIZE
    struct.pack_into(
        wire.FORMAT_READINGS_ARE, out, at,
        controller.measured, controller.measured_number, part, parts, most, begun, spacing,
    )  # fmt: skip
    at += wire.FIXED_READINGS_ARE
    out[at] = count
    at += 1
    for i in range(count):
        current = measured.current_ma(part, i)
        struct.pack_into(wire.FORMAT_READING, out, at, current, measured.supply_mv(part, i))
        at += wire.SIZE_READING
    link.answer(wire.MSG_READINGS_ARE, at - wire.HEADER_SIZE)
    return ANSWERED
