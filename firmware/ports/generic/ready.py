"""Rows that follow an edge of a beam too soon for the player to find and prepare them after it.

They are prepared while their edge is awaited: which pins, which level, how long. The edge's interrupt then only waits
and drives; the bookkeeping comes after. Nothing here allocates from the release on.
"""

import gc
from array import array
from time import ticks_us

from machine import disable_irq, enable_irq

from beamfall_board.wire_definition import const

_MASK = const(0x3FFFFFFF)
_NEVER = const(0x3FFFFFFF)  # as in tracks.py
_MOST = const(3)  # flashes that can follow one edge at one time
_TIMES = const(2)


def move_nothing(_level):
    """Stand in for a pin."""


class ReadyRows:
    """The rows that follow the next counted edge of beam `which`; `line` is its input, None if there is none."""

    def __init__(self, player, which, line):
        self.waiting = False  # early rows have begun to wait for the beam's next edge
        self.driven = 0  # rows driven by the edge that is being handled
        self._player = player
        self._which = which
        self._line = line
        self._pin = [None] * _MOST
        self._value = bytearray(_MOST)
        self._track = bytearray(_MOST)
        self._ticks = array("I", bytes(4 * _MOST))
        self._count = 0
        self._offset = 0

    def rehearse(self, times):
        """How early a prepared row can be: what `play` takes until the first pin moves, and as much again for the
        interrupt before it."""
        player = self._player
        for i in range(_MOST):
            self._pin[i] = move_nothing
        self._count = _MOST
        self._offset = 0
        player.playing = True
        took = 0
        gc.collect()  # a collection meanwhile would count as the time that a row needs
        for _ in range(times):
            player.zero = ticks_us()
            self.play(0)
            took = max(took, self._ticks[0])
        player.playing = False
        self.driven = self._count = 0
        return _TIMES * took

    def prepare(self):
        """Prepare the rows that follow the next edge too soon for `serve`. They all have one delay: `Port.load` refuses
        others so near."""
        line = self._line
        if line is None:
            return
        line.ready = False
        self.waiting = False
        player = self._player
        if player.dwell:
            return
        tracks = player.tracks
        which = self._which
        count = player.counts[which] + 1
        nearest = player.served_us
        ready = 0
        track = 0
        while track < tracks.number:
            at = tracks.cursor[track]
            if (
                tracks.anchor[track] == which
                and tracks.time[track] == _NEVER
                and at < tracks.after[track]
                and tracks.count[at] == count
            ):
                offset = tracks.offset[at]
                if offset < nearest:
                    nearest = offset
                    ready = 0
                if offset == nearest and ready < _MOST:
                    code = tracks.code[at]
                    self._pin[ready] = player.pins[code >> 1]
                    self._value[ready] = player.physical[code]
                    self._track[ready] = track
                    ready += 1
            track += 1
        if ready:
            self._count = ready
            self._offset = nearest
            state = disable_irq()
            if player.counts[which] + 1 == count:  # the edge has not come meanwhile
                line.make_ready()
            enable_irq(state)

    def play(self, now):
        """The edge at `now` counts: wait for the exact time and drive. `note` does the bookkeeping."""
        player = self._player
        zero = player.zero
        due = now + self._offset - player.lead
        pins = self._pin
        values = self._value
        stamps = self._ticks
        count = self._count
        while (ticks_us() - zero & _MASK) < due:
            pass
        if not player.playing:
            return
        i = 0
        state = disable_irq()
        try:
            while i < count:
                pins[i](values[i])
                stamps[i] = ticks_us() - zero & _MASK
                i += 1
        finally:
            enable_irq(state)
        self.driven = count

    def note(self, ticks):
        """Tell the player which rows `play` has driven after the edge at `ticks`."""
        count = self.driven
        self.driven = 0
        i = 0
        while i < count:
            self._player.note_played(self._track[i], self._ticks[i], ticks + self._offset)
            i += 1
