# ruff: noqa: B905 - MicroPython's zip knows no strict=
"""A bench for the scenarios: a board in virtual time with the generic port. Runs under CPython and MicroPython."""

from fake_board import Console, Profile, load_port
from fake_world import MS, US, World

VALVE, FLASH, FLASH2, CAMERA, BEAM, BEAM2, LIGHT = 1, 4, 5, 8, 9, 10, 11
PIN = {VALVE: 2, FLASH: 7, FLASH2: 8, CAMERA: 6, BEAM: 10, BEAM2: 11, LIGHT: 12}
LATE = {"rp2": 100, "stm32": 100, "esp32": 1000}  # us, the bound each kind's profile promises


class Rows:
    """A table as the port sees it."""

    def __init__(self, rows, window=0, tail=1000, blanking=0, dwell=0, edges=(1, 1), awaits=(0, 0)):
        self.rows = len(rows)
        self.anchor, self.count, self.output, self.delay, self.width = [list(x) for x in zip(*rows)]
        self.window, self.tail, self.blanking, self.dwell = window, tail, blanking, dwell
        self.beam_edge, self.awaits = edges, awaits


class Bench:
    def __init__(self, kind, **options):
        self.kind = kind
        self.world = World(kind, **options)
        self.profile = Profile()
        self.profile.LATE_US = LATE.get(kind, 100)
        self.port = load_port(self.world)(self.profile, Console())
        self.world.outputs = []
        self.zero = 0

    def load(self, *rows, **settings):
        assert self.port.load(Rows(rows, **settings)) == 0

    def start(self):
        self.port.start()
        self.zero = self.port._player.zero * US  # on the fake clock without offset

    def run(self, ms):
        """Do what the main loop does; return the edges seen."""
        edges = []
        end = self.world.now + ms * MS
        while self.world.now < end:
            self.port.poll()
            self.take(edges)
            self.port.idle(1000)
        self.take(edges)
        return edges

    def take(self, edges):
        while self.port.next_edge():
            edges.append((self.port.edge_signal, self.port.edge_mark & 1, self.port.edge_ticks))

    def pulses(self, signal):
        """(on, off) of an active-high output in us from the zero."""
        return [
            ((on - self.zero) // US, None if off is None else (off - self.zero) // US)
            for on, off in self.world.pulses(PIN[signal])
        ]


def near(value, aim, bound):
    assert aim - 5 <= value <= aim + bound, (value, aim, bound)


def again(bench):
    """The same board with its profile changed."""
    profile = bench.profile
    bench = Bench(bench.kind, entry_ns=bench.world.entry_ns)
    bench.port = load_port(bench.world)(profile, Console())
    return bench
