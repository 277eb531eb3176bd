"""The transcripts: the firmware sends what its side sends, and the host ends up with what it may report."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from virtual_clock import VirtualClock

from beamfall.errors import LinkLost, NotOpen, ReleaseUnknown
from beamfall.link import Link
from beamfall.link.traits import REAL, PortTraits
from beamfall.resources import find_protocol
from beamfall.sim.embedded import JumperRig, SimulatedTransport
from beamfall.wire import Frame, Framer, Message, decode_frame, get_codec, get_definition

TOLD = json.loads((find_protocol() / "transcripts.json").read_text())["transcripts"]
BY_NAME = pytest.mark.parametrize("story", TOLD, ids=lambda story: story["name"])
CODEC = get_codec()
# What depends on the board and the moment, and is typical in the transcripts.
OF_THE_BOARD = {
    "welcome": {
        "protocol",
        "definition",
        "boot_id",
        "last_release",
        "oldest_report",
        "state",
        "cause",
    }
}
OF_THE_BOARD["status_is"] = {
    "boot_id",
    "state",
    "cause",
    "activity",
    "table",
    "digest",
    "last_release",
}


def message_of(step: dict[str, Any]) -> Message:
    frame = decode_frame(bytes.fromhex(step["frame"])[:-1], get_definition())
    assert isinstance(frame, Frame)
    return CODEC.decode_frame(frame)


def telling(name: str, message: Message) -> dict[str, Any]:
    fixed = OF_THE_BOARD.get(name, message.fields.keys())
    return {field: value for field, value in message.fields.items() if field in fixed}


@BY_NAME
def test_the_firmware_says_what_the_board_says(story: dict[str, Any]) -> None:
    boots = iter(
        dict.fromkeys(
            step["fields"]["boot_id"] for step in story["steps"] if step.get("message") == "welcome"
        )
    )
    transport = SimulatedTransport(JumperRig(4, 9), seed=1)  # its wire carries nothing here
    framer = Framer(get_definition())
    heard: list[Frame] = []

    def start() -> None:
        transport._board.requests.boot_id = next(boots)
        framer.reset()

    def listen(seconds: float = 0.0) -> None:
        for found in framer.feed(transport.read(seconds)):
            assert isinstance(found, Frame)
            if CODEC.definition.by_id[found.message].kind != "beacon":
                heard.append(found)

    start()
    gone = False
    for step in story["steps"]:
        match step:
            case {"from": "host", "fate": fate, "frame": frame}:
                if gone:  # what the board has sent meanwhile went nowhere
                    listen()
                    heard.clear()
                    gone = False
                if fate == "arrives":
                    transport.write(bytes.fromhex(frame))
                    listen()
            case {"from": "board"}:
                frame = heard.pop(0)
                assert (frame.session, frame.number) == (step["session"], step["number"])
                found, expected = CODEC.decode_frame(frame), message_of(step)
                assert (found.name, telling(found.name, found)) == (
                    expected.name,
                    telling(expected.name, expected),
                )
            case {"wait_ms": ms}:
                end = transport.clock() + ms / 1000
                while transport.clock() < end - 1e-9:
                    listen(end - transport.clock())
            case {"port": "vanishes"}:
                gone = True
            case {"board": "restarts"}:
                transport.restart_board()
                start()
    assert heard == []


class Replayed(VirtualClock):
    """A transport whose other end is a transcript: each frame from the host must be the next one."""

    name = "transcript"
    traits: PortTraits = REAL

    def __init__(self, steps: list[dict[str, Any]]) -> None:
        self.steps = [
            step for step in steps if step.get("message") != "acknowledge" and "wait_ms" not in step
        ]
        self.closed = False

    def reopen(self) -> Replayed:
        while self.steps and self.steps[0].keys() & {"port", "board"}:
            self.steps.pop(0)
        return self

    def write(self, data: bytes) -> None:
        for block in data.split(b"\0"):
            frame = decode_frame(block, get_definition()) if block else None
            if (
                not isinstance(frame, Frame)
                or CODEC.definition.by_id[frame.message].name == "acknowledge"
            ):
                continue
            step = self.steps.pop(0)
            assert step.get("from") == "host", step
            assert block + b"\0" == bytes.fromhex(step["frame"]), step

    def read(self, timeout_s: float) -> bytes:
        said = b""
        while self.steps and self.steps[0].get("from") == "board":
            step = self.steps.pop(0)
            said += bytes.fromhex(step["frame"]) if step["fate"] == "arrives" else b""
        if not said:
            self.now += timeout_s
            if self.steps and self.steps[0].keys() & {"port", "board"}:
                raise LinkLost("the port has vanished")
        return said


def uploads(steps: list[dict[str, Any]]) -> Iterator[Message]:
    for step in steps:
        if step.get("from") == "host" and step["message"].startswith("table_"):
            yield message_of(step)


def conclude(link: Link, story: dict[str, Any]) -> dict[str, str]:
    """Do with the library what the host in the story does, and return what the library reports."""
    steps = story["steps"]
    link.open()
    for request in uploads(steps):
        link.request(request)
    release = next(message_of(step) for step in steps if step.get("message") == "release")
    try:
        link.request(release)
    except ReleaseUnknown:
        return {"release": "unknown", "end": "unknown"}
    boot = link.welcome.boot_id if link.welcome else None
    if any(step.get("message") == "abort" for step in steps):
        link.pump(0.0)
        link.request(Message("abort", {}))
    for _ in range(5):
        try:
            for report in link.pump(1.0):
                if report.message.name == "shot_done":
                    cause = report.message["cause"].name
                    return {"release": "begun", "end": "fired" if cause == "none" else cause}
        except (LinkLost, NotOpen):
            if link.reopen().boot_id != boot:
                break
    return {"release": "begun", "end": "unknown"}


@BY_NAME
def test_the_host_ends_in_what_it_may_say(story: dict[str, Any]) -> None:
    transport = Replayed(story["steps"])
    sessions = iter(dict.fromkeys(step["session"] for step in story["steps"] if "session" in step))
    link = Link(transport, reconnect=transport.reopen, draw_session=lambda: next(sessions))
    assert conclude(link, story) == story["host_may_say"]
    assert transport.steps == [], "and everything was said"


def test_every_end_of_a_release_is_told() -> None:
    ends = {(one["host_may_say"]["release"], one["host_may_say"]["end"]) for one in TOLD}
    assert ends == {
        ("begun", "fired"),
        ("begun", "aborted"),
        ("begun", "unknown"),
        ("unknown", "unknown"),
    }
    assert Path(find_protocol() / "SPEC.md").read_text().count("transcripts.json") >= 1
