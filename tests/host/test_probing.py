"""Looking for the board among the ports of this computer: listen, and send nothing to what is not one."""

from __future__ import annotations

import os
import select
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from beamfall.errors import NotABoard, PortNotFound
from beamfall.link import probing
from beamfall.link.port_list import PortSeen
from beamfall.link.probing import find_board
from beamfall.places import TRACE_VARIABLE
from beamfall.wire import Message, encode_frame, get_codec

pytestmark = pytest.mark.skipif(
    os.name != "posix", reason="needs pseudo-terminals, which Windows lacks"
)
CODEC = get_codec()
BEACON = encode_frame(
    CODEC.make_frame(
        Message(
            "beacon", {"definition": bytes(8), "boot_id": 1, "unique_id": bytes(8), "name": "test"}
        ),
        0,
        0,
    ),
    CODEC.definition,
)


class Device:
    """Something at a port: it repeats the same bytes and keeps what it is sent."""

    def __init__(self, says: bytes) -> None:
        self._far, self._near = os.openpty()
        self.name = os.ttyname(self._near)
        self.heard = b""
        self._says = says
        self._stop = False
        self._thread = threading.Thread(target=self._run)
        self._thread.start()

    def _run(self) -> None:
        while not self._stop:
            if self._says:
                os.write(self._far, self._says)
            ready, _, _ = select.select([self._far], [], [], 0.05)
            if ready:
                self.heard += os.read(self._far, 1000)

    def close(self) -> None:
        self._stop = True
        self._thread.join()
        os.close(self._far)
        os.close(self._near)

    def seen(self) -> PortSeen:
        return PortSeen(self.name, 0x2E8A, 0x0005, None)


@pytest.fixture
def devices() -> Iterator[list[Device]]:
    made: list[Device] = []
    yield made
    for device in made:
        device.close()


@pytest.fixture(autouse=True)
def impatient(monkeypatch: pytest.MonkeyPatch) -> None:
    listen_for(monkeypatch, 0.4)


def listen_for(monkeypatch: pytest.MonkeyPatch, seconds: float) -> None:
    monkeypatch.setattr(probing, "LISTEN_S", seconds)


def test_the_board_is_found_by_its_own_words_and_nothing_is_sent_to_the_others(
    devices: list[Device], monkeypatch: pytest.MonkeyPatch
) -> None:
    listen_for(monkeypatch, 2.0)  # the board may be slow to speak
    devices += [Device(b""), Device(BEACON), Device(b"some other program\r\n>>> ")]
    assert find_board([device.seen() for device in devices]) == devices[1].name
    time.sleep(0.1)
    # A pseudo-terminal echoes what it is sent until it is opened raw; what counts is what the near end wrote.
    assert devices[0].heard == b""
    assert b"\x01" not in devices[2].heard and b"\x03" not in devices[2].heard


def test_a_board_with_another_program_is_left_alone_and_the_cure_is_named(
    devices: list[Device],
) -> None:
    devices.append(Device(b""))
    with pytest.raises(NotABoard, match="beamfall board install.*--port sim"):
        find_board([devices[0].seen()])
    assert devices[0].heard == b""


def test_what_a_search_hears_is_in_the_trace(
    devices: list[Device], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    devices.append(Device(b"some other program\r\n\0"))
    monkeypatch.setenv(TRACE_VARIABLE, str(tmp_path / "t.pcapng"))
    with pytest.raises(NotABoard):
        find_board([devices[0].seen()])
    assert b"some other program" in (tmp_path / "t.pcapng").read_bytes()


def test_two_boards_must_be_told_apart(
    devices: list[Device], monkeypatch: pytest.MonkeyPatch
) -> None:
    listen_for(monkeypatch, 20.0)
    devices += [Device(BEACON), Device(BEACON)]
    with pytest.raises(PortNotFound, match="--port"):
        find_board([device.seen() for device in devices])


def test_none_lists_what_was_seen_and_mentions_the_simulation() -> None:
    with pytest.raises(PortNotFound, match="0403:6001.*--port sim"):
        find_board([PortSeen("/dev/ttyUSB0", 0x0403, 0x6001, None)])
    with pytest.raises(PortNotFound, match="none"):
        find_board([])
