# ruff: noqa: B905 - MicroPython's zip knows no strict=
"""What the generic port promises when alarms are missing, code raises, or edges come too fast. Runs under CPython and
MicroPython."""

from fake_world import MS, US
from scenario_bench import BEAM, CAMERA, FLASH, FLASH2, LIGHT, PIN, VALVE, Bench, Rows, near


def a_missed_alarm_leaves_no_output_on(kind):
    bench = Bench(kind)
    bench.load((0, 0, VALVE, 3000, 20000))
    bench.start()
    bench.run(10)
    assert bench.world.levels[PIN[VALVE]] == 1
    bench.world.dead_timers = True
    bench.run(30)
    ((_, off),) = bench.pulses(VALVE)
    near(off, 23000, 4000)
    assert bench.port.rescued >= 1 and bench.port.rows_late == 1 and bench.port.worst_late > 100


def a_row_that_was_over_before_it_began_is_not_played_and_named(kind):
    bench = Bench(kind)
    bench.load((0, 0, FLASH, 5000, 1000), (0, 0, FLASH2, 40000, 1000))
    bench.start()
    bench.world.dead_timers = True
    bench.world.spend(10 * MS)  # the main loop hangs
    assert bench.port.poll() & 1
    bench.world.dead_timers = False
    bench.run(60)
    assert bench.pulses(FLASH) == [] and len(bench.pulses(FLASH2)) == 1
    assert bench.port.rows_late == 1 and bench.port.worst_late >= 4000


class _Broken:
    """Raises once, at the first call after it has been armed; otherwise it is the real thing."""

    def __init__(self, real):
        self.real = real
        self.armed = False
        self.raised = 0

    def _look(self):
        if self.armed:
            self.armed = False
            self.raised += 1
            raise MemoryError

    def call2(self, a, b):
        self._look()
        return self.real(a, b)

    def call3(self, a, b, c):
        self._look()
        return self.real(a, b, c)


def what_raises_in_the_alarm_puts_every_output_off_and_is_reported(kind):
    bench = Bench(kind)
    player = bench.port._player
    broken = _Broken(player._note_late)
    player._note_late = broken.call3
    bench.load((0, 0, VALVE, 20000, 5000), (0, 0, CAMERA, 5000, 90000), (0, 0, FLASH, 60000, 1000))
    bench.world.forgives = True
    bench.start()
    bench.run(10)
    assert bench.world.levels[PIN[CAMERA]] == 1 and bench.port.poll() == 0
    broken.armed = True
    bench.world.spend(30 * MS)  # the main loop is busy with something
    assert broken.raised == 1
    ((on, off),) = bench.pulses(VALVE)
    assert off - on < 500, (on, off)  # at once, not when the main loop looks
    assert bench.world.levels[PIN[CAMERA]] == 0
    assert bench.port.poll() & 2
    bench.run(60)
    assert bench.pulses(FLASH) == []
    bench.port.stop()
    bench.world.outputs = []
    bench.start()  # and the next start is as good as any
    edges = bench.run(120)
    assert bench.port.poll() == 0 and bench.port.rows_done()
    assert [edge[:2] for edge in edges] == [
        (CAMERA, 1), (VALVE, 1), (VALVE, 0), (FLASH, 1), (FLASH, 0), (CAMERA, 0)
    ]  # fmt: skip


def what_raises_at_a_beams_edge_puts_every_output_off_and_is_reported(kind):
    bench = Bench(kind)
    bench.load(
        (0, 0, CAMERA, 5000, 90000), (1, 1, FLASH, 20000, 1000), window=200000, awaits=(1, 0)
    )
    bench.world.forgives = True
    bench.start()
    line = bench.port._beams[0]
    broken = _Broken(line.beam.feed)
    line.beam.feed = broken.call2
    broken.armed = True
    bench.world.pulse(bench.zero + 30 * MS, PIN[BEAM], 2 * MS)
    bench.run(60)
    assert broken.raised == 1 and bench.port.poll() & 2
    ((on, off),) = bench.pulses(CAMERA)
    near(off, 30000, 500)
    assert bench.pulses(FLASH) == []
    bench.port.stop()


def no_time_grows_beyond_a_small_integer(kind):
    """A large integer would be allocated in an interrupt. This is the longest dwell, at the end of the longest
    table."""
    from beamfall_board import wire_definition as wire

    bench = Bench(kind)
    row = (0, 0, VALVE, 3000, 1000)
    assert bench.port.load(Rows([row], dwell=0x0FFFFFFF + 1)) == wire.REFUSAL_BEYOND_HORIZON
    assert (bench.port.fault_row, bench.port.fault_detail) == (65535, 0x0FFFFFFF)
    bench.load(row, (0, 0, VALVE, 0x1FFFFFFF - 3000, 1000), dwell=0x0FFFFFFF)
    bench.start()
    player = bench.port._player
    player.zero = player.zero - 0x1FFFFFFF & 0x3FFFFFFF  # as if so much time had passed
    player._time[0] = 0x3FFFFFFF  # and the rows been played
    player._find_next()
    bench.world.pulse(bench.world.now + 3 * MS, PIN[BEAM], 2 * MS)
    edges = bench.run(10)
    assert [edge[:2] for edge in edges] == [(BEAM, 1), (BEAM, 0)] and not player.failed
    assert 0x2FFFFFFE < bench.port._beams[0].beam.settles < (1 << 30) - 1000000
    bench.port.stop()


def every_lost_edge_is_counted(kind):
    bench = Bench(kind)
    bench.load((0, 0, VALVE, 3000, 1000), tail=400000)
    bench.start()
    for n in range(600):
        bench.world.pulse(bench.zero + 20 * MS + n * 400 * US, PIN[LIGHT], 200 * US)
    bench.world.spend(300 * MS)  # nobody reads
    edges = [edge for edge in bench.run(10) if edge[0] == LIGHT]
    assert len(edges) + bench.port.edges_lost == 1200, (len(edges), bench.port.edges_lost)
    assert bench.port.edges_lost > 600


def edges_while_the_program_is_in_one_long_call_are_reported_or_counted_as_lost(kind):
    """During a garbage collection of 8 ms soft interrupts wait for its end, and only a few can wait."""
    for pulses in (1, 2, 3, 4, 7):
        bench = Bench(kind)
        bench.load((0, 0, VALVE, 3000, 1000), tail=400000)
        bench.start()
        bench.run(20)
        bench.world.blocked_until = bench.world.now + 8 * MS
        for n in range(pulses):
            bench.world.pulse(bench.world.now + n * MS + 100 * US, PIN[LIGHT], 400 * US)
        bench.world.pulse(bench.world.now + 40 * MS, PIN[LIGHT], 2 * MS)  # and one like any other
        edges = [edge for edge in bench.run(60) if edge[0] == LIGHT]
        lost = bench.port.edges_lost
        assert [edge[1] for edge in edges] == [1, 0] * (len(edges) // 2), edges
        if bench.world.kind["hard_pins"]:
            assert (len(edges), lost) == (2 * pulses + 2, 0), (pulses, edges, lost)
        elif 2 * pulses < 7:
            assert len(edges) + lost == 2 * pulses + 2, (pulses, edges, lost)
        else:  # how many were forgotten nobody knows
            assert len(edges) + lost >= min(2 + 2 * pulses, 2 + 8 + 1), (pulses, edges, lost)
        bench.port.stop()


def stamps_wait_behind_an_interrupt_and_the_record_says_so(kind):
    bench = Bench(kind, call_ns=15000)  # a slow board
    bench.load((0, 0, VALVE, 3000, 50000), (1, 1, FLASH, 20000, 1000), window=500000, awaits=(1, 0))
    bench.start()
    # Just while the valve's end is being waited for.
    bench.world.pulse(bench.zero + 53000 * US - 40 * US, PIN[BEAM], 3000 * US)
    edges = bench.run(100)
    (beam,) = [edge[2] for edge in edges if edge[:2] == (BEAM, 1)]
    error = beam - (53000 - 40)
    if bench.world.kind["nests"]:
        assert error <= 25 and bench.port.worst_late < 90, (error, bench.port.worst_late)
    else:
        assert error >= 20 and bench.port.worst_late >= error - 10, (error, bench.port.worst_late)
