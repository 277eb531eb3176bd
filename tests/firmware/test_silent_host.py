"""A host that asked to be missed: what the board does over sessions, in a watch, and with what the host had started."""

from __future__ import annotations

import pytest
from scripted import BEAM1, MS, Bench, ScriptedRig

from beamfall.board import Board
from beamfall.board_session import HOST_TIMEOUT_S
from beamfall.setup.sequence import Row, Sequence
from beamfall.sim.embedded import SimulatedTransport
from beamfall_board import wire_definition as wire

LONG = [(0, 0, 8, MS, 7000 * MS)]


def other_host(bench: Bench, session: int = 8) -> None:
    bench.session, bench.number = session, 0
    bench.answers.clear()
    assert bench.ask("hello", definition=bench.codec.definition.digest).name == "welcome"


def test_a_time_out_is_over_with_its_session() -> None:
    bench = Bench()
    bench.ask("set_host_timeout", timeout_ms=300)
    other_host(bench)
    _, digest = bench.upload(LONG)
    assert bench.release(digest).name == "done"
    bench.transport.sleep(9.0)
    assert bench.ask("status")["state"].name == "fired", "this host has not asked to be missed"
    ((on, off),) = bench.rig.pulses(8)
    assert off - on == 7000 * MS


def test_what_a_host_began_with_a_time_out_keeps_it_whoever_says_hello() -> None:
    """Otherwise a late repeat of another session's hello would leave the outputs of a lost host on."""
    bench = Bench()
    bench.ask("set_host_timeout", timeout_ms=300)
    _, digest = bench.upload(LONG)
    assert bench.release(digest).name == "done"
    bench.transport.sleep(0.05)
    other_host(bench)
    bench.transport.sleep(3.0)
    ((on, off),) = bench.rig.pulses(8)
    assert off - on < 1500 * MS
    assert bench.ask("status")["cause"].name == "lost_host"
    bench.ask("abort")
    assert bench.release(digest, 2).name == "done"
    bench.transport.sleep(8.0)
    assert bench.ask("status")["state"].name == "fired", "and only that keeps it"


def test_a_time_out_set_in_the_middle_of_a_shot_holds_for_that_shot() -> None:
    bench = Bench()
    _, digest = bench.upload(LONG)
    bench.release(digest)
    bench.ask("set_host_timeout", timeout_ms=300)
    bench.transport.sleep(3.0)
    assert bench.ask("status")["cause"].name == "lost_host"
    bench.ask("abort")
    bench.release(digest, 2)
    bench.ask("set_host_timeout", timeout_ms=0)
    bench.transport.sleep(8.0)
    assert bench.ask("status")["state"].name == "fired"


@pytest.mark.parametrize("again", [False, True])
def test_the_same_hello_once_more_leaves_the_time_out(again: bool) -> None:
    bench = Bench()
    bench.ask("set_host_timeout", timeout_ms=300)
    if again:
        bench.send(bench.frame("hello", 1, definition=bench.codec.definition.digest))
        bench.listen()
    assert bench.board.controller.host_timeout_ms == 300


def test_a_hello_that_opens_no_session_leaves_it_too() -> None:
    bench = Bench()
    bench.ask("set_host_timeout", timeout_ms=300)
    _, digest = bench.upload(LONG)
    bench.release(digest)
    bench.send(bench.frame("hello", 1, session=0, definition=bench.codec.definition.digest))
    bench.listen()
    assert bench.board.controller.host_timeout_ms == 300


# -- a watch -------------------------------------------------------------------------------------------------------
def test_a_watch_outlasts_its_silent_host() -> None:
    """Nothing can be on in a watch, so a host whose user takes time to answer must not lose it."""
    bench = Bench()
    bench.ask("set_host_timeout", timeout_ms=500)
    bench.ask("watch", on=1)
    zero = bench.now
    for second in (1, 20, 119):
        bench.rig.at(zero + second * 1000 * MS, BEAM1, 1)
        bench.rig.at(zero + second * 1000 * MS + 2 * MS, BEAM1, 0)
    bench.transport.sleep(120.0)
    status = bench.ask("status")
    assert (status["state"].name, status["activity"].name) == ("idle", "watch")
    bench.ask("watch", on=0)
    bench.run(1.0)
    (done,) = bench.named("shot_done")
    assert (done["cause"].name, done["edges"]) == ("none", 6)
    assert bench.rig.outputs == []


@pytest.mark.parametrize("activity", ["drip", "rinse", "test_flash"])
def test_a_service_action_does_not(activity: str) -> None:
    bench = Bench()
    bench.ask("set_host_timeout", timeout_ms=200)
    fields = {"drip": {"output": 1, "width_ticks": MS}, "test_flash": {"output": 4, "width_ticks": MS}}  # fmt: skip
    if activity == "rinse":
        token = bench.ask("rinse", output=1, width_ms=4000, token=0)["detail"]
        fields["rinse"] = {"output": 1, "width_ms": 4000, "token": token}
    assert bench.ask(activity, **fields[activity]).name == "done"
    bench.transport.sleep(3.0)
    cause = bench.ask("status")["cause"].name
    # A flash is over by then.
    assert cause == ("restarted" if activity == "test_flash" else "lost_host")
    assert all(off >= 0 for _, off in bench.rig.pulses(1))
    if activity == "rinse":
        ((on, off),) = bench.rig.pulses(1)
        assert off - on < 1300 * MS


def test_a_board_left_in_a_watch_can_be_found() -> None:
    """Its host may never come back, and another one looks for beacons."""
    bench = Bench()
    bench.ask("watch", on=1)
    bench.transport.sleep(5.0)
    data = bench.transport.read(0)
    names = [bench.codec.decode_frame(found).name for found in bench.framer.feed(data)]
    assert 3 <= names.count("beacon") <= 5
    other_host(bench)
    assert bench.ask("watch", on=0).name == "done"


def test_a_shot_is_not_disturbed_by_beacons() -> None:
    bench = Bench()
    _, digest = bench.upload(LONG)
    bench.release(digest)
    bench.transport.read(0)
    bench.transport.sleep(5.0)
    data = bench.transport.read(0)
    names = [bench.codec.decode_frame(found).name for found in bench.framer.feed(data)]
    assert "beacon" not in names


# -- the library ---------------------------------------------------------------------------------------------------
class KeptTransport(SimulatedTransport):
    """The board behind it goes on when the port is closed."""

    def close(self) -> None:
        pass


def make_host() -> tuple[Board, SimulatedTransport]:
    transport = KeptTransport(ScriptedRig(), seed=1)
    return Board.over(transport, reconnect=lambda: transport), transport


SHUTTER = Sequence(rows=(Row("release", 0, "shutter", 0.001, 2.0),), window_s=0.0, tail_s=0.0)


def test_the_library_asks_to_be_missed_in_every_session_that_shoots() -> None:
    host, transport = make_host()
    controller = transport._board.controller
    host.shoot(SHUTTER)
    assert controller.host_timeout_ms == HOST_TIMEOUT_S * 1000
    host.set_host_timeout(3.0)
    host.link.reopen()
    assert controller.host_timeout_ms == 0
    host.shoot(SHUTTER)
    assert controller.host_timeout_ms == 3000
    host.link.reopen()
    host.drip(1, 0.01)
    assert controller.host_timeout_ms == 3000


def test_the_library_asks_again_when_the_session_went_just_before_the_release() -> None:
    host, transport = make_host()
    controller = transport._board.controller
    ticket = host.arm(SHUTTER)
    transport._board.link.session = 4711  # the board has had another host since
    controller.host_timeout_ms = 0
    host.release(ticket)
    assert controller.activity == wire.ACTIVITY_SHOT
    host.wait_for(ticket)
    assert controller.host_timeout_ms == HOST_TIMEOUT_S * 1000
