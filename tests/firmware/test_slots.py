"""Sequences kept on the board, the button that releases them, and the ways in and out."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from scripted import BEAM1, MS, Bench
from test_interpreter import run

from beamfall.errors import LinkLost
from beamfall_board import wire_definition as wire
from beamfall_board.slots import Slots
from beamfall_board.table import Table

HERE = Path(__file__).parent
BUTTON1 = 12
SHOT = [(0, 0, 1, MS, 20 * MS), (1, 1, 4, 30 * MS, MS)]
WAITING = {"window_ticks": 1000 * MS, "await1": 1}


def press(bench: Bench, down_ms: int = 100) -> None:
    """A press whose contact bounces, as contacts do."""
    start = bench.now + MS
    for offset, level in (
        (0, 1),
        (1, 0),
        (3, 1),
        (4, 0),
        (5, 1),
        (down_ms, 0),
        (down_ms + 2, 1),
        (down_ms + 4, 0),
    ):
        bench.rig.at(start + offset * MS, BUTTON1, level)


def reset(bench: Bench) -> None:
    bench.transport.reset_board()
    bench.rig.outputs.clear()
    bench.reports.clear()
    bench.answers.clear()
    bench.number = 0
    bench.session += 1


def test_a_chosen_slot_is_ready_after_a_reset_and_one_press_is_one_shot_with_no_host() -> None:
    bench = Bench()
    bench.upload(SHOT, **WAITING)
    assert bench.ask("slot_save", slot=3).name == "done"
    assert bench.ask("slot_choose", slot=3).name == "done"
    reset(bench)
    bench.transport.sleep(0.1)
    press(bench)
    bench.rig.at(bench.now + 200 * MS, BEAM1, 1)
    bench.rig.at(bench.now + 202 * MS, BEAM1, 0)
    bench.transport.sleep(2.0)
    assert len(bench.rig.pulses(1)) == len(bench.rig.pulses(4)) == 1
    bench.transport.read(0)  # beacons
    bench.ask("hello", definition=bench.codec.definition.digest)
    bench.run(0.5)
    (done,) = bench.named("shot_done")
    assert (done["release"], done["state"].name) == (2**29 + 1, "fired")


def test_slots_are_listed_loaded_and_erased() -> None:
    bench = Bench()
    _, first = bench.upload(SHOT, **WAITING)
    bench.ask("slot_save", slot=1)
    _, second = bench.upload([SHOT[0]])
    bench.ask("slot_save", slot=8)
    listed = bench.ask("slots")
    assert [(s.slot, s.rows, s.digest) for s in listed["slots"]] == [(1, 2, first), (8, 1, second)]
    assert (listed["chosen"], listed["most"]) == (0, 8)
    assert bench.ask("slot_load", slot=1).name == "done"
    assert bench.ask("status")["digest"] == first
    bench.ask("slot_erase", slot=1)
    assert [s.slot for s in bench.ask("slots")["slots"]] == [8]
    assert bench.ask("slot_load", slot=1)["reason"].name == "storage"
    assert bench.ask("slot_choose", slot=1)["reason"].name == "storage", "an empty slot"
    assert bench.ask("slot_erase", slot=1).name == "done", "it may be repeated"
    assert bench.ask("slot_choose", slot=8).name == "done"
    assert bench.ask("slot_choose", slot=0).name == "done"
    for slot in (0, 9):
        assert bench.ask("slot_save", slot=slot)["reason"].name == "storage"


def test_no_file_is_written_while_a_shot_is_under_way() -> None:
    bench = Bench()
    _, digest = bench.upload(SHOT, **WAITING)
    bench.release(digest)
    for request in ("slot_save", "slot_load", "slot_erase", "slot_choose", "maintenance"):
        fields = {} if request == "maintenance" else {"slot": 1}
        assert bench.ask(request, **fields)["reason"].name == "busy", request


def test_a_slot_for_another_board_or_damaged_is_not_run_but_reported() -> None:
    bench = Bench()
    bench.upload(SHOT, **WAITING)
    bench.ask("slot_save", slot=1)
    bench.ask("slot_choose", slot=1)
    path = os.path.join(bench.transport._folder.name, "slot1.bin")
    with open(path, "r+b") as file:
        file.seek(50)
        byte = file.read(1)
        file.seek(50)
        file.write(bytes([byte[0] ^ 1]))
    reset(bench)
    bench.ask("hello", definition=bench.codec.definition.digest)
    bench.run(0.3)
    assert "slot 1 " in bench.named("trouble")[0]["text"]
    assert bench.ask("status")["table"].name == "empty"
    press(bench)
    bench.run(1.0)
    assert bench.rig.outputs == []


def test_whatever_write_to_the_flash_is_the_last_a_slot_is_old_or_new() -> None:
    """On the real file systems of the interpreter: FAT (whole blocks), littlefs (also with the last one half done)."""
    said = run(HERE / "interpreter" / "power_loss.py").splitlines()
    found = {
        tuple(words[:2]): int(words[2])
        for words in (line.split() for line in said if line.startswith("Vfs"))
    }
    assert set(found) == {("VfsFat", "whole"), ("VfsLfs2", "whole"), ("VfsLfs2", "torn")}
    assert min(found.values()) > 100  # moments at which the power went


class PowerLoss(Exception):
    pass


@pytest.mark.parametrize("stage", ["open", "write", "remove"])
def test_a_power_loss_while_a_slot_is_written_leaves_the_old_or_the_new(
    stage, tmp_path, monkeypatch
) -> None:
    old, new = Table(4), Table(4)
    old.make_single(1, 100, 10, 5)
    new.make_single(2, 200, 20, 5)
    slots = Slots(str(tmp_path))
    assert slots.save(1, old)
    # The next then goes where the first was, and a removal makes it count.
    assert slots.save(1, old)

    def fail(*_: object, **__: object) -> None:
        raise PowerLoss

    if stage == "remove":
        monkeypatch.setattr("beamfall_board.slots.os.remove", fail)
    elif stage == "open":
        monkeypatch.setattr("beamfall_board.slots.open", fail, raising=False)
    else:
        real = open

        def torn(path: str, mode: str):
            file = real(path, mode)
            file.write(b"B1half")
            file.close()
            raise PowerLoss

        monkeypatch.setattr("beamfall_board.slots.open", torn, raising=False)
    with pytest.raises(PowerLoss):
        slots.save(1, new)
    monkeypatch.undo()
    loaded = Table(4)
    assert Slots(str(tmp_path)).load(1, loaded)
    assert loaded.output[0] == 1


def test_a_file_system_that_does_not_take_a_slot_leaves_the_old_one(tmp_path, monkeypatch) -> None:
    old, new = Table(4), Table(4)
    old.make_single(1, 100, 10, 5)
    new.make_single(2, 200, 20, 5)
    slots = Slots(str(tmp_path))
    assert slots.save(1, old)
    real = open

    class Full:
        def __init__(self, path: str) -> None:
            self.file = real(path, "wb")

        def __enter__(self):  # type: ignore[no-untyped-def]
            return self

        def __exit__(self, *_: object) -> None:
            self.file.close()

        def write(self, data: bytes) -> None:
            self.file.write(data[:9])
            raise OSError(28, "no space left")

    monkeypatch.setattr(
        "beamfall_board.slots.open",
        lambda path, mode: Full(path) if mode == "wb" else real(path, mode),
        raising=False,
    )
    assert not slots.save(1, new)
    monkeypatch.undo()
    assert len(os.listdir(tmp_path)) == 1  # what was begun does not hold the space
    loaded = Table(4)
    assert slots.load(1, loaded) and loaded.output[0] == 1
    assert slots.save(1, new) and slots.load(1, loaded) and loaded.output[0] == 2


def test_the_watchdog_is_fed_between_the_steps_of_a_change(tmp_path, monkeypatch) -> None:
    """Each step may erase flash for a second: two of them without feeding the watchdog could take too long."""
    steps: list[str] = []
    real_open, real_remove = open, os.remove

    class Logged:
        def __init__(self, path: str) -> None:
            steps.append("open")
            self.file = real_open(path, "wb")

        def __enter__(self):  # type: ignore[no-untyped-def]
            return self

        def __exit__(self, *_: object) -> None:
            steps.append("close")
            self.file.close()

        def write(self, data: bytes) -> None:
            steps.append("write")
            self.file.write(data)

    def remove(path: str) -> None:
        steps.append("remove")
        real_remove(path)

    monkeypatch.setattr(
        "beamfall_board.slots.open",
        lambda path, mode: Logged(path) if mode == "wb" else real_open(path, mode),
        raising=False,
    )
    monkeypatch.setattr("beamfall_board.slots.os.remove", remove)
    slots = Slots(str(tmp_path))
    slots.between_steps = lambda: steps.append("fed")
    table = Table(4)
    table.make_single(1, 100, 10, 5)
    assert slots.save(1, table) and slots.save(1, table) and slots.choose(1) and slots.erase(1)
    assert steps.count("open") == 3 and steps.count("remove") == 5
    slow = [i for i, step in enumerate(steps) if step != "fed"]
    assert all(b - a >= 2 for a, b in zip(slow, slow[1:], strict=False)), steps
    assert steps[0] == steps[-1] == "fed"


def test_a_board_that_hears_no_host_says_who_it_is_without_being_asked() -> None:
    bench = Bench()
    bench.transport.sleep(0.9)
    assert bench.transport.read(0) == b""
    bench.transport.sleep(2.3)
    data = bench.transport.read(0)
    names = [bench.codec.decode_frame(frame) for frame in bench.framer.feed(data)]
    assert [message.name for message in names] == ["beacon", "beacon"]
    assert names[0]["name"] == "simulated"


def test_no_beacon_comes_between_a_release_and_its_end() -> None:
    bench = Bench()
    _, digest = bench.upload([(0, 0, 8, MS, 4000 * MS)])
    bench.release(digest)
    bench.transport.sleep(3.9)
    frames = [
        bench.codec.decode_frame(frame).name for frame in bench.framer.feed(bench.transport.read(0))
    ]
    assert "beacon" not in frames and "state_changed" in frames


def test_maintenance_is_answered_and_then_the_board_is_silent_until_it_is_restarted() -> None:
    bench = Bench()
    assert bench.ask("maintenance").name == "done"
    with pytest.raises(LinkLost):
        bench.transport.sleep(0.5)
    reset(bench)
    assert bench.ask("hello", definition=bench.codec.definition.digest).name == "welcome"


def test_the_light_tells_the_states_apart() -> None:
    from beamfall_board.rhythm import light_is_on

    states = [(0, 0, False), (0, 0, True), (1, 1, True), (2, 0, True), (3, 0, True), (4, 0, True)]
    shown = [tuple(bool(light_is_on(*state, ms)) for ms in range(0, 2000, 125)) for state in states]
    assert len(set(shown)) == len(states)


def test_a_press_does_not_use_up_a_number_of_the_hosts() -> None:
    """A host whose release was lost on the way must not take the button's shot for its own."""
    bench = Bench()
    _, digest = bench.upload([SHOT[0]])
    press(bench)
    bench.run(1.0)
    (done,) = bench.named("shot_done")
    assert done["release"] == 2**29 + 1
    assert bench.ask("status")["last_release"] == 0
    assert bench.release(digest, 1).name == "done"
    bench.run(1.0)
    assert bench.release(digest, 2**29)["reason"].name == "over_limit"


@pytest.mark.parametrize(("silent_s", "released"), [(5.0, 0), (29.0, 0), (31.0, 1), (3600.0, 1)])
def test_a_watch_left_behind_by_a_killed_program_gives_way_to_the_button(
    silent_s: float, released: int
) -> None:
    """A watch that somebody still listens to does not end: a press is reported, and releases nothing."""
    bench = Bench()
    bench.upload([(0, 0, 1, MS, 20 * MS)])
    assert bench.ask("watch", on=1).name == "done"
    bench.transport.sleep(silent_s)
    press(bench)
    bench.transport.sleep(2.0)
    assert len(bench.rig.pulses(1)) == released
    activity = wire.ACTIVITY_NONE if released else wire.ACTIVITY_WATCH
    assert bench.board.controller.activity == activity


def test_a_press_in_a_watch_that_is_listened_to_releases_nothing() -> None:
    bench = Bench()
    bench.upload([(0, 0, 1, MS, 20 * MS)])
    assert bench.ask("watch", on=1).name == "done"
    for _ in range(8):
        bench.run(10.0)
        assert bench.ask("status")["activity"].name == "watch"
    press(bench)
    bench.run(2.0)
    assert bench.rig.pulses(1) == []
    assert BUTTON1 in {signal for _, signal, _ in bench.edges()}, "it was seen"


@pytest.mark.parametrize("later_ms", [0, 2, 10, 29, 34])
def test_an_abort_forgets_a_press_that_is_under_way(later_ms: int) -> None:
    """After an abort with a finger still on the button, no valve may open."""
    bench = Bench()
    bench.upload([SHOT[0]])
    start = bench.now
    bench.rig.at(start + MS, BUTTON1, 1)
    bench.rig.at(start + 200 * MS, BUTTON1, 0)
    bench.transport.sleep(0.001 * (1 + later_ms))
    assert bench.ask("abort").name == "done"
    since = bench.now
    bench.run(1.0)
    assert not [on for on, _ in bench.rig.pulses(1) if on >= since]
    press(bench)
    bench.run(1.0)
    assert [on for on, _ in bench.rig.pulses(1) if on >= since]
