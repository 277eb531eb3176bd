"""The bounded store of reports: keeps them until the host acknowledges them, and drops the oldest first.

Reports are numbered from 1 without gaps. If there is no room for a new one, the oldest are dropped, and a `forgotten`
report takes the number of the newest one dropped, so that the host sees the gap, its size and its cause.
"""

_HEAD = 2  # payload length, message id
_SHORT = 16
_WRAP = 0xFF  # instead of a length: the rest of the ring is unused


class ReportStore:
    def __init__(self, size):
        self._ring = bytearray(size)
        self._view = memoryview(self._ring)
        self._oldest_at = 0
        self._free_at = 0
        self.count = 0
        self.oldest_number = 1  # of the oldest report kept
        self.gap_first = 0  # first number of a gap not yet acknowledged, 0: no gap
        self.forgotten_reports = 0
        self.forgotten_shots = 0
        self._shot_end = 0

    def set_shot_end(self, message):
        """Which message id counts as the end of a shot when it is forgotten."""
        self._shot_end = message

    @property
    def next_number(self):
        """The number that the next report will get."""
        return self.oldest_number + self.count

    def has_room(self):
        """Whether less than half is in use."""
        if not self.count:
            return True
        used = self._free_at - self._oldest_at
        return (used if used > 0 else used + len(self._ring)) < len(self._ring) // 2

    def _skip_wrap(self, at):
        if at >= len(self._ring) or self._ring[at] == _WRAP:
            return 0
        return at

    def _drop_oldest(self):
        at = self._skip_wrap(self._oldest_at)
        if self._ring[at + 1] == self._shot_end:
            self.forgotten_shots += 1
        self._let_go(at)

    def _let_go(self, at):
        """Drop the oldest report, which is at `at`."""
        self._oldest_at = at + _HEAD + self._ring[at]
        self.oldest_number += 1
        self.count -= 1
        if self.count == 0:
            self._oldest_at = 0
            self._free_at = 0

    def _forget_oldest(self):
        if not self.gap_first:
            self.gap_first = self.oldest_number
        self.forgotten_reports += 1
        self._drop_oldest()

    def _find_room(self, need):
        """Where an entry of `need` bytes has room now, or -1."""
        size = len(self._ring)
        if self.count == 0:
            return 0
        if self._free_at > self._oldest_at:
            if self._free_at + need <= size:
                return self._free_at
            if need < self._oldest_at:
                if self._free_at < size:
                    self._ring[self._free_at] = _WRAP
                return 0
            return -1
        if self._free_at + need < self._oldest_at:
            return self._free_at
        return -1

    def add(self, message, payload, start, length):
        """Keep payload[start:start + length] as the next report; return its number."""
        need = _HEAD + length
        at = self._find_room(need)
        while at < 0:
            self._forget_oldest()
            at = self._find_room(need)
        ring = self._ring
        ring[at] = length
        ring[at + 1] = message
        at += _HEAD
        if length > _SHORT:
            ring[at : at + length] = memoryview(payload)[start : start + length]
        else:  # changes of state are stored during a shot: allocate nothing
            for i in range(length):
                ring[at + i] = payload[start + i]
        if self.count == 0:
            self._oldest_at = at - _HEAD
        # One statement, so that an exception from outside finds it either stored or not.
        self._free_at, self.count = at + length, self.count + 1
        return self.next_number - 1

    def acknowledge(self, through):
        """Drop every report up to that number. Numbers never sent are ignored."""
        if through >= self.next_number:
            return
        while self.count and self.oldest_number <= through:
            self._let_go(self._skip_wrap(self._oldest_at))
        if self.gap_first and through >= self.oldest_number - 1:
            self.gap_first = 0

    def fetch(self, number, out, start):
        """Copy report `number` to out[start:]; return (message id, length)."""
        at = self._oldest_at
        for _ in range(number - self.oldest_number):
            at = self._skip_wrap(at)
            at += _HEAD + self._ring[at]
        at = self._skip_wrap(at)
        length = self._ring[at]
        out[start : start + length] = self._view[at + _HEAD : at + _HEAD + length]
        return self._ring[at + 1], length
