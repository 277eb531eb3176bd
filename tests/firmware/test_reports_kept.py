"""The board keeps its reports until the host acknowledges them, in bounded memory, and counts what it had to forget."""

from __future__ import annotations

import random

from hypothesis import given
from hypothesis import strategies as st
from scripted import MS, TWO_DROPS, WAITING, Bench, drop_edges
from tiers import examples

from beamfall_board.store import ReportStore


def test_with_no_host_the_newest_shots_are_kept_and_the_forgotten_are_counted() -> None:
    bench = Bench()
    _, digest = bench.upload(TWO_DROPS, **WAITING)
    for number in range(1, 61):
        drop_edges(bench, 300.0, 380.0)
        bench.release(digest, number)
        bench.transport.sleep(1.0)
        bench.transport.read(0)  # nobody acknowledges
    status = bench.ask("status")
    assert status["shots_forgotten"] > 0
    late = Bench.__new__(Bench)
    late.__dict__.update(bench.__dict__, session=99, reports=[], answers={}, number=0)
    late.ask("hello", definition=late.codec.definition.digest)
    late.run(3.0)
    forgotten = late.named("forgotten")
    assert forgotten[0]["shots"] == status["shots_forgotten"]
    numbers = [number for number, _ in late.reports]
    fresh = sorted(set(numbers))
    assert fresh == list(range(fresh[0], fresh[-1] + 1)), "after the gap, every report is there"
    shots = sorted({m["release"] for m in late.named("shot_done")})
    assert shots == list(range(shots[0], 61)), "the newest shots are kept without a hole"
    assert len(shots) + status["shots_forgotten"] == 60


def test_a_repeated_request_is_answered_the_same_even_after_a_strange_one() -> None:
    bench = Bench()
    first = bench.ask("watch", on=1)
    stranger = bench.frame("abort", bench.number + 1, session=1234)
    bench.send(stranger)
    bench.listen()
    assert bench.answers[bench.number + 1]["reason"].name == "no_session"
    bench.answers.clear()
    bench.send(bench.frame("watch", bench.number, on=1))
    bench.listen()
    assert bench.answers[bench.number] == first


@given(st.integers(0, 2**32))
@examples(60)
def test_the_store_never_loses_the_newest_and_numbers_every_loss(seed: int) -> None:
    draws = random.Random(seed)
    store = ReportStore(600)
    store.set_shot_end(9)
    model: list[tuple[int, bytes]] = []
    lost = 0
    for number in range(1, 200):
        payload = bytes(draws.randrange(256) for _ in range(draws.randrange(60)))
        assert store.add(9, payload, 0, len(payload)) == number
        model.append((number, payload))
        lost += len(model) - store.count
        model = model[len(model) - store.count :]
        if draws.random() < 0.1:
            through = draws.randrange(max(0, number - 8), number + 3)
            store.acknowledge(through)
            if through <= number:
                model = [one for one in model if one[0] > through]
        out = bytearray(300)
        for known, content in model:
            message, length = store.fetch(known, out, 8)
            assert (message, bytes(out[8 : 8 + length])) == (9, content)
    assert store.forgotten_reports == store.forgotten_shots == lost


def test_reports_that_were_not_sent_are_not_let_go_of_whatever_is_acknowledged() -> None:
    bench = Bench()
    channel = bench.transport._channel
    _, digest = bench.upload([(0, 0, 1, MS, 10 * MS)])
    bench.run(0.5)
    known = bench.board.store.next_number
    channel.write, write = (lambda data, length: 0), channel.write  # the line takes nothing
    for number in range(1, 12):
        bench.send(
            bench.frame(
                "release",
                bench.number + number,
                boot_id=bench.welcome["boot_id"],
                release=number,
                digest=digest,
            )
        )
        bench.transport.sleep(0.3)
    made = bench.board.store.next_number
    assert made - known > 20
    bench.send(bench.frame("acknowledge", 0, through=made - 1))
    bench.transport.sleep(0.01)
    channel.write = write
    bench.number += 20
    bench.run(8.0)
    assert [number for number, _ in bench.reports] == list(range(1, made))
    assert bench.ask("status")["reports_kept"] == 0


def test_an_acknowledgement_counts_though_the_board_has_gone_back_to_the_oldest() -> None:
    """Without an acknowledgement for some time, the board sends its reports again from the oldest on."""
    bench = Bench()
    _, digest = bench.upload([(0, 0, 1, MS, 10 * MS)])
    bench.release(digest)
    bench.transport.sleep(0.1)
    bench.listen()
    last = bench.reports[-1][0]
    bench.board.link._rewind()
    bench.send(bench.frame("acknowledge", 0, through=last))
    bench.transport._board.link.poll()
    assert bench.board.store.count == 0
    late = Bench.__new__(Bench)
    late.__dict__.update(bench.__dict__, session=99, reports=[], answers={}, number=0)
    bench.release(digest, 2)
    bench.transport.sleep(0.1)
    bench.listen()
    last = bench.reports[-1][0]
    late.ask("hello", definition=late.codec.definition.digest)
    late.send(late.frame("acknowledge", 0, through=last))  # it has them from the session before
    late.transport._board.link.poll()
    assert bench.board.store.count == 0


def test_the_uptime_counts_on_where_the_millisecond_clock_turns() -> None:
    bench = Bench()
    port = bench.transport._port
    told = []
    for turn in range(5):  # 12.4 days each; a u32 of milliseconds lasts for 49.7
        for now in (5, 2**29, 2**30 - 1):
            port.millis = lambda now=now: now
            bench.board.step()
            told.append((turn, now, bench.ask("status")["uptime_ms"]))
    assert [up for _, _, up in told] == [(turn * 2**30 + now) % 2**32 for turn, now, _ in told]
