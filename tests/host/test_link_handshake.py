"""Opening a session with something that is not, or not quite, the board that this library is for.

The other end is scripted byte by byte, because no board of ours behaves like that.
"""

from __future__ import annotations

import struct
import zlib
from collections import deque
from collections.abc import Callable
from dataclasses import fields

import pytest
from virtual_clock import VirtualClock

from beamfall.errors import (
    AtPrompt,
    DefinitionMismatch,
    MessageError,
    NoAnswer,
    NotABoard,
    ProtocolMismatch,
)
from beamfall.link import Link, Welcome
from beamfall.wire import Frame, Framer, Message, cobs, encode_frame, get_codec

CODEC = get_codec()
DEFINITION = CODEC.definition
WELCOME = {
    "protocol": 1, "definition": DEFINITION.digest, "firmware_major": 0, "firmware_minor": 1,
    "firmware_patch": 0, "boot_id": 77, "unique_id": bytes(8), "clock_hz": 1_000_000, "timing": 3,
    "state": 0, "cause": 12, "last_release": 0, "oldest_report": 1, "stamp_ticks": 1, "outputs": 0b10010,
    "inputs": 1 << 9, "rows_max": 64, "valve_max_us": 1, "valve_gap_us": 1, "duty_percent": 1,
    "duty_window_ms": 1, "rinse_max_ms": 1, "flash_max_us": 1, "flash_gap_us": 1,
    "camera_max_ms": 1, "window_max_ms": 1, "earliest_ticks": 1, "earliest_beam_ticks": 1,
    "name": "scripted",
}  # fmt: skip


class Scripted(VirtualClock):
    """A transport whose other end says what `answer` returns for each frame; time is counted."""

    name = "scripted"

    def __init__(self, answer: Callable[[Frame], bytes] = lambda frame: b"") -> None:
        self._framer = Framer(DEFINITION)
        self._answer = answer
        self._waiting: deque[bytes] = deque()
        self.written = b""

    def read(self, timeout_s: float) -> bytes:
        if self._waiting:
            return self._waiting.popleft()
        self.now += timeout_s
        return b""

    def write(self, data: bytes) -> None:
        self.written += data
        for frame in self._framer.feed(data):
            assert isinstance(frame, Frame)
            said = self._answer(frame)
            if said:
                self._waiting.append(said)


def say(name: str, to: Frame, **values: object) -> bytes:
    """An answer to a frame; for a welcome only what differs from the usual one."""
    content = {**WELCOME, **values} if name == "welcome" else values
    frame = CODEC.make_frame(Message(name, content), to.session, to.number)
    return encode_frame(frame, DEFINITION)


def say_raw(protocol: int, message: int, session: int, number: int, payload: bytes) -> bytes:
    body = struct.pack("<BBHI", protocol, message, session, number) + payload
    return cobs.encode(body + struct.pack("<I", zlib.crc32(body))) + b"\0"


def test_the_welcome_class_has_the_fields_of_the_definition() -> None:
    of_class = [field.name for field in fields(Welcome)]
    assert of_class == [field.name for field in DEFINITION.messages["welcome"].fields]


def test_a_session_opens() -> None:
    transport = Scripted(lambda frame: say("welcome", frame))
    welcome = Link(transport).open()
    assert (welcome.name, welcome.firmware, welcome.boot_id) == ("scripted", "0.1.0", 77)
    assert welcome.has(4) and not welcome.has(5)
    assert welcome.has(9) and not welcome.has(10)
    assert welcome.to_seconds(1500) == 0.0015
    assert transport.written.startswith(b"\0")  # ends whatever stood on the line


@pytest.mark.parametrize(
    ("answer", "kind", "heard", "cure"),
    [
        (lambda frame: b"", NotABoard, b"", "board install"),
        (lambda frame: b"\r\nMicroPython v1.24 on 2024-11-29; Raspberry Pi Pico\r\n>>> ",
         AtPrompt, b"MicroPython v1.24", "board install"),
        (lambda frame: b"raw REPL; CTRL-B to exit\r\n>", AtPrompt, b"raw REPL", "board install"),
        (lambda frame: b"$GPGGA,092750.000,5321.6802,N\r\n", NotABoard, b"$GPGGA", r"\$GPGGA"),
        (lambda frame: bytes(range(256)), NotABoard, bytes(range(40)), ""),
    ],
)  # fmt: skip
def test_what_is_not_a_board_is_said_so(
    answer: Callable[[Frame], bytes], kind: type[NotABoard], heard: bytes, cure: str
) -> None:
    link = Link(Scripted(answer))
    with pytest.raises(NotABoard, match=f"scripted.*{cure}") as caught:
        link.open()
    assert not link.is_open
    assert type(caught.value) is kind and not caught.value.echoed
    assert heard in caught.value.heard and bool(heard) == bool(caught.value.heard)


def test_a_line_that_echoes_is_no_board_even_if_a_prompt_answers_too() -> None:
    link = Link(Scripted(lambda frame: encode_frame(frame, DEFINITION) + b"\r\n>>> "))
    with pytest.raises(NotABoard, match="scripted") as caught:
        link.open()
    assert caught.value.echoed and type(caught.value) is NotABoard


@pytest.mark.parametrize(("version", "cure"), [(2, "newest copy"), (0, "beamfall board install")])
def test_another_protocol_version_is_refused_with_the_cure(version: int, cure: str) -> None:
    # the refusal in the board's own version, as SPEC.md asks for
    transport = Scripted(
        lambda frame: say_raw(
            version, 0x44, frame.session, frame.number, b"\x01\x05\xff\xff" + bytes(4)
        )
    )
    with pytest.raises(ProtocolMismatch, match=cure) as caught:
        Link(transport).open()
    assert (caught.value.board, caught.value.library) == (version, DEFINITION.protocol)


def test_another_definition_is_refused_though_the_rest_of_the_welcome_differs() -> None:
    head = b"\x01" + b"\x99" * 8 + bytes([3, 4, 5]) + b"a layout that nobody here knows"
    transport = Scripted(lambda frame: say_raw(1, 0x41, frame.session, frame.number, head))
    with pytest.raises(DefinitionMismatch, match="3.4.5 .*9999999999999999"):
        Link(transport).open()


def test_a_welcome_of_another_protocol_in_a_frame_of_ours_is_refused() -> None:
    transport = Scripted(lambda frame: say("welcome", frame, protocol=2))
    with pytest.raises(ProtocolMismatch) as caught:
        Link(transport).open()
    assert caught.value.board == 2


def test_answers_that_are_not_the_answer_are_dropped() -> None:
    def answer(frame: Frame) -> bytes:
        if frame.message == 1:
            return say("welcome", frame)
        other_session = Frame(1, 2, frame.session ^ 1, frame.number, b"")
        earlier = Frame(1, 2, frame.session, frame.number - 1, b"")
        return (
            say("done", other_session, request=7)
            + say("done", earlier, request=7)
            + say("done", frame, request=8)  # another request's
            + say("welcome", frame)  # of the wrong kind
            + say_raw(1, 0x43, frame.session, frame.number, b"")  # with a bad payload
            + say("done", frame, request=7)
        )

    link = Link(Scripted(answer))
    link.open()
    assert link.request(Message("abort", {})) == Message("done", {"request": 7})
    assert link.counters.answers_dropped == 4
    assert link.counters.frames_bad["bad_payload"] == 1


def test_each_session_has_a_number_of_its_own() -> None:
    drawn = iter([0, 5, 5, 0x10000, 6])
    sessions = []

    def answer(frame: Frame) -> bytes:
        sessions.append(frame.session)
        return say("welcome", frame)

    link = Link(Scripted(answer), draw_session=lambda: next(drawn))
    link.open()
    link.open()
    assert sessions == [5, 6]


def test_a_board_once_known_that_falls_silent_is_no_stranger() -> None:
    said = deque([True])
    link = Link(Scripted(lambda frame: say("welcome", frame) if said and said.pop() else b""))
    link.open()
    with pytest.raises(NoAnswer, match="hello"):
        link.reopen()


def test_a_report_that_cannot_be_read_is_told_and_not_asked_for_for_ever() -> None:
    def answer(frame: Frame) -> bytes:
        if frame.message != 1:
            return b""
        bad = say_raw(1, 0x84, frame.session, 1, b"\x02\xff\xff")
        good = say_raw(1, 0x84, frame.session, 2, b"\x02ok")
        foreign = say_raw(1, 0x84, frame.session ^ 1, 3, b"\x02no")
        return say("welcome", frame) + bad + good + foreign

    transport = Scripted(answer)
    link = Link(transport)
    link.open()
    first, second = link.pump(0.1)
    assert first.name == "trouble" and "trouble.text" in first["text"]
    assert (first.number, second.number, second["text"]) == (1, 2, "ok")
    assert link.counters.reports_foreign == 1
    notice = Framer(DEFINITION).feed(transport.written)[-1]
    assert CODEC.decode_frame(notice) == Message("acknowledge", {"through": 2})


def test_only_requests_can_be_requested() -> None:
    link = Link(Scripted(lambda frame: say("welcome", frame)))
    link.open()
    with pytest.raises(MessageError, match="edges"):
        link.request(Message("edges", {}))
