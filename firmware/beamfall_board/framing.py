"""Decodes frames from bytes and encodes them. It uses no port; every buffer is allocated once."""

import binascii
import struct

from beamfall_board import cobs
from beamfall_board import wire_definition as wire

_SMALLEST = wire.HEADER_SIZE + wire.CRC_SIZE
_LONGEST = wire.FRAME_MAX - 1  # on the line, without the delimiter


class FrameReader:
    """Finds frames in a stream of bytes.

    `feed` returns how many bytes it used. If `ready` is then true, `protocol`, `message`, `session` and `number`
    hold the fields of one good frame, and `body[HEADER_SIZE:end]` its payload. Each frame counts as `good` or `bad`,
    never as both.
    """

    def __init__(self):
        self.body = bytearray(_LONGEST)
        self.view = memoryview(self.body)
        self.ready = False
        self.protocol = 0
        self.message = 0
        self.session = 0
        self.number = 0
        self.end = 0
        self.good = 0
        self.bad = 0
        self._length = 0
        self._too_long = False

    def feed(self, data, start, end):
        body = self.body
        length = self._length
        room = _LONGEST
        self.ready = False
        for i in range(start, end):
            byte = data[i]
            if byte:
                if length < room:
                    body[length] = byte
                    length += 1
                else:
                    self._too_long = True
            elif length:
                self._length = 0
                if self._too_long:
                    self._too_long = False
                    self.bad += 1
                    length = 0
                elif self._open(length):
                    return i + 1 - start
                else:
                    length = 0
        self._length = length
        return end - start

    def reject(self):
        """Count the frame as bad after all: it was undamaged, but cannot be used."""
        self.good -= 1
        self.bad += 1

    def _open(self, length):
        length = cobs.decode_in_place(self.body, length)
        if length < _SMALLEST:
            self.bad += 1
            return False
        end = length - wire.CRC_SIZE
        (crc,) = struct.unpack_from("<I", self.body, end)
        if crc != binascii.crc32(self.view[:end]) & 0xFFFFFFFF:
            self.bad += 1
            return False
        self.protocol, self.message, self.session, self.number = struct.unpack_from(
            wire.FORMAT_HEADER, self.body, 0
        )
        self.end = end
        self.good += 1
        self.ready = True
        return True


class FrameWriter:
    """Builds one frame at a time: fill `body` from HEADER_SIZE on, then `close` it into `encoded[:length]`."""

    def __init__(self):
        self.body = bytearray(wire.HEADER_SIZE + wire.PAYLOAD_MAX + wire.CRC_SIZE)
        self.encoded = bytearray(wire.FRAME_MAX)
        self.length = 0
        self._view = memoryview(self.body)

    def close(self, message, session, number, payload_length):
        end = wire.HEADER_SIZE + payload_length
        struct.pack_into(wire.FORMAT_HEADER, self.body, 0, wire.PROTOCOL, message, session, number)
        struct.pack_into("<I", self.body, end, binascii.crc32(self._view[:end]) & 0xFFFFFFFF)
        length = cobs.encode_into(self.body, end + wire.CRC_SIZE, self.encoded)
        self.encoded[length] = 0
        self.length = length + 1
