"""The lines the board reads: an interrupt at each edge stamps it and, for a beam, counts it under the two guards.

Everything in `seen` runs in an interrupt where the board has hard ones: nothing there allocates.
"""

from time import ticks_us

from machine import Pin

from beamfall_board.beams import Qualifier
from beamfall_board.wire_definition import const

_MASK = const(0x3FFFFFFF)
_STAMPED = const(2)
_BEHIND_US = const(60)  # an interrupt that starts this soon after another may have waited for it
_SOFT_DEPTH = const(7)  # ESP32: 8 callbacks can wait, and one may be the alarm's
_TAIL_US = const(150)  # where the board does not say which edges there were: see _guess

PULLS = {None: None, "up": Pin.PULL_UP, "down": Pin.PULL_DOWN}


def open_input(place):
    """The pin of an entry (pin, level when dark or on, pull) of a profile's INPUTS."""
    pin, _on_high, pull = place
    return Pin(pin, Pin.IN) if pull is None else Pin(pin, Pin.IN, PULLS[pull])


class Input:
    """`player`: where counted edges go; `beam`: which beam this is, 0 or 1, or -1; `entry_us`: the shortest time from
    an edge to the first instruction of its interrupt on this board."""

    def __init__(self, player, ring, signal, place, beam, entry_us):
        self.signal = signal
        self.level = 0  # 1: dark or on
        self._player = player
        self._ring = ring
        self._on_high = 1 if place[1] else 0
        self._code = signal << 2 | _STAMPED
        self._entry = entry_us
        self._which = beam
        self.beam = Qualifier() if beam >= 0 else None
        self._pin = open_input(place)
        self._rising = Pin.IRQ_RISING
        self._falling = Pin.IRQ_FALLING
        self._both = Pin.IRQ_RISING | Pin.IRQ_FALLING
        self._flags = None  # a function that says which edges there were, where the board knows
        self._last = 0  # when the newest edge was reported
        self._spare = 0  # 1: an interrupt is still to come for an edge already reported, see _guess
        self._held = 0
        self.counted_level = 1
        self.ready = False  # rows are prepared for the next counted edge
        self._ready_from = 0  # edges before this time do not count
        self._ready_edge = 0
        self._seen = self.seen  # bound once: binding allocates
        self.hard = self._probe()

    def _probe(self):
        """Whether this board's pins have hard interrupts; leaves the interrupt off."""
        try:
            self._watch(True)
            hard = True
        except (TypeError, ValueError):
            self._watch(False)
            hard = False
        self.off()
        return hard

    def _watch(self, hard):
        if hard:
            interrupt = self._pin.irq(handler=self._seen, trigger=self._both, hard=True)
        else:
            interrupt = self._pin.irq(handler=self._seen, trigger=self._both)
        self._flags = getattr(interrupt, "flags", None)

    def on(self):
        """Switch interrupts on. Edges count as changes of the level that the line has now."""
        self._watch(self.hard)
        self.level = self.read()
        self._last = -_TAIL_US
        self._spare = 0

    def off(self):
        self._pin.irq(handler=None)

    def make_ready(self):
        """Note that the player has rows prepared for the next counted edge."""
        beam = self.beam
        self._ready_from = beam.ticks + beam.blanking if beam.count else 0
        self._ready_edge = self._rising if self.counted_level == self._on_high else self._falling
        self.ready = True

    def _play_ready(self, now):
        """If this edge counts, play its prepared rows before doing anything else."""
        if now < self._ready_from:
            return
        flags = self._flags
        if flags() == self._ready_edge if flags is not None else self.read() == self.counted_level:
            self.ready = False
            self._player.ready[self._which].play(now)

    def read(self):
        """1: dark or on, now."""
        return 1 if self._pin() == self._on_high else 0

    def seen(self, _pin):
        """The interrupt. An edge's time is when it began, less the time that the board takes to get there."""
        player = self._player
        now = (ticks_us() - player.zero & _MASK) - self._entry
        if now < 0:
            now = now & _MASK if player.watching else 0
        try:
            if self.ready and player.playing:
                self._play_ready(now)
            if player.in_alarm:  # on this board pins interrupt the alarm, and never wait for it
                player.nests = True
            self._held = now - player.busy_from if now - player.busy_till < _BEHIND_US else 0
            if not self.hard:
                self._count_in_row(now)
            flags = self._flags
            if flags is None:
                self._guess(now)
            else:
                which = flags()
                if which == self._both:
                    self._edge(1 - self.level, now)
                    self._edge(1 - self.level, now)
                else:
                    level = self._on_high if which == self._rising else 1 - self._on_high
                    if level == self.level and player.recording:
                        self._ring.lost += 1  # the other edge that lay between two of one kind
                    self._edge(level, now)
            player.busy_from = now
            player.busy_till = ticks_us() - player.zero & _MASK
        except Exception:
            player.fail()  # the interpreter switches this interrupt off: later edges would be missed unnoticed
            raise

    def _guess(self, now):
        """Only the level is known. If it is the same as before, a pulse was over before the interrupt came: report both
        of its edges. An interrupt soon after, at the same level, belongs to the second of them. Any further ones belong
        to edges that cannot be told apart, and count as lost."""
        level = self.read()
        if level != self.level:
            self._spare = 0
        elif now - self._last & _MASK >= _TAIL_US:
            self._spare = 1
            self._edge(1 - level, now)
        else:
            if self._spare:
                self._spare = 0
            elif self._player.recording:
                self._ring.lost += 1
            return
        self._edge(level, now)
        self._last = now

    def _count_in_row(self, now):
        """Where interrupts are callbacks that wait for the main program, only some can wait; the interpreter drops
        further ones without a word. That many in a row, each right after the other, mean that the queue was full."""
        player = self._player
        if now - player.busy_till < _BEHIND_US:
            player.in_row += 1
            if player.in_row == _SOFT_DEPTH and player.recording:
                self._ring.lost += 1
        else:
            player.in_row = 1

    def _edge(self, level, now):
        self.level = level
        player = self._player
        if not player.recording:
            return
        self._ring.add(self._code | level, now)
        beam = self.beam
        if beam is not None and player.playing:
            counted = beam.feed(level, now)
            if self._held > 0 and level == self.counted_level:
                player.note_held(self._held)
            if counted:
                player.counted(self._which, beam.count, beam.ticks)
            if player.dwell:
                player.await_dwell(self._which, beam)
