"""A board for the generic port in virtual time: `machine`, `time` and the serial line, under CPython and MicroPython.

fake_world.py has the time, the pins' levels and the interrupts, and says which kinds of boards there are.
"""

import sys

from fake_world import FALLING, MS, ON_MICROPYTHON, RISING, US

_world = None


def world():
    return _world


class Irq:
    def __init__(self, pin):
        self._pin = pin

    def flags(self):
        return self._pin.flags


class Pin:
    IN, OUT, PULL_UP, PULL_DOWN, IRQ_FALLING, IRQ_RISING = 0, 1, 1, 2, FALLING, RISING

    def __new__(cls, number, *rest, **options):
        if number not in _world.pins:
            _world.pins[number] = object.__new__(cls)
            _world.pins[number].fresh = True
        return _world.pins[number]

    def __init__(self, number, mode=0, pull=None, value=None):
        self.number = number
        if self.__dict__.get("fresh", True):
            self.handler = None
            self.hard = False
            self.pending = 0
            self.queue = []
            self.since = 0
            self.flags = 0
            self.fresh = False
        if value is not None:
            _world.drive(number, value)

    def __call__(self, level=None):
        locks = _world.enter()
        if level is not None:
            _world.drive(self.number, level)
        level = _world.levels.get(self.number, 0)
        _world.leave(locks)
        return level

    value = __call__

    def irq(self, handler=None, trigger=FALLING | RISING, **options):
        if "hard" in options and not _world.kind["hard_pins"]:
            raise TypeError("extra keyword arguments given")
        self.handler = handler
        self.hard = options.get("hard", False)
        self.pending = 0
        self.queue = []
        return Irq(self) if _world.kind["flags"] else None

    def latch(self, kind):
        if not self.hard:
            if _world.takes_soft():
                self.queue.append(_world.now)
            return
        if not self.pending:
            self.since = _world.now
        self.pending |= kind

    def take(self):
        if not self.hard:
            self.queue.pop(0)
        self.flags = self.pending
        self.pending = 0
        return self.handler

    def finished(self):
        pass

    def disable(self):
        self.handler = None


class Timer:
    ONE_SHOT, PERIODIC = 0, 1

    def __init__(self, identity=-1):
        if identity not in _world.kind["ids"]:
            raise ValueError("Timer doesn't exist")
        self.due = None
        self.pending = False
        self.hard = False
        self._inside = False
        self._lost = False
        _world.timers.append(self)

    def init(self, mode=1, period=1000, tick_hz=1000, callback=None, hard=False):
        if hard and not _world.kind["hard_timer"]:
            raise ValueError("hard Timers are not implemented")
        locks = _world.enter()
        self.mode, self.callback, self.hard = mode, callback, hard
        if _world.kind["fine"]:
            self._period = max(1, period * 1000000 // tick_hz) * US
            self.due = _world.now + self._period
        else:
            self._period = max(1, period * 1000 // tick_hz) * MS
            self.due = _world.now // MS * MS + self._period
            # extmod/machine_timer.c, soft_timer_handler: the list is put back as it was.
            self._lost = self._inside
        self.pending = False
        _world.leave(locks)

    def deinit(self):
        self.due = None
        self.pending = False

    def expire(self):
        self.since = self.due
        self.due = self.due + self._period if self.mode == self.PERIODIC else None
        if not _world.dead_timers and (self.hard or self.pending or _world.takes_soft()):
            self.pending = True

    def take(self):
        self.pending = False
        self._inside = True
        return self.callback

    def disable(self):
        self.due = None

    def finished(self):
        self._inside = False
        if self._lost:
            self.due = None
            self._lost = False


class WDT:
    def __init__(self, timeout=0):
        self.timeout = timeout

    def feed(self):
        _world.fed += 1


class Machine:
    """The module `machine`."""

    PWRON_RESET, WDT_RESET = 1, 3

    @staticmethod
    def unique_id():
        return b"\x24\x0a\xc4\x01\x02\x03"

    @staticmethod
    def reset_cause():
        return 1

    @staticmethod
    def reset():
        _world.reset = True

    @staticmethod
    def disable_irq():
        _world._masked += 1
        return _world._masked - 1

    @staticmethod
    def enable_irq(state):
        _world._masked = state
        _world.call()


Machine.Pin, Machine.Timer, Machine.WDT = Pin, Timer, WDT


class Time:
    """The module `time`."""

    @staticmethod
    def ticks_us():
        return _world.ticks_us()

    @staticmethod
    def ticks_ms():
        _world.call()
        return _world.now // MS & 0x3FFFFFFF

    @staticmethod
    def ticks_diff(end, start):
        return ((end - start + 0x20000000) & 0x3FFFFFFF) - 0x20000000

    @staticmethod
    def sleep_us(us):
        _world.spend(us * US)

    @staticmethod
    def sleep_ms(ms):
        _world.spend(max(ms * MS, 1000))


class Micropython:
    @staticmethod
    def const(value):
        return value


class Console:
    """The serial line: two buffers."""

    def __init__(self):
        self.to_board = bytearray()
        self.to_host = bytearray()
        self.most = 1 << 30  # bytes that one write takes

    def wait(self, ms):
        if not self.to_board:
            _world.spend(max(1, ms) * MS)
        return bool(self.to_board)

    def read_into(self, buffer):
        _world.call()
        count = min(len(buffer), len(self.to_board))
        buffer[:count] = self.to_board[:count]
        self.to_board = self.to_board[count:]
        return count

    def write(self, buffer, length):
        _world.call()
        length = min(length, self.most)
        self.to_host += bytes(buffer[:length])
        return length


_OURS = ("ports.generic", "ports.maintenance")


def load_port(new_world):
    """Load the generic port's modules afresh on that world; return the class Port."""
    global _world
    _world = new_world
    for name in [name for name in sys.modules if name.startswith(_OURS)]:
        del sys.modules[name]
    kept = {name: sys.modules.get(name) for name in ("machine", "time", "micropython")}
    sys.modules["machine"] = Machine
    sys.modules["time"] = Time
    if not ON_MICROPYTHON:
        sys.modules["micropython"] = Micropython
    try:
        return __import__("ports.generic.port", None, None, ["Port"]).Port
    finally:
        for name, module in kept.items():
            if module is None:
                if name in sys.modules:
                    del sys.modules[name]
            else:
                sys.modules[name] = module


class Profile:
    """A board like the shipped ones."""

    NAME = "board in virtual time"
    PORT = "generic"
    OUTPUTS = {
        1: (2, True), 2: (3, True), 3: (4, False), 4: (7, True),
        5: (8, True), 6: (9, True), 7: (5, True), 8: (6, True),
    }  # fmt: skip
    INPUTS = {9: (10, 1, "up"), 10: (11, 1, "up"), 11: (12, 1, "up"), 12: (13, 1, "up")}
    LED = (25, True)
    EARLIEST_US = 500
    EARLIEST_BEAM_US = 300
    LATE_US = 100
    ENTRY_US = 0
    DRIVE_US = 0
    ROWS_MAX = 64
    VALVE_MAX_US = 200000
    VALVE_GAP_US = 1000
    DUTY_PERCENT = 30
    DUTY_WINDOW_MS = 10000
    RINSE_MAX_MS = 5000
    FLASH_MAX_US = 20000
    FLASH_GAP_US = 20000
    CAMERA_MAX_MS = 8000
    WINDOW_MAX_MS = 5000
    WATCHDOG_MS = 0
