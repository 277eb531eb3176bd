"""Serial ports, by way of pseudo-terminals and pyserial's own URLs: no board is needed."""

from __future__ import annotations

import os
import re
import select
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from beamfall.errors import (
    BeamfallError,
    LinkLost,
    NotABoard,
    PortBusy,
    PortDenied,
    PortNotFound,
    PortSyntaxError,
)
from beamfall.link import Link, LinkTiming, line_levels, serial_port
from beamfall.link.line_levels import LineLevels, remember_levels
from beamfall.link.serial_port import PortSeen, SerialTransport
from beamfall.ports import open_transport

posix = pytest.mark.skipif(os.name != "posix", reason="needs pseudo-terminals, which Windows lacks")
PICO = PortSeen("/dev/ttyACM0", 0x2E8A, 0x0005, "E66138935F5A8E2B")
SECOND = PortSeen("/dev/ttyACM1", 0x2E8A, 0x0005, "E66138935F123456")


@pytest.fixture
def terminal() -> Iterator[tuple[int, str]]:
    """The far end's file descriptor and the near end's name."""
    far, near = os.openpty()
    name = os.ttyname(near)
    yield far, name
    os.close(near)
    os.close(far)


@posix
def test_opening_writes_nothing(terminal: tuple[int, str]) -> None:
    far, name = terminal
    SerialTransport(name).close()
    assert select.select([far], [], [], 0.05)[0] == []


@posix
@pytest.mark.parametrize("size", [1, 63, 64, 65, 128, 254, 1024])
def test_all_bytes_pass_both_ways_at_multiples_of_a_usb_packet(
    terminal: tuple[int, str], size: int
) -> None:
    far, name = terminal
    data = bytes((7 * i) % 256 for i in range(size))  # with 0x03, 0x11, 0x13, CR and LF
    transport = SerialTransport(name)
    transport.write(data)
    got = b""
    while len(got) < size:
        got += os.read(far, 4096)
    assert got == data
    os.write(far, data)
    got = b""
    while len(got) < size:
        got += transport.read(1.0)
    assert got == data
    assert transport.read(0.0) == b""
    transport.close()
    transport.close()


@posix
def test_reading_returns_as_soon_as_something_is_there(terminal: tuple[int, str]) -> None:
    far, name = terminal
    transport = SerialTransport(name)
    threading.Timer(0.05, os.write, (far, b"x")).start()
    began = transport.clock()
    assert transport.read(5.0) == b"x"
    assert transport.clock() - began < 2.0


@posix
def test_a_port_in_use_is_busy(terminal: tuple[int, str]) -> None:
    _, name = terminal
    holder = SerialTransport(name)
    with pytest.raises(PortBusy):
        SerialTransport(name)
    holder.close()
    SerialTransport(name).close()


@posix
def test_a_pulled_cable_is_a_lost_link() -> None:
    far, near = os.openpty()
    transport = SerialTransport(os.ttyname(near))
    os.close(near)
    os.close(far)
    with pytest.raises(LinkLost):
        transport.read(0.1)
    with pytest.raises(LinkLost):
        transport.write(b"x")
    transport.close()


@posix
def test_what_is_no_port_is_said_so(tmp_path: Path) -> None:
    with pytest.raises(PortNotFound, match="ttyNOWHERE") as caught:
        SerialTransport("/dev/ttyNOWHERE")
    assert caught.value.exit_status == 2
    file = tmp_path / "file"
    file.write_text("text", encoding="utf-8")
    with pytest.raises(PortNotFound, match=file.name):
        SerialTransport(str(file))


@posix
def test_a_port_without_rights_names_the_cure() -> None:
    # root may open everything, so the system's own word (EACCES) is handed in
    error = PermissionError(13, "could not open port /dev/ttyACM0")
    explained = serial_port._explain("/dev/ttyACM0", error)
    assert isinstance(explained, PortDenied)
    if sys.platform == "linux":
        assert "dialout" in str(explained) and "udev" in str(explained)


def test_urls_that_cannot_be() -> None:
    with pytest.raises(PortSyntaxError, match="wire://x"):
        SerialTransport("wire://x")
    for url in (
        "socket://127.0.0.1:9",  # port 9 is 'discard'; nothing listens here
        "socket://",
        "socket://127.0.0.1:99999",
        "socket://nowhere.invalid:1",  # a name that is never given out (RFC 2606)
    ):
        with pytest.raises(PortNotFound, match=re.escape(url)) as refused:
            SerialTransport(url)
        assert "Errno" not in str(refused.value) and "Could not" not in str(refused.value)


def test_a_loop_back_is_not_a_board() -> None:
    link = Link(SerialTransport("loop://"), timing=LinkTiming(first_s=0.02, hello_tries=2))
    with pytest.raises(NotABoard, match="loop-back"):
        link.open()


def test_a_board_is_found_again_under_another_name(monkeypatch: pytest.MonkeyPatch) -> None:
    opened = []
    monkeypatch.setattr(serial_port, "list_ports", lambda: [PICO, SECOND])
    reconnector = serial_port.SerialReconnector(PICO.device)
    monkeypatch.setattr(
        serial_port, "list_ports", lambda: [PortSeen("/dev/ttyACM7", *_ids(PICO)), SECOND]
    )
    monkeypatch.setattr(serial_port, "SerialTransport", lambda url, **options: opened.append(url))
    reconnector.open()
    assert opened == ["/dev/ttyACM7"]


def test_lines_stand_as_the_installed_board_wants_them(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By the USB device's serial number, whatever name the port has today; None is left to the system."""
    monkeypatch.setattr(line_levels, "list_ports", lambda: [PICO, SECOND])
    remember_levels(PICO.device, LineLevels(False, None))
    moved = PortSeen("/dev/ttyACM7", *_ids(PICO))
    for module in (line_levels, serial_port):
        monkeypatch.setattr(module, "list_ports", lambda: [moved, SECOND])
    opened: list[tuple[object, object]] = []
    monkeypatch.setattr(
        serial_port, "SerialTransport", lambda url, *, dtr, rts: opened.append((dtr, rts))
    )
    for name in (moved.device, SECOND.device):
        open_transport(name)
    assert opened == [(False, None), (True, True)]
    (tmp_path / "boards" / "lines.json").write_text('["broken"', encoding="utf-8")
    open_transport(moved.device)
    assert opened[2] == (True, True)


@pytest.mark.parametrize("dtr", [True, False])
@pytest.mark.parametrize("rts", [True, False])
def test_the_port_is_opened_with_both_lines_as_told(dtr: bool, rts: bool) -> None:
    transport = SerialTransport("loop://", dtr=dtr, rts=rts)
    assert (transport._port.dtr, transport._port.rts) == (dtr, rts)
    transport.close()


def _ids(port: PortSeen) -> tuple[int | None, int | None, str | None]:
    return port.vid, port.pid, port.serial_number


def test_every_error_is_in_the_tree_with_its_exit_status() -> None:
    for error in (PortNotFound, PortSyntaxError):
        assert issubclass(error, BeamfallError) and error.exit_status == 2
    for error in (PortBusy, PortDenied, LinkLost, NotABoard):
        assert issubclass(error, BeamfallError) and error.exit_status == 1


def test_importing_wire_and_link_loads_nothing_heavy() -> None:
    code = (
        "import sys, beamfall.link, beamfall.wire, beamfall.link.serial_port as _;"
        "beamfall.wire.get_codec();"
        "print([m for m in ('construct', 'serial', 'numpy', 'scipy') if m in sys.modules])"
    )
    folder = Path(serial_port.__file__).parents[2]
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=folder, capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[]"
