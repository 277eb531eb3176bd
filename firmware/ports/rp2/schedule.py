"""Turns the rows of a table into the words that the state machines play. Integers only; no hardware here."""

from array import array

from beamfall_board import wire_definition as wire
from ports.rp2 import programs

_GAP_BITS = 27
GAP_MAX = (1 << _GAP_BITS) - 1
_GAP_LONGEST = GAP_MAX + programs.TIMELINE_NEXT
_SLACK = 8  # ticks a follower needs between its last row and the next edge it counts
SENTINELS = 2  # entries after the last change: the machine must not stall within a second of it


class Words:
    """A list of 32-bit words in a buffer for DMA."""

    def __init__(self, address, halves, first, capacity):
        self.address = address
        self.count = 0
        self._halves = halves
        self._first = first
        self._capacity = capacity

    def clear(self):
        self.count = 0

    def add(self, low, high):
        """Append a word; False if there is no room."""
        if self.count == self._capacity:
            return False
        at = self._first + 2 * self.count
        self._halves[at] = low
        self._halves[at + 1] = high
        self.count += 1
        return True

    def add_number(self, value):
        return self.add(value & 0xFFFF, value >> 16)


class Timeline:
    """The rows of all valves and camera contacts, merged into changes of one pattern."""

    def __init__(self, rows_max, words, sync):
        self.words = words
        self.last = 0  # ticks of the last change
        self.fault_row = 0
        self.fault_detail = 0
        self.sync = sync
        self._when = array("I", bytes(8 * rows_max))
        self._what = array("H", bytes(4 * rows_max))  # row << 4 | on << 3 | bit
        self._changes = 0

    def compile(self, table, bits):
        """Return 0, or a reason with fault_row and fault_detail. bits[signal]: the output's bit, or 255."""
        self._changes = 0
        self.words.clear()
        self.last = 0
        for row in range(table.rows):
            bit = bits[table.output[row]]
            if bit != 255:
                self._insert(table.delay[row], row << 4 | 8 | bit)
                self._insert(table.delay[row] + table.width[row], row << 4 | bit)
        return self._write() if self._changes else 0

    def _insert(self, when, what):
        times = self._when
        at = self._changes
        while at and times[at - 1] > when:
            times[at] = times[at - 1]
            self._what[at] = self._what[at - 1]
            at -= 1
        times[at] = when
        self._what[at] = what
        self._changes += 1

    def _fault(self, reason, row, detail):
        self.fault_row = row
        self.fault_detail = detail
        return reason

    def _write(self):
        pattern = 0
        now = -1
        row = 0
        for i in range(self._changes):
            when = self._when[i]
            what = self._what[i]
            before = row
            row = what >> 4
            if when != now:
                if now < 0:
                    first = programs.TIMELINE_FIRST + self.sync
                    if when < first:
                        return self._fault(wire.REFUSAL_TOO_EARLY, row, first)
                    gap = when - first + programs.TIMELINE_NEXT
                else:
                    gap = when - now
                    if gap < programs.TIMELINE_NEXT:
                        return self._fault(wire.REFUSAL_MACHINE_CONFLICT, row, before)
                if not self._hold(pattern, gap):
                    return self._fault(wire.REFUSAL_TOO_MANY_ROWS, row, row)
                now = when
            bit = 1 << (what & 7)
            pattern = pattern | bit if what & 8 else pattern & ~bit
        self.last = now
        for _ in range(SENTINELS):
            if not self._hold(pattern, _GAP_LONGEST):
                return self._fault(wire.REFUSAL_TOO_MANY_ROWS, row, row)
        return 0

    def _hold(self, pattern, gap):
        """Add entries that keep the pattern for `gap` ticks."""
        while gap > _GAP_LONGEST:
            part = _GAP_LONGEST
            if gap - part < programs.TIMELINE_NEXT:
                part -= programs.TIMELINE_NEXT
            if not self._entry(pattern, part - programs.TIMELINE_NEXT):
                return False
            gap -= part
        return self._entry(pattern, gap - programs.TIMELINE_NEXT)

    def _entry(self, pattern, count):
        return self.words.add(pattern | (count & 0x7FF) << programs.TIMELINE_PINS, count >> 11)


class Follower:
    """The rows of one flash output, as waits for their anchor, delays and widths."""

    def __init__(self, words, origin, sync):
        self.words = words
        self.fault_row = 0
        self.fault_detail = 0
        self.sync = sync
        self._go = programs.jump(origin + programs.FOLLOWER_GO)

    def _fault(self, reason, row, detail):
        self.fault_row = row
        self.fault_detail = detail
        return reason

    def compile(self, table, output, zero, marks, dwell_count):
        """marks[beam]: the GPIO on which that beam's qualifier says that an edge has counted."""
        words = self.words
        words.clear()
        before = -1
        room = True
        for row in range(table.rows):
            if table.output[row] != output:
                continue
            anchor = table.anchor[row]
            again = (
                before >= 0
                and table.count[before] == table.count[row]
                and table.anchor[before] == anchor
            )
            if again:
                gap = table.delay[row] - table.delay[before] - table.width[before]
                count = gap - programs.FOLLOWER_AGAIN
                if count < 0:
                    return self._fault(wire.REFUSAL_MACHINE_CONFLICT, row, before)
                room = words.add(programs.NOP, self._go)
            else:
                if before >= 0:
                    busy = table.delay[before] + table.width[before] + _SLACK
                    if table.anchor[before] != anchor or busy > table.blanking:
                        return self._fault(wire.REFUSAL_MACHINE_CONFLICT, row, before)
                if anchor == wire.ANCHOR_RELEASE:
                    least = programs.FOLLOWER_RELEASE + self.sync
                    room = words.add(programs.wait_gpio(1, zero), self._go)
                else:
                    least = programs.FOLLOWER_BEAM + 2 * self.sync + 2 * dwell_count
                    done = table.count[before] if before >= 0 else 0
                    room = self._await(marks[anchor - wire.ANCHOR_BEAM1], table.count[row] - done)
                count = table.delay[row] - least
                if count < 0:
                    return self._fault(wire.REFUSAL_TOO_EARLY, row, least)
            width = table.width[row] - programs.FOLLOWER_WIDTH
            if width < 0:
                return self._fault(wire.REFUSAL_MACHINE_CONFLICT, row, row)
            room = room and words.add_number(count) and words.add_number(width)
            if not room:
                return self._fault(wire.REFUSAL_TOO_MANY_ROWS, row, row)
            before = row
        if before >= 0 and not words.add(programs.WAIT_FOREVER, programs.NOP):
            return self._fault(wire.REFUSAL_TOO_MANY_ROWS, before, before)
        return 0

    def _await(self, mark, edges):
        clear = programs.wait_gpio(0, mark)
        rise = programs.wait_gpio(1, mark)
        for _ in range(edges - 1):
            if not self.words.add(clear, rise):
                return False
        return self.words.add(clear, programs.NOP) and self.words.add(rise, self._go)


def dwell_count(dwell):
    """How often the qualifier looks again, so that the beam has stayed for at least `dwell` ticks."""
    return max(0, (dwell - programs.QUALIFIER_DWELL + 1) // 2)


def blanking_count(blanking, dwells):
    """What the qualifier counts down after a counted edge, so that the next counts no sooner than `blanking`."""
    return max(0, blanking - programs.QUALIFIER_BLANKING - 2 * dwells)
