"""The board's end of the link: session, numbered requests with repeats, reports until acknowledged.

See protocol/SPEC.md. Handlers get the request's payload and return the result; only this file handles frames.
"""

import struct

from beamfall_board import wire_definition as wire
from beamfall_board.framing import FrameReader, FrameWriter

_MS_MASK = 0x3FFFFFFF  # port.millis() counts modulo 2^30
READS_MAX = 2  # buffers taken in one poll
RESEND_MS = 250
RESEND_MAX_MS = 2000
BEACON_MS = 1000
ANSWERED = -1  # returned by a handler that has written its own answer
NO_ROW = 65535


def ms_since(now, then):
    return (now - then) & _MS_MASK


class Link:
    """Passes requests to `handler.handle(message, body, start, end)` and sends answers and reports.

    The handler returns 0 (done), a refusal (with `handler.fault_row`, `handler.fault_detail`) or ANSWERED after
    calling `answer`. When it raises, `handler.raised(handler.starts from before)` says what to answer.
    `handler.session_opened()` is called when a hello has opened one.
    """

    def __init__(self, port, store, handler, welcome):
        self._port = port
        self._store = store
        self._handler = handler
        self._welcome = welcome
        self.reader = FrameReader()
        self.session = 0
        self.last_heard_ms = port.millis()
        self.definition = wire.DEFINITION  # the one that the session uses
        self._number = 0
        self._hello_number = 0  # of the hello that opened this session
        self._answer = FrameWriter()
        self._report = FrameWriter()
        self._rx = bytearray(256)
        self._more = False  # more bytes may be waiting
        self._out = bytearray(4 * wire.FRAME_MAX)
        self._out_view = memoryview(self._out)
        self._out_length = 0
        self._sent = 0
        self._sent_most = 0  # the newest one sent in this boot
        self._resend_from_ms = 0
        self._resend_ms = RESEND_MS
        self._beacon_ms = self.last_heard_ms

    # -- receiving ---------------------------------------------------------------------------------------------
    def poll(self):
        """Read at most two buffers of bytes, answer them, send what is due.

        An endless stream of bytes must not keep the main loop from its other work.
        """
        reads = 0
        self._more = True
        while self._more and reads < READS_MAX:
            count = self._port.read_into(self._rx)
            self._more = count == len(self._rx)
            reads += 1
            at = 0
            while at < count:
                at += self.reader.feed(self._rx, at, count)
                if self.reader.ready:
                    self._frame()
        self._send_reports()
        self._flush()

    def _frame(self):
        reader = self.reader
        message = reader.message
        if reader.protocol != wire.PROTOCOL:
            reader.reject()
            if message == wire.MSG_HELLO:
                self._refuse_aside(wire.REFUSAL_PROTOCOL_MISMATCH, wire.PROTOCOL)
            return
        if message == wire.MSG_HELLO:
            self._hello(reader)
        elif message == wire.MSG_ACKNOWLEDGE:
            if reader.session == self.session and reader.end == wire.HEADER_SIZE + 4:
                self.last_heard_ms = self._port.millis()
                self._acknowledged(struct.unpack_from("<I", reader.body, wire.HEADER_SIZE)[0])
        elif 0 < message < wire.MSG_ACKNOWLEDGE:
            self._request(reader)
        else:
            reader.reject()

    def _hello(self, reader):
        start = wire.HEADER_SIZE
        repeat = reader.session == self.session and reader.number == self._hello_number
        if repeat and self.session:
            if reader.number == self._number:
                self._send_answer()  # the same hello once more
            else:  # it came after later requests: opening the session again would repeat them
                self._refuse_aside(wire.REFUSAL_STALE, self._number)
            return
        if reader.end - start != len(wire.DEFINITION) or reader.session == 0:
            self._refuse_aside(wire.REFUSAL_BAD_PAYLOAD, 0)
            return
        self.last_heard_ms = self._port.millis()
        asked = bytes(reader.body[start : reader.end])
        self.definition = wire.DEFINITION
        if asked == wire.DEFINITION or asked in wire.EXTENDED:
            self.definition = asked  # an older host uses nothing that was added since
            self.session = reader.session
            self._number = self._hello_number = reader.number
            self._resend_ms = RESEND_MS
            self._rewind()
            self._handler.session_opened()
        else:
            # The welcome still identifies the board, so that the host can name the cure.
            self.session = 0
        self._open_answer(reader.session, reader.number)
        self._welcome()
        self._send_answer()

    def _request(self, reader):
        if not self.session or reader.session != self.session:
            self._refuse_aside(wire.REFUSAL_NO_SESSION, 0)
            return
        self.last_heard_ms = self._port.millis()
        if reader.number == self._number:
            self._send_answer()
            return
        if reader.number < self._number:
            self._refuse_aside(wire.REFUSAL_STALE, self._number)
            return
        self._number = reader.number
        self._open_answer(reader.session, reader.number)
        handler = self._handler
        handler.fault_row = NO_ROW
        handler.fault_detail = 0
        starts = handler.starts
        try:
            self._answer_with(
                handler.handle(reader.message, reader.body, wire.HEADER_SIZE, reader.end)
            )
        except Exception:
            # Without its own answer, a repeat would get the previous request's answer.
            self._answer_with(handler.raised(starts))
            self._send_answer()
            raise
        self._send_answer()

    def _answer_with(self, outcome):
        reader = self.reader
        handler = self._handler
        if outcome == 0:
            self._answer.body[wire.HEADER_SIZE] = reader.message
            self.answer(wire.MSG_DONE, 1)
        elif outcome != ANSWERED:
            self._write_refusal(self._answer, outcome, handler.fault_row, handler.fault_detail)

    # -- answering ---------------------------------------------------------------------------------------------
    @property
    def answer_body(self):
        """Where a handler writes its answer's payload, from HEADER_SIZE on."""
        return self._answer.body

    def _open_answer(self, session, number):
        self._answer_session = session
        self._answer_number = number

    def answer(self, message, payload_length):
        self._answer.close(message, self._answer_session, self._answer_number, payload_length)

    def _write_refusal(self, writer, reason, row, detail):
        reader = self.reader
        struct.pack_into(
            wire.FORMAT_REFUSED,
            writer.body,
            wire.HEADER_SIZE,
            reader.message,
            reason,
            row,
            detail & 0xFFFFFFFF,
        )
        size = wire.FIXED_REFUSED
        writer.close(wire.MSG_REFUSED, reader.session, reader.number, size)

    def _refuse_aside(self, reason, detail):
        """Refuse a request other than the session's newest, whose kept answer may still be needed."""
        self._write_refusal(self._report, reason, NO_ROW, detail)
        self._queue(self._report)

    def _send_answer(self):
        self._queue(self._answer)

    # -- reports -----------------------------------------------------------------------------------------------
    def first_report(self):
        """The number of the first report that a session opened now will send."""
        return self._first_unacknowledged()

    def _first_unacknowledged(self):
        store = self._store
        return store.oldest_number - 1 if store.gap_first else store.oldest_number

    def _rewind(self):
        self._sent = self._first_unacknowledged() - 1

    def _acknowledged(self, through):
        if through > self._sent_most:
            return  # the host cannot have kept reports that were not sent
        before = self._first_unacknowledged()
        self._store.acknowledge(through)
        if self._first_unacknowledged() != before:
            self._resend_ms = RESEND_MS
            self._resend_from_ms = self._port.millis()

    def _send_reports(self):
        store = self._store
        if not self.session or not (store.count or store.gap_first):
            return
        now = self._port.millis()
        first = self._first_unacknowledged()
        if self._sent >= first and ms_since(now, self._resend_from_ms) >= self._resend_ms:
            self._rewind()
            self._resend_ms = min(2 * self._resend_ms, RESEND_MAX_MS)
        if self._sent < first - 1:
            self._sent = first - 1
        while self._sent + 1 < store.next_number and self._sent + 1 - first < wire.REPORT_WINDOW:
            number = self._sent + 1
            body = self._report.body
            if store.gap_first and number == first:
                message = wire.MSG_FORGOTTEN
                length = wire.FIXED_FORGOTTEN
                struct.pack_into(
                    wire.FORMAT_FORGOTTEN, body, wire.HEADER_SIZE,
                    store.gap_first, store.forgotten_reports, store.forgotten_shots,
                )  # fmt: skip
            else:
                message, length = store.fetch(number, body, wire.HEADER_SIZE)
            self._report.close(message, self.session, number, length)
            if not self._queue(self._report):
                break
            self._sent = number
            self._sent_most = max(self._sent_most, number)
            self._resend_from_ms = now

    def wake_ms(self, longest):
        """Milliseconds until the link has to act by itself, at most `longest`."""
        if self._more:
            return 0
        if self._out_length:
            return min(longest, 1)
        if self.session and (self._store.count or self._store.gap_first):
            left = self._resend_ms - ms_since(self._port.millis(), self._resend_from_ms)
            return max(0, min(longest, left))
        return longest

    # -- being found -------------------------------------------------------------------------------------------
    def beacon(self, boot_id, unique_id, name):
        """Send a beacon about once a second while no host has been heard for a second, but not in a shot or service."""
        now = self._port.millis()
        if (
            ms_since(now, self.last_heard_ms) < BEACON_MS
            or ms_since(now, self._beacon_ms) < BEACON_MS
        ):
            return
        self._beacon_ms = now
        writer = self._report
        at = wire.HEADER_SIZE
        struct.pack_into(wire.FORMAT_BEACON, writer.body, at, wire.DEFINITION, boot_id, unique_id)
        at += wire.FIXED_BEACON
        writer.body[at] = len(name)
        writer.body[at + 1 : at + 1 + len(name)] = name
        writer.close(wire.MSG_BEACON, 0, 0, wire.FIXED_BEACON + 1 + len(name))
        self._queue(writer)
        self._flush()

    # -- sending -----------------------------------------------------------------------------------------------
    def _queue(self, writer):
        """Queue a frame to send; False if there is no room (the other end will ask again)."""
        length = writer.length
        if self._out_length + length > len(self._out):
            self._flush()
            if self._out_length + length > len(self._out):
                return False
        self._out[self._out_length : self._out_length + length] = writer.encoded[:length]
        self._out_length += length
        return True

    def unsent(self):
        """Whether bytes wait for the port to take them."""
        return self._out_length > 0

    def _flush(self):
        length = self._out_length
        if length:
            took = self._port.write(self._out, length)
            if took:
                left = length - took
                if left:
                    self._out[:left] = bytes(self._out_view[took:length])
                self._out_length = left
