"""The pins of a whole board for the fuzzers, which check its limits at every change. Runs under MicroPython too."""

# ruff: noqa: UP031
from boards import simulated as profile

MS = profile.CLOCK_HZ // 1000


class Broken(Exception):
    """The board broke a promise."""


class Pins:
    """The channel of a simulated port, all in this process. It checks every change of an output at once."""

    def __init__(self):
        self.clock_hz = profile.CLOCK_HZ
        self.unique_id = b"fuzzers!"
        self.now = 0
        self.edge_signal = 0
        self.edge_level = 0
        self.light = False
        self.stopped = False
        self.to_board = b""
        self.to_host = b""
        self.deaf = False  # the host does not read
        self.changes = 0
        self.rinse_asked = False  # with its token: only then a valve may be open for longer
        self._since = {}
        self._fired = {}
        self._closed = {}
        self._open_time = {}  # by valve: (on, off) of its openings in the duty window
        self._levels = 0
        self._edges = []

    def drive(self, signal, level):
        self.changes += 1
        if level:
            last = self._fired.get(signal)
            if (
                4 <= signal <= 6
                and last is not None
                and self.now - last < profile.FLASH_GAP_US * (MS // 1000)
            ):
                raise Broken("flash %d fired %d ticks after it fired" % (signal, self.now - last))
            closed = self._closed.get(signal)
            if (
                signal < 4
                and closed is not None
                and self.now - closed < profile.VALVE_GAP_US * (MS // 1000)
            ):
                raise Broken(
                    "valve %d opened %d ticks after it closed" % (signal, self.now - closed)
                )
            self._fired[signal] = self.now
            self._since[signal] = self.now
        else:
            since = self._since.pop(signal)
            self._closed[signal] = self.now
            self.check(signal, since)
            if signal < 4:
                self._check_duty(signal, since)

    def _check_duty(self, signal, since):
        """Check the window that ends with this opening: no window has more in it. A rinse may exceed the share, but
        only alone."""
        window = profile.DUTY_WINDOW_MS * MS
        begin = self.now - window
        kept = [(since, self.now)]
        total = min(self.now - since, window)
        for on, off in self._open_time.get(signal, []):
            if off > begin:
                kept.append((on, off))
                total += off - max(on, begin)
        self._open_time[signal] = kept
        if total > window * profile.DUTY_PERCENT // 100 and len(kept) > 1:
            raise Broken("valve %d was open for %d ticks of a duty window" % (signal, total))

    def check(self, signal, since):
        longest = profile.FLASH_MAX_US * (MS // 1000)
        if signal < 4:
            longest = profile.VALVE_MAX_US * (MS // 1000)
            if self.rinse_asked:
                longest = profile.RINSE_MAX_MS * MS
        elif signal > 6:
            longest = profile.CAMERA_MAX_MS * MS
        if self.now - since > longest:
            raise Broken("output %d was on for %d ticks" % (signal, self.now - since))

    def all_off(self):
        return not self._since

    def toggle(self, signal, after):
        self._edges.append((self.now + after, signal))
        self._edges.sort()

    def advance(self, until):
        self.edge_signal = 0
        if self._edges and self._edges[0][0] <= until:
            ticks, signal = self._edges.pop(0)
            self.now = max(self.now, ticks)
            self._levels ^= 1 << signal
            self.edge_signal = signal
            self.edge_level = self._levels >> signal & 1
        else:
            self.now = max(self.now, until)
        for signal in self._since:
            self.check(signal, self._since[signal])
        return self.now

    def level(self, signal):
        return self._levels >> signal & 1

    def read_into(self, buffer):
        count = min(len(buffer), len(self.to_board))
        if count:
            buffer[:count] = self.to_board[:count]
            self.to_board = self.to_board[count:]
        return count

    def write(self, data, length):
        if self.deaf:
            return 0
        self.to_host += bytes(data[:length])
        return length

    def entropy(self):
        return b"FUZZ"

    def enter_maintenance(self):
        self.stopped = True
