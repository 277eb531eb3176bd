"""Whatever is asked while a shot, a service action or a watch runs, the outputs do what they had begun.

Every plausible request is sent in the middle of every activity; the pins must do the same as without it. Only an abort,
the end of a watch and a lost session may change anything.
"""

from __future__ import annotations

from typing import Any

import pytest
from scripted import MS, SETTINGS, Bench, drop_edges

from beamfall.wire import Message, make_table_messages
from beamfall_board import wire_definition as wire

# What is half uploaded: other outputs and times than those under way, so that a mix of both would show.
OTHER = [(0, 0, 2, 30 * MS, 5 * MS), (0, 0, 7, 40 * MS, 900 * MS), (0, 0, 2, 300 * MS, 150 * MS)]
SHOT = [(0, 0, 1, 1 * MS, 150 * MS), (0, 0, 8, 5 * MS, 700 * MS), (0, 0, 1, 500 * MS, 100 * MS)]
ACTIVITIES = {
    "drip": wire.ACTIVITY_DRIP,
    "rinse": wire.ACTIVITY_RINSE,
    "test_flash": wire.ACTIVITY_TEST_FLASH,
    "shot": wire.ACTIVITY_SHOT,
    "armed shot": wire.ACTIVITY_SHOT,
    "watch": wire.ACTIVITY_WATCH,
}
# What may be asked at any time, and what it does to the activity: nothing.
HARMLESS = {"status", "slots", "set_host_timeout", "hello", "acknowledge", "table_rows"}
REQUESTS = [
    "hello", "acknowledge", "status", "table_begin", "table_rows", "table_commit", "release", "watch", "drip",
    "rinse", "test_flash", "set_host_timeout", "slots", "slot_save", "slot_load", "slot_erase", "slot_choose",
    "maintenance", "edge_constant", "readings",
]  # fmt: skip


def parts(bench: Bench) -> tuple[Any, ...]:
    return make_table_messages(
        bench.codec, SETTINGS, [(a, c, o, 0, d, w) for a, c, o, d, w in OTHER]
    ).requests


def begin(bench: Bench, activity: str) -> bytes:
    """The activity, 20 ms after its start; the digest that a release could name."""
    bench.ask("slot_choose", slot=0)
    if activity in ("shot", "armed shot"):
        waiting = {"window_ticks": 2000 * MS, "await1": 1} if activity == "armed shot" else {}
        answer, digest = bench.upload(SHOT, **waiting)
        assert answer.name == "done"
        bench.ask("slot_save", slot=1)
        assert bench.release(digest).name == "done"
    else:
        answer, digest = bench.upload(OTHER)
        assert answer.name == "done"
        bench.ask("slot_save", slot=1)
        for request in parts(bench)[:-1]:  # all but the commit
            assert bench.ask(request.name, **request.fields).name == "done"
        if activity == "drip":
            answer = bench.ask("drip", output=1, width_ticks=100 * MS)
        elif activity == "test_flash":
            answer = bench.ask("test_flash", output=4, width_ticks=20 * MS)
        elif activity == "watch":
            answer = bench.ask("watch", on=1)
        else:
            token = bench.ask("rinse", output=1, width_ms=300, token=0)["detail"]
            answer = bench.ask("rinse", output=1, width_ms=300, token=token)
        assert answer.name == "done"
    bench.run(0.005 if activity == "test_flash" else 0.02)
    assert bench.board.controller.activity == ACTIVITIES[activity]
    return digest


def ask(bench: Bench, request: str, digest: bytes) -> Message | None:
    before = bench.board.controller.activity
    if request == "hello":
        bench.session, bench.number = 8, 0
        answer = bench.ask("hello", definition=bench.codec.definition.digest)
    elif request == "acknowledge":
        bench.send(bench.frame("acknowledge", 0, through=10_000))
        bench.listen()
        return None
    elif request == "release":
        answer = bench.release(digest, 2)
    else:
        fields: dict[str, Any] = {
            "watch": {"on": 1},
            "drip": {"output": 3, "width_ticks": 10 * MS},
            "rinse": {"output": 3, "width_ms": 400, "token": 0},
            "test_flash": {"output": 5, "width_ticks": MS},
            "edge_constant": {"set": 1, "ticks": 5},
            "readings": {"part": 0},
            "set_host_timeout": {"timeout_ms": 60_000},
        }.get(request, {})
        if request.startswith("slot_"):
            fields = {"slot": 1}
        if request.startswith("table_"):
            fields = next(one.fields for one in parts(bench) if one.name == request)
        answer = bench.ask(request, **fields)
    assert bench.board.controller.activity == before
    return answer


def outputs(activity: str, request: str = "") -> tuple[list[tuple[int, int, int]], Message | None]:
    """All that the pins did, from the start of the activity to well after its end, and what was answered."""
    bench = Bench()
    digest = begin(bench, activity)
    answer = ask(bench, request, digest) if request else None
    bench.run(4.0)
    return bench.rig.outputs, answer


def is_asked_of_a_ready_table(activity: str, request: str) -> bool:
    """In a shot the table is ready: its rows are refused and its commit has nothing to do; both answers say so."""
    return "shot" in activity and request in ("table_rows", "table_commit")


@pytest.mark.parametrize("activity", ACTIVITIES)
def test_no_request_changes_what_the_outputs_do_while_something_is_under_way(activity: str) -> None:
    alone, _ = outputs(activity)
    assert bool(alone) == (activity != "watch")
    for request in REQUESTS:
        if is_asked_of_a_ready_table(activity, request):
            continue
        moved, answer = outputs(activity, request)
        assert moved == alone, request
        if request not in HARMLESS:
            assert answer is not None and answer.name == "refused", request
            assert (answer["reason"].name, answer["detail"]) == ("busy", ACTIVITIES[activity])


@pytest.mark.parametrize("activity", ["shot", "armed shot"])
@pytest.mark.parametrize(
    ("request_", "answer"), [("table_rows", "refused"), ("table_commit", "done")]
)
def test_a_ready_table_under_way_takes_no_rows_and_stays_ready(
    activity: str, request_: str, answer: str
) -> None:
    bench = Bench()
    begin(bench, activity)
    fields = next(one.fields for one in parts(bench) if one.name == request_)
    told = bench.ask(request_, **fields)
    assert told.name == answer
    if answer == "refused":
        assert told["reason"].name == "no_table"
    bench.run(4.0)
    assert bench.rig.outputs == outputs(activity)[0]


@pytest.mark.parametrize("activity", ACTIVITIES)
def test_an_abort_ends_any_of_them(activity: str) -> None:
    bench = Bench()
    begin(bench, activity)
    assert bench.ask("abort").name == "done"
    now, moved = bench.now, len(bench.rig.outputs)
    for signal in range(1, 9):
        assert all(0 <= off <= now for _, off in bench.rig.pulses(signal))
    bench.run(4.0)
    assert len(bench.rig.outputs) == moved


def test_all_requests_are_tried() -> None:
    bench = Bench()
    kinds = {
        name
        for name, message in bench.codec.definition.messages.items()
        if message.kind in ("request", "notice")
    }
    assert kinds == {*REQUESTS, "abort"}


def test_the_controller_itself_refuses_to_commit_while_something_is_under_way() -> None:
    """It is refused to everyone: the port's tables are in use."""
    bench = Bench()
    begin(bench, "drip")
    port = bench.transport._port

    def load(table: object) -> int:
        raise AssertionError("a table went to the port while it played another one")

    port.load = load
    commit = bench.board.controller.commit
    assert commit() == (wire.REFUSAL_BUSY, 65535, wire.ACTIVITY_DRIP)


@pytest.mark.parametrize("activity", ["drip", "armed shot"])
def test_its_edges_are_reported_while_it_runs(activity: str) -> None:
    bench = Bench()
    begin(bench, activity)
    bench.run(0.4)
    assert bench.named("shot_done") == []
    soon = [edge for m in bench.named("edges") for edge in m["edges"]]
    assert {edge.mark & 1 for edge in soon} == {0, 1}  # an opening's begin and its end
    bench.run(4.0)
    (done,) = bench.named("shot_done")
    assert done["edges"] == sum(len(m["edges"]) for m in bench.named("edges"))


@pytest.mark.parametrize("activity", ACTIVITIES)
def test_what_is_under_way_ends_with_a_report_though_the_hardware_answers_no_more(
    activity: str,
) -> None:
    bench = Bench()
    begin(bench, activity)
    port = bench.board.port

    def fail() -> bool:
        raise OSError("the hardware does not answer")

    port.next_edge = fail
    bench.run(0.05)
    (done,) = [one for one in bench.named("shot_done") if one["cause"].name != "none"]
    assert done["activity"] == ACTIVITIES[activity]
    assert (done["state"].name, done["cause"].name) == ("fault", "internal")
    assert done["edges"] == sum(len(one["edges"]) for one in bench.named("edges"))
    assert bench.board.controller.state == wire.STATE_FAULT
    assert not any(level for _, _, level in list_last(bench.rig.outputs))


def test_a_watchs_waiting_edges_are_reported_though_the_hardware_answers_no_more() -> None:
    bench = Bench()
    begin(bench, "watch")
    drop_edges(bench, 2.0)
    bench.run(0.008)
    assert not bench.named("edges"), "they wait for more"
    port = bench.board.port

    def fail(*_: object) -> bool:
        raise OSError("the hardware does not answer")

    port.next_edge = port.take_edges = fail
    bench.run(0.05)
    (done,) = bench.named("shot_done")
    assert done["edges"] == sum(len(one["edges"]) for one in bench.named("edges")) == 2


def list_last(outputs: list[tuple[int, int, int]]) -> list[tuple[int, int, int]]:
    """The newest change of each output."""
    return list({signal: (ticks, signal, level) for ticks, signal, level in outputs}.values())
