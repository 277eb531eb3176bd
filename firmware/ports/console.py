"""The link of a real board: the serial line of the interpreter's console, byte for byte."""

import select
import sys
import time

_LONGEST_US = 2000  # a write stops after this, whatever is left: at 115200 baud a byte takes 0.1 ms
_PATIENCE_US = 20000  # a host that reads has emptied the line by then

_FLOWING = 0
_WAITING = 1  # for the host to take what is under way
_STUCK = 2  # it does not, or there is no host


def _one_byte():
    return 1


class Console:
    """A write that is too long for the line would wait for the host, with MicroPython's USB for half a second.
    A line that reports it is writable may have room for only one byte. So this writes only what is sure to fit.

    `room`: how many bytes a writable line is sure to take at once; 0 if unknown (at least one).
    """

    def __init__(self, room=_one_byte):
        self._room = room
        self._known = 0  # bytes the line has room for, apart from what the host takes meanwhile
        self._flow = _FLOWING
        self._since = 0
        self._in = sys.stdin.buffer
        self._out = sys.stdout.buffer
        self._one = bytearray(1)
        self._readable = select.poll()
        self._readable.register(sys.stdin, select.POLLIN)
        self._writable = select.poll()
        self._writable.register(sys.stdout, select.POLLOUT)

    def wait(self, ms):
        """Sleep until a byte comes, at most `ms`. True if one has come."""
        for _ in self._readable.ipoll(ms):
            return True
        return False

    def read_into(self, buffer):
        """Read waiting bytes, as many as fit; return how many. Does not wait."""
        count = 0
        one = self._one
        while count < len(buffer) and self.wait(0):
            self._in.readinto(one)
            buffer[count] = one[0]
            count += 1
        return count

    def write(self, buffer, length):
        """How many of the first `length` bytes have been taken. Never waits for the host."""
        taken = 0
        one = self._one
        view = memoryview(buffer)
        begun = time.ticks_us()
        while taken < length:
            for _ in self._writable.ipoll(0):
                break
            else:
                self._known = 0
                break
            if not self._find_room(begun):
                break
            if self._known == 1:
                one[0] = buffer[taken]
                part = self._out.write(one)  # 115 us on an RP2040; a slice of one byte takes 156 us
            else:
                part = self._out.write(view[taken : min(length, taken + self._known)])
            if not part:
                break
            taken += part
            self._known -= part
            if time.ticks_diff(time.ticks_us(), begun) > _LONGEST_US:
                break
        return taken

    def _find_room(self, now):
        """Whether something may be written to the writable line now; how much is in `_known`."""
        room = self._room()
        if room > self._known:
            self._known = room
            self._flow = _FLOWING
        elif not self._known:
            # Byte by byte is always safe but slow, and the host would never find the line empty. A host that
            # reads empties it in a moment.
            if self._flow == _FLOWING:
                self._flow = _WAITING
                self._since = now
            elif self._flow == _WAITING and time.ticks_diff(now, self._since) > _PATIENCE_US:
                self._flow = _STUCK
            if self._flow != _STUCK:
                return False
            self._known = 1
        return True
