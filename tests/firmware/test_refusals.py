"""A refusal changes nothing on the board: not the ready table, not the state. And it is not a fault."""

from __future__ import annotations

import hashlib
import struct
from pathlib import Path

import pytest
from scripted import MS, Bench

from beamfall.errors import LinkLost
from beamfall_board import wire_definition as wire
from ports.rp2 import schedule

GOOD = [(0, 0, 1, 1 * MS, 50 * MS)]


def put_slot(bench: Bench, slot: int, width: int, head: bytes = b"", damage: bool = False) -> None:
    """A slot file with a right checksum and one row of valve 1. It may exceed this board's limits, as after a change of
    profile."""
    head = head or struct.pack("<HIIIIBBBB", 1, 0, 5 * MS, 0, 0, 1, 1, 0, 0)
    row = struct.pack(wire.FORMAT_ROW, 0, 0, 1, 0, MS, width)
    body = b"B1" + hashlib.sha256(head + row).digest()[:16] + head + row
    data = body + hashlib.sha256(body).digest()[:4]
    if damage:
        data = data[:-1] + bytes([data[-1] ^ 1])
    folder = Path(bench.transport._folder.name)
    folder.mkdir(exist_ok=True)
    (folder / f"slot{slot}.bin").write_bytes(data)


def load_refused_by_the_port(bench: Bench) -> None:
    """From now on the port refuses tables of up to two rows."""
    port = bench.transport._port

    def load(table: object) -> int:
        port.fault_row, port.fault_detail = 0, 77
        return wire.REFUSAL_MACHINE_CONFLICT

    port.load = load


@pytest.mark.parametrize(
    ("case", "reason"),
    [
        ("over the limit", "width_too_long"),
        ("damaged", "storage"),
        ("empty", "storage"),
        ("not for this port", "machine_conflict"),
        ("cut", "storage"),
    ],
)
@pytest.mark.parametrize("fault", [False, True])
def test_a_slot_that_cannot_be_loaded_leaves_the_ready_table_and_the_state(
    case: str, reason: str, fault: bool
) -> None:
    bench = Bench()
    _, digest = bench.upload(GOOD)
    assert bench.ask("slot_save", slot=1).name == "done"
    if case != "empty":
        width = 250 * MS if case == "over the limit" else 20 * MS
        put_slot(bench, 2, width, damage=case == "damaged")
    if case == "cut":
        path = Path(bench.transport._folder.name, "slot2.bin")
        path.write_bytes(path.read_bytes()[:20])
    if fault:
        bench.board.controller.fail(wire.CAUSE_PORT_FAILURE)
    if case == "not for this port":
        load_refused_by_the_port(bench)
    before = bench.ask("status").fields
    answer = bench.ask("slot_load", slot=2)
    assert (answer.name, answer["reason"].name) == ("refused", reason)
    after = bench.ask("status").fields
    for name in ("state", "cause", "table", "digest", "activity"):
        assert after[name] == before[name], name
    bench.transport._port.__dict__.pop("load", None)
    if fault:
        assert bench.release(digest)["reason"].name == "in_fault"
        bench.ask("abort")
    assert bench.release(digest).name == "done"
    bench.run(0.2)
    ((on, off),) = bench.rig.pulses(1)
    assert off - on == 50 * MS
    assert bench.ask("slot_load", slot=1).name == "done"


def test_a_slot_loaded_is_the_ready_table_and_clears_a_fault() -> None:
    bench = Bench()
    _, first = bench.upload(GOOD)
    put_slot(bench, 2, 20 * MS)
    bench.board.controller.fail(wire.CAUSE_PORT_FAILURE)
    assert bench.ask("slot_load", slot=2).name == "done"
    status = bench.ask("status")
    assert (status["state"].name, status["table"].name) == ("idle", "ready")
    assert status["digest"] != first
    assert bench.release(first)["reason"].name == "wrong_digest"
    assert bench.release(status["digest"]).name == "done"
    bench.run(0.2)
    assert [off - on for on, off in bench.rig.pulses(1)] == [20 * MS]
    assert bench.upload(GOOD)[0].name == "done", "and an upload takes its place as before"
    assert bench.release(first, 2).name == "done"
    bench.run(0.2)
    assert [off - on for on, off in bench.rig.pulses(1)] == [20 * MS, 50 * MS]


def test_a_half_uploaded_table_outlives_a_refused_slot() -> None:
    bench = Bench()
    _, digest = bench.upload(GOOD)
    assert bench.begin(digest, rows=1).name == "done"
    assert bench.ask("slot_load", slot=5)["reason"].name == "storage"
    bench.ask("table_rows", first=0, rows=[(0, 0, 1, 0, 1 * MS, 50 * MS)])
    assert bench.ask("table_commit").name == "done"


@pytest.mark.parametrize("what", ["drip", "test_flash"])
def test_a_pulse_too_narrow_for_the_hardware_is_refused_and_no_fault(what: str) -> None:
    """The rp2 port's own compiler of timelines, in front of the simulated hardware."""
    bench = Bench()
    port = bench.transport._port
    load = port.load
    timeline = schedule.Timeline(64, schedule.Words(0, [0] * 1000, 0, 400), 2)
    bits = [255] * 32
    bits[1], bits[4] = 0, 1

    def compile_first(table: object) -> int:
        reason: int = timeline.compile(table, bits)
        if reason:
            port.fault_row, port.fault_detail = timeline.fault_row, timeline.fault_detail
            return reason
        return int(load(table))

    _, digest = bench.upload(GOOD)
    port.load = compile_first
    output = 1 if what == "drip" else 4
    answer = bench.ask(what, output=output, width_ticks=2)
    assert (answer.name, answer["row"]) == ("refused", 65535)
    status = bench.ask("status")
    assert (status["state"].name, status["table"].name) == ("idle", "ready")
    bench.run(0.1)
    assert bench.rig.outputs == []
    assert bench.named("shot_done") == []
    assert bench.release(digest).name == "done"
    bench.run(0.2)
    assert len(bench.rig.pulses(1)) == 1


# -- maintenance -----------------------------------------------------------------------------------------------
def break_file_system(bench: Bench) -> None:
    def enter_maintenance() -> None:
        raise OSError(30, "read-only file system")

    bench.transport._port.enter_maintenance = enter_maintenance


def test_where_maintenance_cannot_be_entered_the_board_says_so_and_can_be_used_again() -> None:
    bench = Bench()
    _, digest = bench.upload(GOOD)
    break_file_system(bench)
    assert bench.ask("maintenance").name == "done"
    bench.run(0.5)
    assert bench.ask("status")["state"].name == "fault"
    assert ["OSError" in trouble["text"] for trouble in bench.named("trouble")] == [True]
    assert bench.ask("abort").name == "done"
    bench.run(0.5)
    assert bench.ask("status")["state"].name == "idle"
    assert bench.release(digest).name == "done"


@pytest.mark.parametrize("what", ["release", "drip", "watch", "rinse", "button"])
def test_nothing_begins_once_maintenance_was_granted(what: str) -> None:
    """The board is about to restart: what started now would be cut off without a report."""
    bench = Bench()
    _, digest = bench.upload(GOOD)
    fields = {
        "release": {"boot_id": bench.welcome["boot_id"], "release": 1, "digest": digest},
        "drip": {"output": 1, "width_ticks": MS},
        "watch": {"on": 1},
        "rinse": {"output": 1, "width_ms": 100, "token": 0},
    }
    channel = bench.transport._channel
    write = channel.write
    channel.write = lambda data, length: 0  # the answer cannot leave yet, so the restart waits
    bench.send(bench.frame("maintenance", 50))
    bench.transport.sleep(0.01)
    if what == "button":
        assert bench.board.requests.press() == wire.REFUSAL_BUSY
    else:
        bench.send(bench.frame(what, 51, **fields[what]))
        bench.transport.sleep(0.01)
    assert bench.board.controller.activity == wire.ACTIVITY_NONE
    channel.write = write
    with pytest.raises(LinkLost):
        bench.transport.sleep(0.1)
    assert bench.rig.outputs == []


def test_a_release_in_one_breath_with_maintenance_is_refused() -> None:
    bench = Bench()
    _, digest = bench.upload(GOOD)
    fields = {"boot_id": bench.welcome["boot_id"], "release": 1, "digest": digest}
    bench.send(bench.frame("maintenance", 50) + bench.frame("release", 51, **fields))
    with pytest.raises(LinkLost):
        bench.run(1.0)
    assert bench.answers[51]["reason"].name == "busy"
    assert bench.rig.outputs == []
