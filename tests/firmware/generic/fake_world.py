"""The virtual time of the fake board, its pins and interrupts: see fake_board.py.

Time passes only in calls: each costs what is set for it. When it passes the moment of an edge at an input or of a
timer, the interrupt is delivered at once, inside that call, as on a board between two instructions; unless interrupts
are off, or another one is running which this kind of board does not interrupt.

Four kinds, after the sources of MicroPython 1.28 (ports/rp2, ports/stm32, ports/esp32, extmod/machine_timer.c):
    rp2     hard pins with flags, hard timer of microseconds, nothing interrupts an interrupt
    stm32   hard pins without flags that interrupt the timer's callback; hard timer of milliseconds, which is lost when
            its own callback starts it again
    esp32   no hard interrupts at all (Pin.irq: TypeError, Timer.init: ValueError); timers 0 to 3 of microseconds;
            callbacks run later, between two bytecodes of the main program, in the order of their causes; 8 may wait,
            what comes on top is forgotten (ports/esp32/machine_pin.c takes no notice of it)
    none    like esp32, with no working timer at all

Under MicroPython the heap is locked while a hard interrupt runs: an allocation there raises MemoryError, as on a board.
"""

import sys

ON_MICROPYTHON = sys.implementation.name == "micropython"

if ON_MICROPYTHON:
    from micropython import heap_lock, heap_unlock
else:

    def heap_lock():
        pass

    heap_unlock = heap_lock


FALLING, RISING = 4, 8
MS = 1000000  # ns
US = 1000
SOFT_DEPTH = 8  # ports/esp32/mpconfigport.h, MICROPY_SCHEDULER_DEPTH

KINDS = {
    "rp2": {
        "hard_pins": True,
        "hard_timer": True,
        "fine": True,
        "flags": True,
        "nests": False,
        "ids": (-1,),
    },
    "stm32": {
        "hard_pins": True,
        "hard_timer": True,
        "fine": False,
        "flags": False,
        "nests": True,
        "ids": (-1,),
    },
    "esp32": {
        "hard_pins": False,
        "hard_timer": False,
        "fine": True,
        "flags": False,
        "nests": False,
        "ids": (0, 1),
    },
    "none": {
        "hard_pins": False,
        "hard_timer": False,
        "fine": True,
        "flags": False,
        "nests": False,
        "ids": (),
    },
}


class World:
    def __init__(
        self, kind="rp2", clock_starts_at_us=0, call_ns=2000, entry_ns=5000, soft_ns=40000
    ):
        self.kind = KINDS[kind]
        self.now = 0  # ns
        self.offset_us = clock_starts_at_us
        self.call_ns = call_ns  # of one call into machine or time
        self.entry_ns = entry_ns  # from an edge to its hard handler
        self.soft_ns = soft_ns  # until a soft handler runs
        # The main program is in one long call: no soft handler runs (garbage collection).
        self.blocked_until = 0
        self.dead_timers = False  # no timer ever calls back
        # What an interrupt raises is noted, as on a board, and does not end the test.
        self.forgives = False
        self.uncaught = []
        self.reset = False
        self.fed = 0
        self.levels = {}
        self.outputs = []  # (ns, pin, level)
        self.wires = {}  # output pin -> (input pin, delay ns)
        self.pins = {}
        self.timers = []
        self._edges = []  # (ns, pin, level), sorted
        self._running = []  # "pin", "timer", "soft"
        self._masked = 0
        self._locks = 0

    # -- the rig -----------------------------------------------------------------------------------------------
    def at(self, ns, pin, level):
        """An edge at an input."""
        edge = (ns, pin, level)
        place = len(self._edges)
        while place and self._edges[place - 1] > edge:  # MicroPython sorts what is sorted slowest
            place -= 1
        self._edges.insert(place, edge)

    def pulse(self, ns, pin, width_ns):
        self.at(ns, pin, 1)
        self.at(ns + width_ns, pin, 0)

    def drive(self, pin, level):
        if self.levels.get(pin) == level:
            return
        self.levels[pin] = level
        self.outputs.append((self.now, pin, level))
        if pin in self.wires:
            to, delay = self.wires[pin]
            self.at(self.now + delay, to, level)

    def pulses(self, pin):
        """(on, off) in ns of every pulse of an active-high output; off is None while it is on."""
        found = []
        for ns, which, level in self.outputs:
            if which == pin and level:
                found.append([ns, None])
            elif which == pin and found:
                found[-1][1] = ns
        return found

    # -- time --------------------------------------------------------------------------------------------------
    def spend(self, ns):
        """Let time pass; interrupts that fall due are delivered."""
        end = self.now + ns
        while True:
            due = self._next_moment()
            if due is None or due > end:
                break
            self.now = max(self.now, due)
            began = self.now
            self._happen()
            self._deliver()
            end += self.now - began  # what interrupts took comes on top
        self.now = max(self.now, end)
        self._deliver()

    def _next_moment(self):
        moments = [edge[0] for edge in self._edges[:1]]
        moments += [timer.due for timer in self.timers if timer.due is not None]
        if not self._running and not self._masked:
            moments += [soft[0] for soft in self._soft_waiting()]
        return max(self.now, min(moments)) if moments else None

    def _happen(self):
        while self._edges and self._edges[0][0] <= self.now:
            _, number, level = self._edges.pop(0)
            if self.levels.get(number, 0) != level:
                self.levels[number] = level
                pin = self.pins.get(number)
                if pin is not None and pin.handler is not None:
                    pin.latch(RISING if level else FALLING)
        for timer in self.timers:
            if timer.due is not None and timer.due <= self.now:
                timer.expire()

    def _soft_waiting(self):
        """(when it may run, source) of each soft handler that waits, oldest first."""
        waiting = []
        for pin in self.pins.values():
            waiting += [(since, pin) for since in pin.queue]
        for timer in self.timers:
            if timer.pending and not timer.hard:
                waiting.append((timer.since, timer))
        waiting.sort(key=lambda entry: entry[0])
        return [(max(since + self.soft_ns, self.blocked_until), x) for since, x in waiting]

    def takes_soft(self):
        """Whether one more soft handler can wait."""
        return len(self._soft_waiting()) < SOFT_DEPTH

    def _may_interrupt(self, what):
        if self._masked:
            return False
        if not self._running:
            return True
        return what == "pin" and self.kind["nests"] and self._running[-1] == "timer"

    def _deliver(self):
        again = True
        while again:
            again = False
            for pin in list(self.pins.values()):
                if pin.pending and pin.hard and self._may_interrupt("pin"):
                    self._run("pin", pin.take(), pin, True)
                    again = True
            for timer in list(self.timers):
                if timer.pending and timer.hard and self._may_interrupt("timer"):
                    self._run("timer", timer.take(), timer, True)
                    again = True
            if not self._running and not self._masked:
                for due, source in self._soft_waiting():
                    if due <= self.now:
                        self._run("soft", source.take(), source, False)
                        again = True
                        break

    def _run(self, what, handler, source, hard):
        self._running.append(what)
        self.now += self.entry_ns
        self._happen()
        if hard:
            heap_lock()
            self._locks += 1
        try:
            handler(source)
        except Exception as error:
            if not self.forgives:
                raise
            self.uncaught.append(error)
            if hard:
                source.disable()  # as MicroPython does: shared/runtime/mpirq.c, softtimer.c, ports/rp2/machine_timer.c
        finally:
            if hard:
                heap_unlock()
                self._locks -= 1
            self._running.pop()
            source.finished()

    def enter(self):
        """A call into `machine` or `time` begins. Its own bookkeeping may allocate, because it is no part of the
        firmware."""
        locks = self._locks
        for _ in range(locks):
            heap_unlock()
        self._locks = 0
        self.spend(self.call_ns)
        return locks

    def leave(self, locks):
        for _ in range(locks):
            heap_lock()
        self._locks = locks

    def call(self):
        self.leave(self.enter())

    def ticks_us(self):
        self.call()
        return self.now // US + self.offset_us & 0x3FFFFFFF
