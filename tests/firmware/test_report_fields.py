"""What the fields of reports and of the status mean when something is cut short, fails or cannot be used."""

from __future__ import annotations

from typing import Any

import pytest
from scripted import MS, Bench

from beamfall.wire import Frame, encode_frame

SHUTTER, VALVE1, FLASH1 = 8, 1, 4


def last_off(bench: Bench, zero: int) -> int:
    return max(ticks for ticks, _, level in bench.rig.outputs if not level) - zero


def zero_of(bench: Bench, signal: int, delay: int) -> int:
    return bench.rig.pulses(signal)[-1][0] - delay


def begin_shot(bench: Bench, **settings: int) -> int:
    """A shutter that would stay open for 7 s; return the ticks of the release."""
    _, digest = bench.upload([(0, 0, SHUTTER, MS, 7000 * MS)], **settings)
    assert bench.release(digest).name == "done"
    bench.run(0.44)
    return zero_of(bench, SHUTTER, MS)


def begin_rinse(bench: Bench) -> int:
    token = bench.ask("rinse", output=VALVE1, width_ms=5000, token=0)["detail"]
    assert bench.ask("rinse", output=VALVE1, width_ms=5000, token=token).name == "done"
    bench.run(0.03)
    return zero_of(bench, VALVE1, bench.welcome["earliest_ticks"])


@pytest.mark.parametrize("begin", [begin_shot, begin_rinse])
@pytest.mark.parametrize("how", ["abort", "lost_host"])
def test_what_is_cut_short_ended_when_its_outputs_went_off(begin: Any, how: str) -> None:
    bench = Bench()
    if how == "lost_host":
        bench.ask("set_host_timeout", timeout_ms=1000)
    zero = begin(bench)
    if how == "abort":
        bench.ask("abort")
    else:
        bench.transport.sleep(3.0)
    bench.run(0.2)
    (done,) = bench.named("shot_done")
    off = last_off(bench, zero)
    assert done["ended_ticks"] == off < 3000 * MS
    # An aborted service action leaves the state as it was.
    if begin is begin_shot or how == "lost_host":
        assert bench.named("state_changed")[-1]["ticks"] == off


def test_a_shot_that_runs_to_its_end_ends_with_its_tail() -> None:
    bench = Bench()
    _, digest = bench.upload([(0, 0, VALVE1, MS, 20 * MS)], tail_ticks=30 * MS)
    bench.release(digest)
    bench.run(0.2)
    (done,) = bench.named("shot_done")
    assert done["ended_ticks"] == (1 + 20 + 30) * MS


def test_a_missed_shot_ended_when_its_window_closed() -> None:
    bench = Bench()
    rows = [(0, 0, SHUTTER, MS, 700 * MS), (1, 1, FLASH1, MS, MS)]
    _, digest = bench.upload(rows, window_ticks=100 * MS, await1=1)
    bench.release(digest)
    bench.run(1.0)
    (done,) = bench.named("shot_done")
    zero = zero_of(bench, SHUTTER, MS)
    assert done["ended_ticks"] == last_off(bench, zero) == 100 * MS


def test_no_shot_is_named_when_a_service_action_fails() -> None:
    """Service actions have their own numbers: a shot with the same number is another thing."""
    bench = Bench()
    bench.ask("set_host_timeout", timeout_ms=1000)
    begin_rinse(bench)
    bench.transport.sleep(3.0)
    bench.run(0.2)
    fault = next(one for one in bench.named("state_changed") if one["state"].name == "fault")
    (done,) = bench.named("shot_done")
    assert (fault["cause"].name, fault["release"]) == ("lost_host", 0)
    assert (done["activity"].name, done["release"]) == ("rinse", 1)


def test_every_frame_is_counted_once_as_good_or_bad() -> None:
    bench = Bench()
    definition = bench.codec.definition
    before = bench.ask("status")
    unusable = (
        # Another version.
        Frame(definition.protocol + 1, definition.messages["status"].id, 7, 50, b""),
        # No request, no notice.
        Frame(definition.protocol, definition.messages["done"].id, 7, 51, b"\x02"),
        Frame(definition.protocol, 0, 7, 52, b""),
    )
    refused = (
        Frame(definition.protocol, 0x2F, 7, 60, b""),  # an unknown request
        Frame(definition.protocol, definition.messages["drip"].id, 7, 61, b"\x01"),  # a bad payload
        # Another session.
        Frame(definition.protocol, definition.messages["status"].id, 99, 62, b""),
    )
    for frame in (*unusable, *refused):
        bench.send(encode_frame(frame, definition))
    bench.send(b"\x05\x11\x22\0" + b"\0\0")  # damaged; empty frames are no frames
    bench.listen()
    bench.number = 70
    after = bench.ask("status")
    assert after["frames_bad"] - before["frames_bad"] == len(unusable) + 1
    assert after["frames_good"] - before["frames_good"] == len(refused) + 1, "and the second status"
