# ruff: noqa: B905 - MicroPython's zip knows no strict=
"""What the generic port promises of rows, edges and watches. Runs under CPython and MicroPython."""

from fake_world import MS, US
from scenario_bench import (
    BEAM,
    BEAM2,
    CAMERA,
    FLASH,
    FLASH2,
    LATE,
    LIGHT,
    PIN,
    VALVE,
    Bench,
    Rows,
    again,
    near,
)

from beamfall_board.beams import Qualifier


def rows_are_played_at_their_times(kind):
    bench = Bench(kind)
    bench.load((0, 0, VALVE, 3000, 20000), (0, 0, VALVE, 60000, 15000), (0, 0, CAMERA, 5000, 90000))
    bench.start()
    edges = bench.run(120)
    bound = LATE[kind]
    first, second = bench.pulses(VALVE)
    for value, aim in zip(first + second, (3000, 23000, 60000, 75000)):
        near(value, aim, bound)
    (shutter,) = bench.pulses(CAMERA)
    near(shutter[0], 5000, bound)
    near(shutter[1], 95000, bound)
    assert bench.port.rows_done() and bench.port.rows_late == 0, bench.port.worst_late
    assert [edge[:2] for edge in edges] == [
        (VALVE, 1), (CAMERA, 1), (VALVE, 0), (VALVE, 1), (VALVE, 0), (CAMERA, 0)
    ]  # fmt: skip
    for edge, aim in zip(edges, (3000, 5000, 23000, 60000, 75000, 95000)):
        near(edge[2], aim, bound)


def flash_follows_the_counted_edge(kind):
    bench = Bench(kind)
    bench.load(
        (0, 0, VALVE, 3000, 10000), (1, 2, FLASH, 30000, 1000), (1, 2, FLASH2, 30000, 500),
        window=500000, awaits=(2, 0), blanking=5000,
    )  # fmt: skip
    bench.start()
    for at in (100, 180, 300):
        bench.world.pulse(bench.zero + at * MS + 333 * US, PIN[BEAM], 2500 * US)
    edges = bench.run(400)
    beam = [edge[2] for edge in edges if edge[:2] == (BEAM, 1)]
    for value, aim in zip(beam, (100333, 180333, 300333)):
        near(value, aim, 60)
    for signal, width in ((FLASH, 1000), (FLASH2, 500)):
        (pulse,) = bench.pulses(signal)
        near(pulse[0], 210333, LATE[kind] + 60)
        near(pulse[1], 210333 + width, LATE[kind] + 60)
    assert bench.port.rows_late == 0 and bench.port.edges_lost == 0
    assert edges == sorted(edges, key=lambda edge: edge[2])


def rows_at_a_beam_may_be_as_early_as_the_port_says(kind):
    bench = Bench(kind)
    early = bench.port.earliest_beam_ticks
    bench.load(
        (1, 1, FLASH, early, 1000), (1, 1, FLASH2, early, 500), (1, 2, FLASH, early, 1000),
        window=500000, awaits=(2, 0), blanking=20000,
    )  # fmt: skip
    bench.start()
    for at in (100, 110, 180):  # the second is in the blanking of the first
        bench.world.pulse(bench.zero + at * MS + 333 * US, PIN[BEAM], 2500 * US)
    edges = bench.run(300)
    first, second = bench.pulses(FLASH)
    (other,) = bench.pulses(FLASH2)
    for value, aim in (
        (first[0], 100333 + early), (first[1], 101333 + early), (second[0], 180333 + early),
        (other[0], 100333 + early), (other[1], 100833 + early),
    ):  # fmt: skip
        near(value, aim, LATE[kind] + 60)
    assert bench.port.rows_late == 0 and bench.port.edges_lost == 0, bench.port.worst_late
    assert edges == sorted(edges, key=lambda edge: edge[2])
    assert [edge[1] for edge in edges if edge[0] == FLASH] == [1, 0, 1, 0]


def early_rows_are_prepared_while_the_main_loop_is_busy(kind):
    bench = Bench(kind)
    early = bench.port.earliest_beam_ticks
    rows = [(1, n, FLASH, early, 1000) for n in (1, 2, 3)]
    later = [(1, n, FLASH2, 12000, 1000) for n in (1, 2, 3)]
    bench.load(*rows, *later, window=500000, awaits=(3, 0), blanking=20000)
    bench.start()
    drops = (100, 125, 150)
    for at in drops:
        bench.world.pulse(bench.zero + at * MS + 333 * US, PIN[BEAM], 2500 * US)
    for at in drops:  # no poll in all that time
        bench.world.spend(bench.zero + (at - 5) * MS - bench.world.now)
        assert bench.port._beams[0].ready or not bench.port.hard_pins, at
    bench.world.spend(30 * MS)
    for signal, delay in ((FLASH, early), (FLASH2, 12000)):
        for pulse, at in zip(bench.pulses(signal), drops):
            near(pulse[0], 1000 * at + 333 + delay, LATE[kind] + 60)
    assert len(bench.pulses(FLASH)) == len(bench.pulses(FLASH2)) == 3
    assert bench.port.rows_late == 0 and bench.port.edges_lost == 0, bench.port.worst_late


def only_rows_of_one_time_are_prepared(kind):
    bench = Bench(kind)
    early, served = bench.port.earliest_beam_ticks, bench.port._player.served_us
    head = {"window": 1000, "awaits": (1, 0)}
    near_rows = Rows([(1, 1, FLASH, early, 100), (1, 1, FLASH2, served - 1, 100)], **head)
    if bench.port.hard_pins:
        assert bench.port.load(near_rows) != 0
        assert (bench.port.fault_row, bench.port.fault_detail) == (1, served)
    assert (
        bench.port.load(Rows([(1, 1, FLASH, early, 100), (1, 1, FLASH2, served, 100)], **head)) == 0
    )


def outputs_due_at_one_time_go_one_right_after_the_other(kind):
    bench = Bench(kind, call_ns=10000)  # a slow board
    bench.load(
        (0, 0, VALVE, 6000, 9000), (0, 0, CAMERA, 6000, 9000), (1, 1, FLASH, 30000, 900), (1, 1, FLASH2, 30000, 500),
        window=500000, awaits=(1, 0),
    )  # fmt: skip
    bench.start()
    bench.world.pulse(bench.zero + 100 * MS, PIN[BEAM], 2500 * US)
    bench.run(200)
    for one, other in ((VALVE, CAMERA), (FLASH, FLASH2)):
        between = bench.pulses(other)[0][0] - bench.pulses(one)[0][0]
        assert 0 < between <= 25, between  # two calls: the stamp of the first and the second itself


def an_edge_is_stamped_when_it_was_and_reported_in_its_place(kind):
    bench = Bench(kind, entry_ns=19000)
    if not bench.world.kind["hard_pins"]:
        return  # what passes before a soft interrupt is not known
    bench.profile.ENTRY_US = 19
    bench = again(bench)
    rows = [(0, 0, VALVE, 3000 + 4000 * n, 2000) for n in range(40)]
    bench.load(*rows, tail=400000)
    bench.start()
    at = []
    for n in range(40):
        at.append(5000 + 4000 * n + 500 + 37 * n)
        bench.world.pulse(bench.zero + at[-1] * US, PIN[LIGHT], 1000 * US)
    edges = bench.run(200)
    seen = [edge[2] for edge in edges if edge[:2] == (LIGHT, 1)]
    assert len(seen) == 40
    good = [abs(stamp - aim) <= 3 for stamp, aim in zip(seen, at)]
    assert good.count(True) >= 30, list(zip(seen, at))
    assert edges == sorted(edges, key=lambda edge: edge[2])


def worst_late_is_what_the_outputs_show(kind):
    bench = Bench(kind)
    bench.load((0, 0, VALVE, 3000, 20000), (0, 0, CAMERA, 3050, 20000))  # closer than one round
    bench.start()
    bench.run(40)
    late = [bench.pulses(VALVE)[0][0] - 3000, bench.pulses(VALVE)[0][1] - 23000]
    late += [bench.pulses(CAMERA)[0][0] - 3050, bench.pulses(CAMERA)[0][1] - 23050]
    assert max(late) <= bench.port.worst_late <= max(late) + 10, (late, bench.port.worst_late)
    bound = LATE[kind]
    bench.profile.LATE_US = 0
    bench.port._player._late_us = min(late[2], late[3]) - 1
    bench.start()
    bench.run(40)
    assert bench.port.rows_late >= 1, (late, bound)


def blanking_and_dwell_are_those_of_the_qualifier(kind):

    bench = Bench(kind)
    bench.load(
        (1, 1, FLASH, 20000, 1000), (1, 2, FLASH, 50000, 1000),
        window=900000, awaits=(2, 0), blanking=30000, dwell=2000,
    )  # fmt: skip
    bench.start()
    # chatter, a drop, a satellite within the blanking, a drop, another
    for at, width in (
        (50000, 300),
        (50700, 900),
        (60000, 5000),
        (80000, 4000),
        (120000, 3000),
        (200000, 3000),
    ):
        bench.world.pulse(bench.zero + at * US, PIN[BEAM], width * US)
    edges = bench.run(320)
    rule = Qualifier()
    rule.start(1, 30000, 2000)
    counted = []
    for signal, level, ticks in edges:
        if signal == BEAM:
            before = rule.count
            rule.feed(level, ticks)
            if rule.count != before:
                counted.append(rule.ticks)
    assert len(counted) == 3 and rule.ignored == 3, (counted, rule.ignored)
    first, second = bench.pulses(FLASH)
    near(first[0], 80000, LATE[kind] + 60)
    near(second[0], 170000, LATE[kind] + 60)


def off_is_off_whatever_runs(kind):
    bench = Bench(kind)
    bench.load((0, 0, VALVE, 3000, 20000), (0, 0, 3, 3000, 20000), (0, 0, FLASH, 30000, 1000))
    bench.start()
    bench.run(10)
    assert bench.world.levels[2] == 1 and bench.world.levels[4] == 0  # output 3 is active low
    bench.port.outputs_off()
    assert bench.world.levels[2] == 0 and bench.world.levels[4] == 1
    edges = bench.run(40)
    assert bench.pulses(FLASH) == []
    assert {edge[:2] for edge in edges if not edge[1]} == {(VALVE, 0), (3, 0)}
    bench.port.stop()


def refusals_name_the_earliest(kind):
    bench = Bench(kind)
    early = bench.port._player.served_us  # with a dwell no row is prepared
    assert (
        bench.port.load(
            Rows([(1, 1, FLASH, 2000 + early - 1, 100)], window=1000, awaits=(1, 0), dwell=2000)
        )
        != 0
    )
    assert bench.port.fault_detail == 2000 + early and bench.port.fault_row == 0
    assert (
        bench.port.load(
            Rows([(1, 1, FLASH, 2000 + early, 100)], window=1000, awaits=(1, 0), dwell=2000)
        )
        == 0
    )
    assert bench.port.load(Rows([(0, 0, VALVE, 0x1FFFFFFF, 100)])) != 0
    assert bench.port.fault_detail == 0x1FFFFFFF


def short_pulses_are_reported_or_counted(kind):
    bench = Bench(kind)
    bench.load((0, 0, VALVE, 3000, 1000), tail=400000)
    bench.start()
    for n in range(20):
        # Shorter than the way to the handler.
        bench.world.pulse(bench.zero + (20 + 10 * n) * MS, PIN[LIGHT], 3 * US)
    edges = [edge for edge in bench.run(300) if edge[0] == LIGHT]
    assert [edge[1] for edge in edges] == [1, 0] * 20, edges


def a_second_shot_remembers_nothing_of_the_first(kind):
    bench = Bench(kind)
    bench.load(
        (0, 0, VALVE, 3000, 1000),
        (1, 1, FLASH, 5000, 1000),
        window=300000,
        awaits=(1, 0),
        tail=100000,
    )
    for at in (200, 20):  # later in the first shot than in the second
        bench.start()
        bench.world.pulse(bench.zero + at * MS, PIN[BEAM], 3 * US)
        bench.world.pulse(bench.zero + at * MS, PIN[LIGHT], 3 * US)
        edges = bench.run(300)
        assert [edge[1] for edge in edges if edge[0] == BEAM] == [1, 0], edges
        assert [edge[1] for edge in edges if edge[0] == LIGHT] == [1, 0], edges
        assert [edge[1] for edge in edges if edge[0] == FLASH] == [1, 0], edges
        bench.port.stop()
        bench.world.outputs = []


def the_clock_may_start_again_within_a_shot(kind):
    bench = Bench(kind, clock_starts_at_us=0x3FFFFFFF - 60000)
    zero = bench.world.now
    bench.load((0, 0, VALVE, 3000, 20000), (1, 1, FLASH, 30000, 1000), window=500000, awaits=(1, 0))
    bench.start()
    zero = bench.world.now
    bench.world.pulse(zero + 50 * MS, PIN[BEAM], 3 * MS)
    edges = bench.run(120)
    for edge, aim in zip(edges, (3000, 23000, 50000, 53000, 80000, 81000)):
        near(edge[2], aim, LATE[kind] + 400)
    assert len(edges) == 6


def a_watch_stamps_and_plays_nothing(kind):
    bench = Bench(kind)
    bench.port.watch(True)
    zero = bench.world.now
    bench.world.pulse(zero + 10 * MS, PIN[BEAM], 3 * MS)
    bench.world.pulse(zero + 30 * MS, PIN[BEAM2], 3 * MS)
    edges = bench.run(50)
    assert [edge[:2] for edge in edges] == [(BEAM, 1), (BEAM, 0), (BEAM2, 1), (BEAM2, 0)]
    bench.port.watch(False)
    bench.world.pulse(bench.world.now + 10 * MS, PIN[BEAM], 3 * MS)
    assert bench.run(30) == []


def what_the_board_has_is_found_out(kind):
    bench = Bench(kind)
    port = bench.port
    assert (port.hard_pins, port.hard_alarm, port.fine_alarm) == {
        "rp2": (True, True, True), "stm32": (True, True, False), "esp32": (False, False, True)
    }[kind]  # fmt: skip
    assert port.clock_hz == 1000000 and port.name == "generic" and len(port.unique_id) == 8
    assert port.earliest_ticks > port._player.ahead > 0
    # Rows that are prepared before their edge need hard interrupts.
    assert (port.earliest_beam_ticks < port._player.served_us) == port.hard_pins
