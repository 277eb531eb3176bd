"""The link of a real board: the serial line of the interpreter's console, byte for byte."""

import select
import sys

_CHUNK = 64  # bytes handed over at once; one full-speed USB packet


class Console:
    def __init__(self):
        self._in = sys.stdin.buffer
        self._out = sys.stdout.buffer
        self._one = bytearray(1)
        self._readable = select.poll()
        self._readable.register(sys.stdin, select.POLLIN)
        self._writable = select.poll()
        self._writable.register(sys.stdout, select.POLLOUT)

    def wait(self, ms):
        """Sleep until a byte comes, `ms` at the most. True when one is there."""
        for _ in self._readable.ipoll(ms):
            return True
        return False

    def read_into(self, buffer):
        """Bytes that have come, as many as fit; 0: none. Does not wait."""
        count = 0
        one = self._one
        while count < len(buffer) and self.wait(0):
            self._in.readinto(one)
            buffer[count] = one[0]
            count += 1
        return count

    def write(self, buffer, length):
        """How many of the first `length` bytes have been taken; does not start when there is no room."""
        taken = 0
        view = memoryview(buffer)
        while taken < length:
            for _ in self._writable.ipoll(0):
                break
            else:
                break
            part = self._out.write(view[taken : min(length, taken + _CHUNK)])
            if not part:
                break
            taken += part
        return taken
