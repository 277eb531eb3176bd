"""No message, no timing of messages and no slot content holds an output beyond its limit or wakes it too soon.

Random bytes steer a whole board (firmware_targets.py): tables that are nearly allowed, releases back to back, service
actions, aborts, edges, silence, deaf hosts. The pins are watched at every change (class Pins), valve gap and flash
spacing to the tick, also between shots.
"""

from __future__ import annotations

import hashlib
import struct
from pathlib import Path

import firmware_targets as firmware
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from scripted import MS, Bench
from tiers import examples, in_full

from beamfall_board import wire_definition as wire
from beamfall_board.budget import Budget
from beamfall_board.slots import Slots
from boards import simulated as profile

UPLOAD, RELEASE, TIME, SERVE, SHORT = 5, 6, 3, 7, 8  # of firmware_targets._OPS

# An upload of one release row that is left without its commit; a service action; that commit.
in_part = st.tuples(st.integers(0, 7), st.integers(0, 199), st.integers(0, 255)).map(
    lambda row: bytes([UPLOAD, 0, 0, *row, 0, 0, 1, 1, 0xC0])
)
# A service action, and then a wait of up to 5 ms.
service = st.tuples(st.integers(0, 6), st.integers(1, 199), st.integers(0, 255)).map(
    lambda action: bytes([SERVE, action[0], action[1], TIME, 0, action[2]])
)
commit = st.just(bytes([SHORT, 208]))
long = st.just(bytes([TIME, 255, 0]))
pieces = st.one_of(
    st.binary(min_size=1, max_size=24),
    st.binary(min_size=20, max_size=30).map(lambda data: bytes([UPLOAD]) + data),
    st.just(bytes([RELEASE])),
    st.just(bytes([TIME, 1, 0])),
)


@given(st.lists(pieces, max_size=16))
@settings(examples(300), suppress_health_check=list(HealthCheck))
def test_nothing_that_is_sent_breaks_a_limit(parts: list[bytes]) -> None:
    firmware.run_board(b"".join(parts))


@given(st.lists(st.one_of(in_part, service, commit, long), min_size=4, max_size=24))
@settings(examples(300), suppress_health_check=list(HealthCheck))
def test_parts_of_an_upload_between_service_actions_break_no_limit(parts: list[bytes]) -> None:
    """An old fault: a commit in the middle of a drip gave the port another table, and the valve stayed open."""
    firmware.run_board(b"".join(parts))


def test_the_duty_over_shots_is_judged(monkeypatch: pytest.MonkeyPatch) -> None:
    """Four shots of five openings of 199 ms, one after the other: the fourth must be refused, or the pins show it."""
    rows = b"".join(bytes([0, 0, 198, delay]) for delay in (0, 51, 102, 153, 204))
    shot = bytes([RELEASE, TIME, 0xC8, 0])  # and 1.02 s
    steps = bytes([UPLOAD, 4]) + rows + bytes([0, 0, 1, 1, 1]) + 4 * shot
    changes = int(firmware.run_board(steps).split()[1])
    assert changes == 2 * 3 * 5
    monkeypatch.setattr(Budget, "_charge", lambda *arguments: None)
    with pytest.raises(firmware.Broken, match="of a duty window"):
        firmware.run_board(steps)


@pytest.mark.parametrize("gap_us", [900, 20_100, *in_full(50, 1100, 1900, 2100, 19_000, 21_100)])
def test_an_output_rests_between_shots_however_soon_the_next_release_comes(gap_us: int) -> None:
    bench = Bench()
    rows = [(0, 0, 1, 200, 10 * MS), (0, 0, 4, 200, 1 * MS)]
    _, digest = bench.upload(rows, tail_ticks=0)
    released = 0
    end = bench.now + 400 * MS
    while bench.now < end:
        released += bench.release(digest, released + 1).name == "done"
        bench.transport.sleep(gap_us / 1e6 + 1e-6)
    assert released >= 5
    valve, flash = bench.rig.pulses(1), bench.rig.pulses(4)
    for (_, off), (on, _) in zip(valve, valve[1:], strict=False):
        assert on - off >= profile.VALVE_GAP_US * MS // 1000
    for (first, _), (second, _) in zip(flash, flash[1:], strict=False):
        assert second - first >= profile.FLASH_GAP_US * MS // 1000


@pytest.mark.parametrize("stop", ["abort", "fault", "missed"])
def test_an_output_rests_also_after_a_shot_that_was_stopped(stop: str) -> None:
    bench = Bench()
    rows = [(0, 0, 1, 200, 100 * MS), (0, 0, 4, 200, 1 * MS)]
    waiting = {"window_ticks": 2 * MS, "await1": 1} if stop == "missed" else {}
    _, digest = bench.upload(rows, tail_ticks=0, **waiting)
    bench.release(digest, 1)
    bench.transport.sleep(0.0021)
    if stop == "fault":
        bench.board.controller.fail(wire.CAUSE_LOST_HOST)
    bench.ask("abort")
    if stop != "missed":
        answer = bench.release(digest, 2)
        assert answer["reason"].name == "too_soon"
        assert answer["detail"] == 21  # 20 ms of flash spacing, and one for the clock's grain
    number, ran = 3, False
    while not ran:
        ran = bench.release(digest, number).name == "done"
        number += 1
        bench.transport.sleep(0.0003)
    bench.run(0.3)
    flash = bench.rig.pulses(4)
    assert flash[1][0] - flash[0][0] >= profile.FLASH_GAP_US * MS // 1000


def make_slot_file(folder: Path, slot: int, body: bytes) -> None:
    data = b"B1" + body
    folder.mkdir(exist_ok=True)
    (folder / f"slot{slot}.bin").write_bytes(data + hashlib.sha256(data).digest()[:4])


row = st.tuples(
    st.integers(0, 3), st.integers(0, 3), st.integers(0, 12), st.integers(0, 1),
    st.one_of(st.integers(0, 500 * MS), st.integers(0, 2**32 - 1)),
    st.one_of(st.integers(0, 220 * MS), st.integers(0, 2**32 - 1)),
)  # fmt: skip
bodies = st.one_of(
    st.binary(max_size=200),
    st.tuples(
        st.lists(row, min_size=1, max_size=4),
        st.sampled_from([0, 0, 300 * MS, 2**32 - 1]),
        st.integers(0, 3),
        st.sampled_from([0, 0, 1, 2, 255]),
        st.booleans(),
    ),
)


def make_body(content: bytes | tuple[list[tuple[int, ...]], int, int, int, bool]) -> bytes:
    """The content of a slot with a right checksum, and a digest that is right or wrong."""
    if isinstance(content, bytes):
        return content
    rows, window, awaits, edge, right = content
    head = struct.pack("<HIIIIBBBB", len(rows), window, 0, 0, 0, edge, 1, awaits, 0)
    data = b"".join(
        struct.pack(wire.FORMAT_ROW, *one)
        for one in sorted(rows, key=lambda r: (r[0], r[1], r[4], r[2]))
    )
    digest = hashlib.sha256(head + data).digest()[:16] if right else bytes(16)
    return digest + head + data


@given(bodies)
@example(([(0, 0, 1, 0, MS, 300 * MS)], 0, 0, 0, True))
@settings(examples(300), suppress_health_check=list(HealthCheck))
def test_no_content_of_a_slot_breaks_a_limit(content) -> None:  # type: ignore[no-untyped-def]
    bench = Bench()
    folder = Path(bench.transport._folder.name)
    make_slot_file(folder, 3, make_body(content))
    make_slot_file(folder, 0, b"\x03")
    bench.transport.reset_board()
    bench.number = 0
    bench.answers.clear()
    bench.ask("hello", definition=bench.codec.definition.digest)
    for start, level in ((1, 1), (60, 0)):  # the button
        bench.rig.at(bench.now + start * MS, 12, level)
    for start in (100, 150):
        bench.rig.at(bench.now + start * MS, 9, 1)
        bench.rig.at(bench.now + (start + 3) * MS, 9, 0)
    bench.run(9.5)
    for signal in range(1, 9):
        longest = {1: 200, 2: 200, 3: 200, 4: 20, 5: 20, 6: 20}.get(signal, 8000) * MS
        for on, off in bench.rig.pulses(signal):
            assert off >= 0 and off - on <= longest
    assert not [report for report in bench.named("trouble") if "Error" in report["text"]]
    assert bench.ask("status")["state"].name != "fault"


def test_a_slot_that_is_good_does_run(tmp_path: Path) -> None:
    """Otherwise the property above would prove nothing."""
    bench = Bench()
    folder = Path(bench.transport._folder.name)
    make_slot_file(folder, 3, make_body(([(0, 0, 1, 0, MS, 150 * MS)], 0, 0, 0, True)))
    assert Slots(str(folder)).digest(3) is not None
    assert bench.ask("slot_load", slot=3).name == "done"
    make_slot_file(folder, 4, make_body(([(0, 0, 1, 0, MS, 150 * MS)], 0, 0, 2, True)))
    assert bench.ask("slot_load", slot=4)["reason"].name == "storage", (
        "an edge that is neither dark nor clear"
    )


def test_rows_that_never_end_are_a_fault_and_the_outputs_go_off() -> None:
    """Timing hardware that never ends: the shot must not wait for it for ever."""
    bench = Bench()
    _, digest = bench.upload([(0, 0, 8, 1 * MS, 50 * MS)])
    port = bench.transport._port
    port.rows_done = lambda: False

    def play(row: int) -> None:
        if port._phase[row] == 2:
            port._phase[row] = 3  # should put its output off, and does not
        else:
            type(port)._play(port, row)

    port._play = play
    bench.release(digest)
    bench.run(2.0)
    ((on, off),) = bench.rig.pulses(8)
    assert off - on < 700 * MS
    status = bench.ask("status")
    assert (status["state"].name, status["cause"].name) == ("fault", "port_failure")


def test_a_release_that_the_port_cannot_load_is_refused_and_its_number_stays_free() -> None:
    bench = Bench()
    _, digest = bench.upload([(0, 0, 8, 1 * MS, 50 * MS)])
    bench.ask("drip", output=1, width_ticks=MS)  # the port has another table now
    bench.run(1.5)
    port = bench.transport._port
    port.load = lambda table: wire.REFUSAL_MACHINE_CONFLICT
    refused = bench.release(digest, 1)
    assert (refused.name, refused["reason"].name) == ("refused", "machine_conflict")
    del port.load
    bench.ask("abort")
    assert bench.release(digest, 1).name == "done"


def test_the_budget_rests_over_the_turn_of_the_millisecond_clock() -> None:
    from beamfall_board.table import Table

    budget = Budget(profile, 125_000_000, 0)
    table = Table(1)
    table.make_single(4, MS, 200, 0)
    budget.ended(table, 0x3FFFFFFF, 0)
    assert not budget.take(table, 5) and budget.wait_ms == 15
    assert budget.take(table, 20)
    assert budget.take(table, 0x3FFFFFFF), "half a turn later nothing is left of it"


def test_a_late_repeat_of_the_hello_does_not_have_requests_done_again() -> None:
    bench = Bench()
    hello = bench.frame("hello", 1, definition=bench.codec.definition.digest)
    drip = bench.frame("drip", 2, output=1, width_ticks=MS)
    bench.number = 2
    bench.send(drip)
    bench.run(1.6)
    bench.send(hello)
    bench.send(drip)
    bench.run(1.6)
    assert len(bench.rig.pulses(1)) == 1
    assert bench.answers[1]["reason"].name == "stale"
