"""Run by the MicroPython interpreter: a whole shot with the heap locked, so that any allocation raises.

The port is a script of edges; controller, qualifiers, edge buffer and state machine are the real ones."""

import gc

import micropython

from beamfall_board import wire_definition as wire
from beamfall_board.controller import Controller
from beamfall_board.store import ReportStore
from boards import simulated as profile

HZ = 125000000
MS = HZ // 1000


class ScriptedPort:
    timing = wire.TIMING_INTERRUPT  # others report edges while a shot runs
    clock_hz = HZ
    stamp_ticks = 1
    earliest_ticks = 125
    earliest_beam_ticks = 125
    fault_row = 0
    fault_detail = 0
    edges_lost = 0
    rows_late = 0
    worst_late = 0

    def __init__(self, script):
        self.script = script
        self.at = 0
        self.now = 0
        self.off = 0
        self.wake_ticks = -1
        self.edge_signal = 0
        self.edge_mark = 0
        self.edge_ticks = 0

    def outputs_off(self):
        self.off += 1

    def load(self, table):
        return 0

    def start(self):
        self.at = 0
        self.now = 0

    def stop(self):
        self.outputs_off()

    def poll(self):
        return 0

    def next_edge(self):
        if self.at == len(self.script):
            return False
        ticks, signal, mark = self.script[self.at]
        if ticks > self.now:
            return False
        self.at += 1
        self.edge_ticks = ticks
        self.edge_signal = signal
        self.edge_mark = mark
        return True

    def rows_done(self):
        return self.at == len(self.script)

    def now_ticks(self):
        return self.now

    def beam_dark(self, beam):
        return False

    def millis(self):
        return self.now // MS


SCRIPT = (
    (1 * MS, 1, 3), (21 * MS, 1, 2), (80 * MS, 1, 3), (100 * MS, 1, 2),
    (300 * MS, 9, 3), (303 * MS, 9, 2), (305 * MS, 9, 3), (306 * MS, 9, 2), (380 * MS, 9, 3), (383 * MS, 9, 2),
    (410 * MS, 4, 3), (411 * MS, 4, 2), (411 * MS + 99, 11, 3), (412 * MS, 11, 2),
)  # fmt: skip

port = ScriptedPort(SCRIPT)
store = ReportStore(8192)
controller = Controller(port, profile, store)
table = controller.table
table.clear()
table.rows = 3
table.window = 1000 * MS
table.tail = 5 * MS
table.blanking = 20 * MS
table.dwell = MS // 2
table.beam_edge[0] = wire.EDGE_DARK
table.awaits[0] = 2
table.set_row(0, 0, 0, 1, MS, 20 * MS)
table.set_row(1, 0, 0, 1, 80 * MS, 20 * MS)
table.set_row(2, 1, 2, 4, 30 * MS, MS)
table.state = wire.TABLE_READY
assert controller.limits.check(table) == 0


def run_locked():
    while port.now < 415 * MS:
        port.now += MS // 4
        controller.step()


for number in range(1, 4):
    controller.release(number)
    gc.collect()
    micropython.heap_lock()
    run_locked()
    micropython.heap_unlock()
    assert controller.state == wire.STATE_FIRED, controller.state
    assert controller.activity == wire.ACTIVITY_SHOT
    port.now = 420 * MS
    controller.step()
    assert controller.activity == wire.ACTIVITY_NONE
    assert (controller._beams[0].count, controller._beams[0].ignored) == (2, 1)
print("no allocation in", 3, "shots")
