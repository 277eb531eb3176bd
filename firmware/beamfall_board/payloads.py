"""Checks the payloads of requests, and turns text into a payload."""

from beamfall_board import wire_definition as wire


def clip_text(text):
    """Text as UTF-8 of at most TEXT_MAX bytes, cut between characters."""
    data = text.encode()
    end = min(len(data), wire.TEXT_MAX)
    while end < len(data) and data[end] & 0xC0 == 0x80:
        end -= 1
    return data[:end]


def payload_fits(message, body, start, end):
    """Whether a request's payload has the length and the enum values of its definition."""
    fixed = wire.REQUESTS[message]
    length = end - start
    if message in wire.LISTS:
        record, most = wire.LISTS[message]
        if length <= fixed:
            return False
        count = body[start + fixed]
        if count > most or length != fixed + 1 + count * record:
            return False
        for i in range(count):
            at = start + fixed + 1 + i * record
            for offset, values in wire.LIST_ENUM_FIELDS.get(message, ()):
                if body[at + offset] not in values:
                    return False
    elif length != fixed:
        return False
    for offset, values in wire.ENUM_FIELDS.get(message, ()):
        if body[start + offset] not in values:
            return False
    return True
