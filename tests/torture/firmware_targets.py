"""What the fuzzers feed to the firmware, under CPython and under MicroPython alike (so: no annotations here).

`read_frames` is the decoder alone. `run_board` is a whole board, its pins and its clock: the input is a little
language (see `_OPS`), so that chance reaches behind the CRC, the digest and the boot id. Both return what was seen,
as text, for a comparison between interpreters; `run_board` raises Broken when a pin breaks a limit.
"""

# ruff: noqa: UP031
import binascii
import hashlib
import struct

from firmware_pins import MS, Broken, Pins

from beamfall_board import wire_definition as wire
from beamfall_board.board import Board
from beamfall_board.framing import FrameReader
from beamfall_board.payloads import payload_fits
from boards import simulated as profile
from ports.simulated.port import SimulatedPort

SESSION = 0x5AC3
_ROOM = 256
_STEPS_MAX = 4000  # of one input: more is a hang


def make_frame(message, session, number, payload, protocol=wire.PROTOCOL):
    """Return a frame with a right CRC and its delimiter, whatever its header says."""
    body = struct.pack("<BBHI", protocol, message, session, number) + payload
    body += struct.pack("<I", binascii.crc32(body) & 0xFFFFFFFF)
    out = b""
    chunks = body.split(b"\0")
    last = len(chunks) - 1
    for i in range(last + 1):
        chunk = chunks[i]
        while len(chunk) >= 254:
            out += b"\xff" + chunk[:254]
            chunk = chunk[254:]
            if not chunk and i == last:
                return out + b"\0"
        out += bytes([len(chunk) + 1]) + chunk
    return out + b"\0"


# -- the decoder alone -----------------------------------------------------------------------------------------
def split_stream(data):
    """The line's bytes that an input stands for. Its first byte says how: 0 to 63 as they are, to 127 as runs (how
    many, which byte: long frames from short inputs), else with frames made around them."""
    if not data or data[0] < 64:
        return data[1:]
    line = b""
    at = 1
    if data[0] < 128:
        while at + 1 < len(data):
            line += data[at + 1 : at + 2] * data[at]
            at += 2
        return line
    while at < len(data):
        length = data[at]
        at += 1
        part = data[at : at + length]
        at += length
        head = (part + bytes(8))[:8]
        protocol, message, session, number = struct.unpack("<BBHI", head)
        if protocol & 3:  # mostly the right version
            protocol = wire.PROTOCOL
        frame = make_frame(message, session, number, part[8:], protocol)
        if part and part[0] & 0xF0 == 0xF0:  # sometimes damaged
            frame = frame[:3] + bytes([frame[3] ^ 1]) + frame[4:]
        line += frame
    return line


def read_frames(line, chunk):
    """(frames, bad): the frames found as tuples with the verdict on a request's payload, and how many were damaged."""
    reader = FrameReader()
    found = []
    buffer = bytearray(_ROOM)
    start = 0
    while start < len(line):
        part = line[start : start + chunk]
        start += len(part)
        buffer[: len(part)] = part
        at = 0
        while at < len(part):
            used = reader.feed(buffer, at, len(part))
            if used <= 0:
                raise Broken("the reader does not move")
            at += used
            if reader.ready:
                payload = bytes(reader.body[wire.HEADER_SIZE : reader.end])
                fits = -1
                if reader.message in wire.REQUESTS:
                    fits = int(
                        payload_fits(reader.message, reader.body, wire.HEADER_SIZE, reader.end)
                    )
                found.append(
                    (reader.protocol, reader.message, reader.session, reader.number, payload, fits)
                )
    return found, reader.bad


def tell_frames(data):
    """The outcome of `read_frames` as text."""
    found, bad = read_frames(split_stream(data), 1 + len(data) % 64)
    lines = []
    for protocol, message, session, number, payload, fits in found:
        text = binascii.hexlify(payload).decode()
        lines.append("%d:%d:%d:%d:%s:%d" % (protocol, message, session, number, text, fits))
    return "%d %s" % (bad, " ".join(lines))


# -- a whole board ---------------------------------------------------------------------------------------------
class Tester:
    """Runs one input. `board` may be looked at afterwards."""

    def __init__(self, make_board=Board):
        self.pins = Pins()
        port = SimulatedPort(profile, self.pins)
        port.outputs_off()
        self.board = make_board(port, profile)
        self.board._trouble = self._raise
        self.port = port
        self.number = 1
        self.release = 0
        self.digest = bytes(16)
        self.rows = b""  # of the table begun last, as sent
        self._steps = 0
        self.say(wire.MSG_HELLO, wire.DEFINITION)

    def _raise(self, error):
        raise error  # the board would go to fault; for a fuzzer any exception is a find

    def say(self, message, payload):
        self.pins.to_board += make_frame(message, SESSION, self.number, payload)
        self.number = self.number + 1 & 0xFFFFFFFF
        self.settle()

    def settle(self):
        while True:
            self._steps += 1
            if self._steps > _STEPS_MAX:
                raise Broken("more than %d steps" % _STEPS_MAX)
            self.board.step()
            if not self.pins.to_board:
                return

    def wait(self, ticks):
        if self.pins.deaf:
            ticks //= 16  # a board with something to send looks every millisecond
        end = self.pins.now + ticks
        while self.pins.now < end and not self.pins.stopped:
            self._steps += 1
            if self._steps > _STEPS_MAX:
                raise Broken("more than %d steps" % _STEPS_MAX)
            left = (end - self.pins.now + MS - 1) // MS
            self.port.idle(min(self.board.wake_ms(), left))
            self.board.step()

    def upload(self, take, whole=True):
        rows = []
        for _ in range(1 + take() % 5):
            anchor = take() % 3
            output = 4 + take() % 3 if anchor else 1 + take() % 8
            width = take() + 1
            if 4 <= output <= 6:
                width = 1 + width % 21
            count = 1 + take() % 2 if anchor else 0
            rows.append((anchor, count, take() * 4 * MS + 200, output, width * MS))
        rows.sort()
        awaits = [0, 0]
        for anchor, count, _, _, _ in rows:
            if anchor:
                awaits[anchor - 1] = max(awaits[anchor - 1], count)
        window = (1 + take()) * 8 * MS if awaits[0] or awaits[1] else 0
        blanking = take() % 32 * MS
        dwell = take() % 4 * 50 if window else 0
        head = struct.pack(
            "<HIIIIBBBB",
            len(rows),
            window,
            take() * 1000,
            blanking,
            dwell,
            take() & 1,
            take() & 1,
            awaits[0],
            awaits[1],
        )
        data = b""
        for anchor, count, delay, output, width in rows:
            data += struct.pack(wire.FORMAT_ROW, anchor, count, output, 0, delay, width)
        self.digest = hashlib.sha256(head + data).digest()[:16]
        self.rows = struct.pack("<HB", 0, len(rows)) + data
        self.say(wire.MSG_TABLE_BEGIN, self.digest + head)
        self.say(wire.MSG_TABLE_ROWS, self.rows)
        how = take() if whole else 0
        if how & 15 and how < 128:
            self.say(wire.MSG_TABLE_COMMIT, b"")  # else it may come later, see _short

    def run(self, data):
        take = _Bytes(data)
        while take.left() and not self.pins.stopped:
            _OPS[take() % len(_OPS)](self, take)
        if not self.pins.stopped:
            self.pins.deaf = False
            last = make_frame(wire.MSG_HELLO, SESSION + 1, 1, wire.DEFINITION)
            self.pins.to_board += b"\0" + last + make_frame(wire.MSG_ABORT, SESSION + 1, 2, b"")
            self.settle()
            if not self.pins.all_off():
                raise Broken("an output is on after an abort")
        return "%d %d %s" % (
            self.pins.now, self.pins.changes, binascii.hexlify(hashlib.sha256(self.pins.to_host).digest()[:8]).decode()
        )  # fmt: skip


class Stepper:
    """One board that runs through many inputs: the link and everything behind it, fed with bytes."""

    def __init__(self):
        self._tester = Tester()

    def feed(self, data):
        tester = self._tester
        pins = tester.pins
        if pins.stopped or tester.board.link.session != SESSION or tester.number > 0x7FFFFFFF:
            self._tester = tester = Tester()  # in maintenance, or the session is closed
            pins = tester.pins
        if data and data[0] < 64:
            pins.to_board += data[1:]
        else:
            at = 1
            while at + 1 < len(data):
                length, message = data[at], data[at + 1]
                part = data[at + 2 : at + 2 + length]
                at += 2 + length
                odd = message >> 6 == 3
                session = SESSION + (part[0] & 1 if odd and part else 0)
                pins.to_board += make_frame(
                    message & 63 if odd else message, session, tester.number, part[:240]
                )
                tester.number += 1
        tester.settle()
        tester.port.idle(min(tester.board.wake_ms(), 20))
        tester.board.step()
        tester._steps = 0
        pins.to_host = b""


class _Bytes:
    def __init__(self, data):
        self._data = data
        self._at = 0

    def left(self):
        return len(self._data) - self._at

    def __call__(self):
        at = self._at
        self._at = at + 1
        return self._data[at] if at < len(self._data) else 0

    def many(self, count):
        at = self._at
        self._at = min(at + count, len(self._data))
        return self._data[at : self._at]


def _raw(tester, take):
    tester.pins.to_board += take.many(take())
    tester.settle()


def _frame(tester, take):
    message = take()
    tester.say(message, take.many(take() % 241))


def _odd_frame(tester, take):
    protocol, message, session, number = take(), take(), take(), take()
    frame = make_frame(
        message, SESSION if session & 3 else session, (tester.number + number - 128) & 0xFFFFFFFF,
        take.many(take() % 241), wire.PROTOCOL if protocol & 3 else protocol,
    )  # fmt: skip
    tester.pins.to_board += frame if number & 1 else b"\0" + frame
    tester.settle()


def _time(tester, take):
    tester.wait((take() * 256 + take()) * (MS // 50))


def _edge(tester, take):
    signal = 9 + take() % 4
    tester.pins.toggle(signal, take() * MS // 2)
    tester.pins.toggle(signal, take() * MS)


def _upload(tester, take):
    tester.upload(take)


def _release(tester, take):
    tester.release = max(tester.release, tester.board.controller.last_release) + 1
    boot = tester.board.requests.boot_id
    tester.say(
        wire.MSG_RELEASE, struct.pack(wire.FORMAT_RELEASE, boot, tester.release, tester.digest)
    )


def _serve(tester, take):
    kind = take()
    if kind & 1:
        tester.say(wire.MSG_DRIP, struct.pack(wire.FORMAT_DRIP, 1 + kind % 3, take() * MS))
    elif kind & 2:
        tester.say(
            wire.MSG_TEST_FLASH,
            struct.pack(wire.FORMAT_TEST_FLASH, 4 + kind % 3, take() * MS // 10),
        )
    elif kind & 4:
        tester.pins.rinse_asked = True
        tester.say(
            wire.MSG_RINSE,
            struct.pack(wire.FORMAT_RINSE, 1, take() * 10, tester.board.requests._token),
        )
    else:
        tester.say(wire.MSG_WATCH, bytes([kind >> 3 & 1]))


def _short(tester, take):
    kind = take()
    if kind >= 192:  # the parts of an upload, whatever came in between
        if kind >= 224:
            tester.upload(take, False)
            _serve(tester, take)
            tester.wait(take() * (MS // 5))
        if kind >= 208 or not tester.rows:
            tester.say(wire.MSG_TABLE_COMMIT, b"")
        else:
            tester.say(wire.MSG_TABLE_ROWS, tester.rows)
        return
    kind %= 5
    if kind == 0:
        tester.say(wire.MSG_ABORT, b"")
    elif kind == 1:
        tester.say(wire.MSG_STATUS, b"")
    elif kind == 2:
        tester.say(wire.MSG_HELLO, wire.DEFINITION)
    elif kind == 3:
        tester.pins.deaf = not tester.pins.deaf
    else:
        tester.say(wire.MSG_SET_HOST_TIMEOUT, struct.pack("<I", take() * 10))


def _acknowledge(tester, take):
    tester.pins.to_board += make_frame(wire.MSG_ACKNOWLEDGE, SESSION, 0, struct.pack("<I", take()))
    tester.settle()


_OPS = (_raw, _frame, _odd_frame, _time, _edge, _upload, _release, _serve, _short, _acknowledge)


def run_board(data):
    """Run one input on a board of its own; return what it did, as text."""
    return Tester().run(data)
