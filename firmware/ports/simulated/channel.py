"""The simulated port's channel for a firmware that runs in a process of its own.

Two ways lead to the host. Standard input and output carry the wire, as a board's USB console does. A socket
carries the rig: the pins, and the virtual time that both sides share. The firmware is the only one that asks:

    request   op u8, signal u8, level u8, pad u8, ticks i64, written u32, read u32      ('<BBBBqII')
        op 1  advance: let time pass up to `ticks`; answered
        op 2  drive: output `signal` has the level now (`ticks`); not answered
        op 3  read: `level` readings of coils and supply from `ticks` on, `written` ticks apart; answered with
              as many pairs u16 mA, u16 mV
    answer    now i64, pending u32, signal u8, level u8, levels u16                     ('<qIBBH')
        now      the time reached: `ticks`, an input's edge, or the end of what the host has granted
        pending  bytes that the host has written to the console since power-up
        signal   the input that has changed at `now` (level: to what), or 0
        levels   bit n: level of the input with signal value n

`written` and `read` count console bytes. The host answers an advance only when it has read all that was written,
and the firmware goes on only when it has read all that is pending: bytes on their way through the operating
system take no virtual time, and a run is the same every time. While the host waits for nothing, nothing is
answered and time stands still.
"""

import select
import socket
import struct
import sys

_REQUEST = "<BBBBqII"
_ANSWER = "<qIBBH"
_ANSWER_SIZE = 16
_ADVANCE = 1
_DRIVE = 2
_READ = 3


def _hang_up():
    """End: the host has gone. The main loop catches every Exception, so this is none."""
    raise SystemExit(0)


class ProcessChannel:
    def __init__(self, address, port):
        self._socket = socket.socket()
        self._socket.connect(socket.getaddrinfo(address, port)[0][-1])
        head = self._receive(24)
        self.clock_hz, self.unique_id, self._entropy, flags = struct.unpack("<I8s4s8s", head)
        self.can_read = bool(flags[0])  # the rig knows coil currents and the supply's voltage
        self.now = 0
        self.edge_signal = 0
        self.edge_level = 0
        self._levels = 0
        self.light = False
        self._drives = b""
        self._pending = 0
        self._written = 0
        self._read = 0
        self._in = getattr(sys.stdin, "buffer", sys.stdin)
        self._out = getattr(sys.stdout, "buffer", sys.stdout)
        self._poll = select.poll()
        self._poll.register(self._in, select.POLLIN)

    def _receive(self, length):
        data = b""
        while len(data) < length:
            try:
                more = self._socket.recv(length - len(data))
            except OSError:  # reset: the host was killed with something unread
                _hang_up()
            if not more:
                _hang_up()
            data += more
        return data

    def advance(self, until):
        self._drives += struct.pack(_REQUEST, _ADVANCE, 0, 0, 0, until, self._written, self._read)
        try:
            self._socket.send(self._drives)
        except OSError:
            _hang_up()
        self._drives = b""
        answer = struct.unpack(_ANSWER, self._receive(_ANSWER_SIZE))
        self.now, self._pending, self.edge_signal, self.edge_level, self._levels = answer
        return self.now

    def drive(self, signal, level):
        # Sent with the next advance: small packets one by one would wait for each other's acknowledgement.
        self._drives += struct.pack(
            _REQUEST, _DRIVE, signal, level, 0, self.now, self._written, self._read
        )

    def read_coils(self, start, spacing, count):
        self._drives += struct.pack(_REQUEST, _READ, 0, count, 0, start, spacing, 0)
        try:
            self._socket.send(self._drives)
        except OSError:
            _hang_up()
        self._drives = b""
        data = self._receive(4 * count)
        return [struct.unpack_from("<HH", data, 4 * at) for at in range(count)]

    def level(self, signal):
        return self._levels >> signal & 1

    def read_into(self, buffer):
        if self._read == self._pending:
            return 0
        self._poll.poll(10000)
        try:
            data = self._in.read(min(len(buffer), self._pending - self._read))
        except OSError:
            _hang_up()
        if not data:
            _hang_up()
        buffer[: len(data)] = data
        self._read += len(data)
        return len(data)

    def write(self, data, length):
        try:
            took = self._out.write(memoryview(data)[:length])
        except OSError:
            _hang_up()
        took = length if took is None else took
        self._written += took
        return took

    def enter_maintenance(self):
        """End the process, and with it the wire: a simulated board has no interpreter to go to."""
        raise SystemExit(0)

    def entropy(self):
        return self._entropy
