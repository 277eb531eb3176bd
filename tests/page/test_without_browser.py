"""What is behind the page, without a browser: hub, pacing, form, arguments, listening, the command."""

from __future__ import annotations

import asyncio
import json
import sys
import threading
import time
import tomllib
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from command_line import run_cli
from page_helpers import run_async
from virtual_clock import VirtualClock

from beamfall.errors import LinkLost, UserError
from beamfall.link.traits import REAL
from beamfall.page import rig_form, words
from beamfall.page.commands import COMMANDS, read_arguments
from beamfall.page.desk import Desk
from beamfall.page.door import Codes, Door
from beamfall.page.hub import Hub, clean, mark_shot
from beamfall.page.paced import AbortAsked, PacedTransport
from beamfall.page.serve import parse_listen
from beamfall.planning.seek.answer import Answer
from beamfall.setup.rig import example_rig, parse_rig
from beamfall.workflows.seek import Aim, Answered


# -- the hub ---------------------------------------------------------------------------------------------------
def test_a_page_that_comes_late_gets_the_whole_and_then_each_change_once() -> None:
    async def run() -> list[dict[str, Any]]:
        hub = Hub()
        hub.set(one=1)
        subscriber = hub.subscribe()
        whole = json.loads(hub.snapshot())
        thread = threading.Thread(
            target=lambda: (
                hub.set(one=1),
                hub.set(one=2, two=[float("nan")]),
                hub.tell("edge", ms=3),
            )
        )
        thread.start()
        thread.join()
        texts = [await asyncio.wait_for(subscriber.queue.get(), 20.0) for _ in range(2)]
        assert subscriber.queue.empty(), "what does not change is not told"
        return [whole, *(json.loads(text or "") for text in texts)]

    whole, change, event = run_async(run())
    assert whole["all"]["one"] == 1
    assert change == {"version": whole["version"] + 1, "set": {"one": 2, "two": [None]}}
    assert (
        event["event"] == "edge" and event["ms"] == 3 and abs(event["at"] / 1e3 - time.time()) < 60
    )


def test_a_page_that_does_not_read_gets_the_whole_state_in_the_place_of_a_heap() -> None:
    async def run() -> tuple[int, Any]:
        hub = Hub()
        subscriber = hub.subscribe()
        for number in range(1200):
            hub.set(count=number)
        await asyncio.sleep(0.05)
        size = subscriber.queue.qsize()
        found = None
        while not subscriber.queue.empty():
            text = subscriber.queue.get_nowait()
            found = text if text is None else found
            if text is None:
                return size, None
        return size, "no whole state"

    size, found = run_async(run())
    assert size <= 500 and found is None


@pytest.fixture
def switching() -> Iterator[None]:
    """Threads take turns as often as can be."""
    before = sys.getswitchinterval()
    sys.setswitchinterval(1e-6)
    yield
    sys.setswitchinterval(before)


@pytest.mark.usefixtures("switching")
def test_what_two_threads_change_at_once_is_kept_of_both() -> None:
    """A rating is announced while the picture arrives, and an error while a notice is removed."""
    hub = Hub()
    hub.set(shot={"shot": 1})
    lost: list[str] = []

    def rate() -> None:
        for number in range(1000):
            mark_shot(hub, 1, rating=number)
            if hub.get("shot")["rating"] != number:
                lost.append(f"rating {number}")
            hub.notice("error", f"error {number}")
            if not any(one["text"] == f"error {number}" for one in hub.get("notices")):
                lost.append(f"error {number}")

    def mark() -> None:
        for number in range(1000):
            mark_shot(hub, 1, picture=number)
            hub.notice("note", f"note {number}")
            for one in hub.get("notices"):
                if one["level"] == "note":
                    hub.dismiss(one["id"])

    threads = [threading.Thread(target=target) for target in (rate, mark)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert lost == []
    assert hub.get("shot") == {"shot": 1, "rating": 999, "picture": 999}


def test_nobody_gets_in_between_a_value_and_what_is_made_of_it() -> None:
    hub = Hub()
    hub.set(shot={"shot": 1})
    other = threading.Thread(target=mark_shot, args=(hub, 1), kwargs={"rating": 5})

    def add_picture(shown: dict[str, Any]) -> dict[str, Any]:
        other.start()
        other.join(0.2)  # it has to wait until this is done
        return {**shown, "picture": True}

    hub.change("shot", add_picture)
    other.join()
    assert hub.get("shot") == {"shot": 1, "rating": 5, "picture": True}


def test_json_never_holds_what_json_cannot() -> None:
    assert clean({"a": (1.0, float("inf")), 2: {"b": float("nan")}}) == {
        "a": [1.0, None],
        "2": {"b": None},
    }


# -- pacing ----------------------------------------------------------------------------------------------------
class FakeTime(VirtualClock):
    """A transport with virtual time, as `sim` has."""

    name = "fake"
    traits = REAL

    def __init__(self, due_s: float = 1e9) -> None:
        self.due_s = due_s

    def read(self, timeout_s: float) -> bytes:
        until = min(self.now + timeout_s, max(self.now, self.due_s))
        self.now = until
        if self.now >= self.due_s:
            self.due_s = 1e9
            return b"x"
        return b""

    def write(self, data: bytes) -> None:
        if data == b"lost":
            raise LinkLost("gone")


def test_simulated_time_passes_as_real_time_does() -> None:
    inner = FakeTime(due_s=0.2)
    paced = PacedTransport(inner, lambda: None, pace=1.0)
    began = time.monotonic()
    assert paced.read(1.0) == b"x"
    assert time.monotonic() - began >= 0.19
    assert inner.now == pytest.approx(0.2)
    assert paced.read(0.1) == b"" and inner.now == pytest.approx(0.3)
    fast = PacedTransport(FakeTime(), lambda: None, pace=10_000.0)
    began = time.monotonic()
    fast.sleep(1000.0)
    assert 0.09 <= time.monotonic() - began < 500.0 and fast.clock() == pytest.approx(1000.0)


def test_an_abort_gets_into_a_wait_within_a_step() -> None:
    asked = threading.Event()

    def poll() -> None:
        if asked.is_set():
            raise AbortAsked

    inner = FakeTime()
    paced = PacedTransport(inner, poll, pace=1.0)
    threading.Timer(0.1, asked.set).start()
    with pytest.raises(KeyboardInterrupt):  # unwinds as Ctrl-C does
        paced.read(30.0)
    assert inner.now < 15.0, "by the paced time: a machine that stops for a while does not count"
    # Once it is asked for, no step more.
    before = inner.now
    with pytest.raises(AbortAsked):
        paced.sleep(30.0)
    assert inner.now == before


def test_a_real_boards_clock_is_left_alone() -> None:
    inner = FakeTime()
    paced = PacedTransport(inner, lambda: None, pace=None)
    began = time.monotonic()
    assert paced.read(600.0) == b"" and paced.traits is REAL
    assert time.monotonic() - began < 300.0, "nothing but the port itself is waited for"


# -- the form --------------------------------------------------------------------------------------------------
def test_the_form_holds_every_key_of_a_rig_file_and_reads_back_to_the_same_rig() -> None:
    content = rig_form.read_content(None)
    form = rig_form.describe_form(content, [])
    values = {field["path"]: field["value"] for section in form for field in section["fields"]}
    assert values["valve[1].height"] == "60 cm" and values["camera.pixel"] == "4 um"
    assert values["valve[1].discharge"] == ""  # left out: the default stands beside it
    written = rig_form.write_toml(content)
    assert parse_rig(tomllib.loads(written), "written") == example_rig()


@pytest.mark.parametrize(
    ("path", "text", "expected"),
    [
        ("valve[1].height", "60", "a length from 2 cm to 5 m"),
        ("valve[1].height", "60 ms", "a length from 2 cm to 5 m"),
        ("beam[1].height", "70 cm", "less than 60 cm"),
        ("aim.drops", "two", "a whole number from 1 to 8"),
        ("aim.drops", "1", "2 or more"),
        ("camera.magnification", "0", "a number from 0.01 to 10"),
        ("dish.depth", "", "a length from 500 µm to 1 m"),
        ("valve[1].outer_diameter", "1 mm", "at least 2.5 mm"),
    ],
)
def test_what_is_wrong_is_shown_beside_its_field(path: str, text: str, expected: str) -> None:
    content = rig_form.edit(rig_form.read_content(None), path, text)
    rig, problems = rig_form.check(content)
    assert rig is None
    assert [(one.key, one.expected) for one in problems] == [(path, expected)]
    form = rig_form.describe_form(content, problems)
    beside = {one["path"]: one["problems"] for section in form for one in section["fields"]}
    assert beside.pop(path) == [problems[0].text]
    assert not any(beside.values())


RIG_WITH_COMMENTS = """\
# My rig in the cellar.
[dish]   # the blue one
depth = '25 mm'                  # measured on Sunday

[[beam]]
height = "47 cm"  # clamp mark

[[valve]]
opening = "13 ms"
head = '10 cm'
latency = '''22 ms'''   # a guess
height = "24 in"
bore = "2 mm"
# outer_diameter is still to be measured

[aim] # last, on purpose
drops = 0x2
"""


def test_a_saved_rig_file_keeps_comments_order_and_quoting(tmp_path: Path) -> None:
    file = tmp_path / "rig.toml"
    file.write_text(RIG_WITH_COMMENTS, encoding="utf-8")
    content = rig_form.edit(rig_form.read_content(file), "valve[1].latency", "21 ms")
    old, new = RIG_WITH_COMMENTS.splitlines(), rig_form.write_toml(content).splitlines()
    assert [line for line in new if line not in old] == ['latency = "21 ms"   # a guess']
    assert len(new) == len(old)
    content = rig_form.edit(content, "aim.warm_up", "3")
    content = rig_form.add(content, "valve")
    content = rig_form.edit(content, "valve[2].place", "6 cm")
    saved = rig_form.write_toml(content)
    for line in old:
        assert line in saved or "latency" in line
    rig = parse_rig(tomllib.loads(saved), "saved")
    assert [valve.place_m for valve in rig.valves] == [0.0, 0.06]
    assert rig.aim.warm_up == 3
    without = rig_form.write_toml(rig_form.remove(content, "valve[2]"))
    assert len(parse_rig(tomllib.loads(without), "saved").valves) == 1


def test_a_part_written_as_a_single_table_can_be_edited_and_doubled(tmp_path: Path) -> None:
    file = tmp_path / "rig.toml"
    file.write_text(RIG_WITH_COMMENTS.replace("[[beam]]", "[beam]"), encoding="utf-8")
    content = rig_form.edit(rig_form.read_content(file), "beam[1].height", "40 cm")
    content = rig_form.edit(rig_form.add(content, "beam"), "beam[2].height", "30 cm")
    rig, problems = rig_form.check(content)
    assert problems == () and rig is not None
    assert [beam.height_m for beam in rig.beams] == [0.4, 0.3]
    assert parse_rig(tomllib.loads(rig_form.write_toml(content)), "saved") == rig


def test_what_is_wrong_with_a_whole_part_is_shown_too() -> None:
    hub = Hub()
    desk = Desk(hub, None)
    desk.remove("valve[1]")
    assert hub.get("rig")["wrong"] == 1
    assert len(hub.get("rig")["problems"]) == 1


def test_a_rig_gains_and_loses_parts_and_texts_that_try_to_be_toml_stay_texts() -> None:
    content = rig_form.add(rig_form.read_content(None), "beam")
    content = rig_form.edit(content, "beam[2].height", "20 cm")
    rig, problems = rig_form.check(content)
    assert problems == () and rig is not None
    assert [(beam.input, beam.height_m) for beam in rig.beams] == [("beam1", 0.47), ("beam2", 0.2)]
    rig, _ = rig_form.check(rig_form.remove(content, "beam[1]"))
    assert rig is not None and len(rig.beams) == 1
    hostile = 'x"\n[site]\naltitude = "9 m"\n\u0007'
    named = rig_form.edit(content, "name", hostile)
    assert tomllib.loads(rig_form.write_toml(named))["name"] == hostile
    for path in (
        "valve[9].height",
        "nowhere.key",
        "valve[1].nothing",
        "valve",
        "../x",
        "valve[1].height.more",
    ):
        with pytest.raises(UserError):
            rig_form.edit(content, path, "1 cm")


# -- arguments and addresses -----------------------------------------------------------------------------------
def test_commands_take_what_they_name_and_nothing_else() -> None:
    assert read_arguments(COMMANDS["rate"], {"shot": 3, "rating": 4}) == {"shot": 3, "rating": 4}
    assert read_arguments(COMMANDS["sweep"], {}) == {}
    for body in (
        {"shot": 3},
        {"shot": "3", "rating": 4},
        {"shot": 3, "rating": True},
        {"shot": 3, "rating": 4, "x": 1},
    ):
        with pytest.raises(UserError):
            read_arguments(COMMANDS["rate"], body)
    for name, command in COMMANDS.items():
        assert name == command.__name__
        read_arguments(command, {}) if not _needs(command) else None


def _needs(command: Any) -> bool:
    import inspect

    wanted = list(inspect.signature(command).parameters.values())[3:]
    return any(one.default is inspect.Parameter.empty for one in wanted)


def test_listen_addresses_are_read_or_refused() -> None:
    assert (parse_listen("127.0.0.1:0").host, parse_listen("[::1]:8080").port) == (
        "127.0.0.1",
        8080,
    )
    assert parse_listen("localhost:80").host == "127.0.0.1"
    for text in (
        "127.0.0.1",
        ":80",
        "evil.test:80",
        "127.0.0.1:70000",
        "127.0.0.1:x",
        "127.0.0.1:-1",
    ):
        with pytest.raises(UserError, match="--listen"):
            parse_listen(text)


def test_hosts_on_loopback_and_on_a_network() -> None:
    loopback = Door("t", "127.0.0.1", 8080)
    assert loopback.allows_host("127.0.0.1:8080") and loopback.allows_host("LOCALHOST:8080")
    assert not loopback.allows_host("192.168.1.5:8080") and not loopback.allows_host(
        "bench.local:8080"
    )
    network = Door("t", "0.0.0.0", 8080, frozenset({"bench", "bench.local"}))
    assert network.allows_host("192.168.1.5:8080") and network.allows_host("bench.local:8080")
    assert not network.allows_host("evil.test:8080"), "a name that somebody else turns"
    assert loopback.allows_host("[::1]:8080") and not loopback.allows_host("[::1]")
    for port in ("", "8", "x", "-1", "٨٠٨٠", "8080 ", "9" * 5000):
        assert not loopback.allows_host(f"127.0.0.1:{port}"), port


def test_a_code_works_once_and_in_time() -> None:
    now_s = [0.0]
    codes = Codes(lambda: now_s[0])
    code, late = codes.make(60.0), codes.make(60.0)
    assert codes.use(code, "192.0.2.7") and not codes.use(code, "192.0.2.9")
    assert "192.0.2.7" in (codes.find_first_use(code) or ""), "who was first is known"
    now_s[0] = 60.0
    assert not codes.use(late) and codes.find_first_use(late) is None
    many = [codes.make(60.0) for _ in range(21)]
    assert not codes.use(many[0]) and codes.use(many[1]), (
        "a page that makes links all day keeps twenty"
    )


# -- the command -----------------------------------------------------------------------------------------------
@pytest.mark.skipif(sys.platform == "win32", reason="Ctrl-C cannot be sent to a child on Windows")
def test_the_command_refuses_an_address_that_is_not_this_computers() -> None:
    wrong = run_cli("page", "--listen", "evil.test:80", "--no-browser")
    assert wrong.returncode == 2 and "--listen" in wrong.stderr


def test_a_search_that_does_not_fit_the_rig_file_says_so_in_its_newest_line() -> None:
    aim = Aim(3, 20, (0.0, 0.1), 0.18, True)
    fired: Any = SimpleNamespace(shot=7)
    lines = [
        words.describe_answered(Answered(aim, fired, Answer("before"), None, 0.1, misfit))
        for misfit in (False, True)
    ]
    assert [line["misfit"] for line in lines] == [False, True]
