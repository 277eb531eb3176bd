"""Installing onto a real MicroPython: the interpreter for the desk, its prompt behind a pseudo-terminal."""

from __future__ import annotations

import importlib
import os
import subprocess
import sys
import time
import tty
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from needs import need_micropython
from virtual_clock import VirtualClock

from beamfall.board_tools import install as installer
from beamfall.board_tools.errors import InstallError
from beamfall.board_tools.install import Report, install, recall_interpreter, remember
from beamfall.board_tools.maintenance import ask_for_maintenance
from beamfall.board_tools.prompt import Interpreter, Prompt
from beamfall.errors import AtPrompt, LinkLost, MissingExtra, PortNotFound
from beamfall.link.line_levels import LineLevels, recall_levels
from beamfall.link.port_list import PortSeen
from beamfall.link.probing import listen_for_beacon
from beamfall.places import TRACE_VARIABLE
from beamfall.setup.board_profiles import find_profile
from beamfall.sim.embedded import SimulatedTransport
from beamfall.wire import get_definition

if sys.platform == "win32":
    pytest.skip("needs pseudo-terminals, which Windows lacks", allow_module_level=True)
need_micropython()

PICO = 4870  # sys.implementation._mpy of MicroPython 1.28 on an RP2040: version 6.3, armv6m


def test_install_chooses_compiles_and_leaves_the_board_at_its_prompt(
    port: str, files: Path
) -> None:
    told: list[str] = []
    report = install(port, "esp32_generic", start=False, tell=told.append)
    assert (report.profile, report.compiled, report.asked_by_wire) == ("esp32_generic", True, False)
    assert report.interpreter.version >= (1, 20) and report.firmware is None
    names = {str(path.relative_to(files)) for path in files.rglob("*") if path.is_file()}
    assert names == {*report.written, "beamfall.files"}
    assert "ports/generic/port.mpy" in names and not any("ports/rp2/" in name for name in names)
    assert (files / "selected_board.py").read_text() == 'NAME = "esp32_generic"\n'
    assert any("SHA-256" in text for text in told)


@pytest.mark.full
def test_a_profile_of_ones_own_goes_along(port: str, files: Path, tmp_path: Path) -> None:
    mine = tmp_path / "my_board.py"
    mine.write_text(
        Path(find_profile("esp32_generic").path).read_text().replace("ESP32 generic", "Mine")
    )
    report = install(port, str(mine), source_only=True, start=False)
    assert report.board == "Mine" and not report.compiled
    assert (files / "boards" / "my_board.py").read_bytes() == mine.read_bytes()
    assert (files / "selected_board.py").read_text() == 'NAME = "my_board"\n'
    assert (files / "ports" / "generic" / "port.py").exists()


@pytest.mark.full
def test_a_file_that_arrives_damaged_is_named_and_the_board_cannot_start_with_it(
    port: str, files: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (files / "main.py").write_text(
        '"""Starts the board: every output off first, in an earlier version"""\n'
    )
    write = Prompt.write_file

    def damage(self: Prompt, path: str, content: bytes) -> None:
        write(self, path, content[:-1] + b"?" if path.endswith("limits.mpy") else content)

    monkeypatch.setattr(Prompt, "write_file", damage)
    with pytest.raises(InstallError) as caught:
        install(port, "esp32_generic", start=False)
    assert caught.value.files == ("beamfall_board/limits.mpy",)
    assert not (files / "main.py").exists()


def test_a_greeting_that_comes_late_is_not_taken_for_an_answer(prompt: Prompt) -> None:
    """A slow board is asked for its prompt twice, and greets twice: Ctrl-A at the raw prompt greets again."""
    enter, calls = prompt._remote.enter_raw_repl, []

    def greet_twice(**options: Any) -> None:
        enter(**options)
        if not calls:
            prompt._remote.serial.write(b"\x01")
            time.sleep(0.3)
        calls.append(options)

    prompt._remote.enter_raw_repl = greet_twice
    assert prompt.enter().name == "micropython"
    assert len(calls) == 2
    assert prompt.run("print(6 * 7)").strip() == "42"


@pytest.mark.parametrize(("patience_s", "answers"), [(10.0, False), (200.0, True)])
def test_a_board_is_asked_for_its_prompt_as_long_as_patience_says(
    patience_s: float, answers: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """mpremote itself waits 10 s for a character; this board needs 95 s for its start."""
    clock = VirtualClock()
    timer = SimpleNamespace(sleep=clock.sleep, monotonic=clock.clock)
    monkeypatch.setattr("beamfall.board_tools.prompt.time", timer)
    slow = Prompt(None, "board", patience_s=patience_s)

    def wait_for_a_character(**_: Any) -> None:
        clock.sleep(10.0)
        if clock.now < 95.0:
            raise slow._error

    monkeypatch.setattr(slow._remote, "enter_raw_repl", wait_for_a_character)
    monkeypatch.setattr(Prompt, "ask_who", lambda _: "who")
    if answers:
        assert slow.enter() == "who"
    else:
        with pytest.raises(InstallError):
            slow.enter()
        assert clock.now < 35.0


@pytest.mark.full
def test_a_port_with_no_prompt_says_how_to_get_one(monkeypatch: pytest.MonkeyPatch) -> None:
    master, slave = os.openpty()
    tty.setraw(slave)
    make = Prompt.__init__

    def hurry(self: Prompt, line: Any, name: str, *, patience_s: float) -> None:
        make(self, line, name, patience_s=0.3)

    monkeypatch.setattr(Prompt, "__init__", hurry)
    try:
        with pytest.raises(InstallError, match="button"):
            install(os.ttyname(slave), "esp32_generic")
    finally:
        os.close(master)
        os.close(slave)


def test_without_mpremote_the_cure_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    load = importlib.import_module

    def refuse(name: str, *rest: Any) -> Any:
        if name.startswith("mpremote"):
            raise ImportError(name)
        return load(name, *rest)

    monkeypatch.setattr(importlib, "import_module", refuse)
    with pytest.raises(MissingExtra, match="board"):
        install("/dev/null", "pico")


def test_what_the_wire_does_not_say_is_remembered(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pico = Interpreter(
        "micropython", (1, 28, 0), "", "rp2", "Raspberry Pi Pico with RP2040", PICO, "", -1
    )
    report = Report(
        "port", "pico", "Pico", pico, True, "", [], [], [], {}, [], 0, 0,
        "e6" * 8, "0.1.0", False, LineLevels(False, False),
    )  # fmt: skip
    assert recall_interpreter(bytes.fromhex("e6" * 8)) is None
    remember(report)
    found = recall_interpreter(bytes.fromhex("e6" * 8))
    assert found is not None and (found["version"], found["machine"]) == (
        "1.28.0",
        "Raspberry Pi Pico with RP2040",
    )
    assert recall_levels("port") == LineLevels(False, False)
    assert recall_levels("another port") == LineLevels(True, True)
    (tmp_path / "boards" / f"{'e6' * 8}.json").write_text("{broken")
    assert recall_interpreter(bytes.fromhex("e6" * 8)) is None


@pytest.mark.parametrize(
    ("profile", "levels"),
    [("pico", LineLevels(True, True)), ("esp32_generic", LineLevels(False, False))],
)
def test_lines_stand_as_the_profile_says_when_the_installer_opens_the_port(
    profile: str, levels: LineLevels, monkeypatch: pytest.MonkeyPatch
) -> None:
    """On an ESP32 board one of the two lines without the other holds the chip in its reset."""
    opened: list[dict[str, Any]] = []

    def open_none(port: str, **options: Any) -> Any:
        opened.append(options)
        raise LinkLost("no line here")

    monkeypatch.setattr(installer, "SerialTransport", open_none)
    with pytest.raises(LinkLost):
        installer.ask_by_wire("port", find_profile(profile), lambda text: None)
    line = installer._open_line("loop://", find_profile(profile), 1.0)
    assert opened == [{"dtr": levels.dtr, "rts": levels.rts}]
    assert (line.dtr, line.rts) == (levels.dtr, levels.rts)
    line.close()


def test_the_words_at_the_prompt_are_in_the_trace(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv(TRACE_VARIABLE, str(tmp_path / "t.pcapng"))
    line = installer._open_line("loop://", find_profile("pico"), 1.0)
    line.timeout = 0.5
    line.write(b"import os")
    assert line.read(9) == b"import os" and line._inner.timeout == 0.5
    line.close()
    assert (tmp_path / "t.pcapng").read_bytes().count(b"import os") == 2  # sent, and received


class Still:
    """A rig with nothing at the pins."""

    clock_hz = 125_000_000

    def drive(self, signal: int, level: int, ticks: int) -> None:
        pass

    def next_edge(self, until: int) -> None:
        return None

    def level(self, signal: int) -> int:
        return 0

    def restart(self) -> None:
        pass


def make_other_version(transport: SimulatedTransport, monkeypatch: pytest.MonkeyPatch) -> bytes:
    """Give the running firmware another definition digest, as an earlier version has."""
    link = type(transport._board.link)
    wire = link.poll.__globals__["wire"]
    monkeypatch.setattr(wire, "DEFINITION", b"\x01\x02\x03\x04\x05\x06\x07\x08")
    return bytes(wire.DEFINITION)


@pytest.mark.parametrize("other_version", [False, True])
def test_the_way_in_is_asked_for_by_wire_whatever_the_firmwares_version(
    other_version: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    transport = SimulatedTransport(Still(), seed=1)
    digest = (
        make_other_version(transport, monkeypatch) if other_version else get_definition().digest
    )
    heard = listen_for_beacon(transport)
    assert heard == digest
    ask_for_maintenance(transport, heard)
    with pytest.raises(LinkLost):
        transport.sleep(1.0)


def test_a_stranger_is_sent_nothing() -> None:
    class Stranger(VirtualClock):
        name = "stranger"
        sent = b""

        def read(self, timeout_s: float) -> bytes:
            self.now += 0.1
            return b"temperature 21.5\r\n"

        def write(self, data: bytes) -> None:
            self.sent += data

    stranger = Stranger()
    assert listen_for_beacon(stranger) is None
    assert stranger.sent == b""


def test_the_only_port_is_found_by_its_usb_ids(monkeypatch: pytest.MonkeyPatch) -> None:
    board = PortSeen("/dev/ttyACM0", 0x2E8A, 0x0005, "E661")
    other = PortSeen("/dev/ttyS0", None, None, None)

    def show(*ports: PortSeen) -> Callable[[], list[PortSeen]]:
        return lambda: list(ports)

    monkeypatch.setattr(installer, "list_ports", show(other, board))
    assert installer.find_only_port() == "/dev/ttyACM0"
    monkeypatch.setattr(installer, "list_ports", show(other))
    with pytest.raises(PortNotFound, match="/dev/ttyS0"):
        installer.find_only_port()
    monkeypatch.setattr(installer, "list_ports", show(board, replace(board, device="/dev/ttyACM1")))
    with pytest.raises(PortNotFound, match="ttyACM0.*ttyACM1"):
        installer.find_only_port()


@pytest.mark.full
def test_a_board_that_vanishes_while_it_is_written_is_named_and_cannot_start(
    port: str, files: Path, interpreter: subprocess.Popen[bytes], monkeypatch: pytest.MonkeyPatch
) -> None:
    write = Prompt.write_file

    def pull(self: Prompt, path: str, content: bytes) -> None:
        if path.endswith("limits.mpy"):
            interpreter.kill()
            interpreter.wait()
        write(self, path, content)

    monkeypatch.setattr(Prompt, "write_file", pull)
    with pytest.raises(InstallError, match="limits.mpy"):
        install(port, "esp32_generic", start=False)
    assert not (files / "main.py").exists()


class Restarting:
    """A prompt that counts the requests it gets."""

    def __init__(self, asked: list[str]) -> None:
        self.asked = asked

    def __getattr__(self, name: str):  # type: ignore[no-untyped-def]
        return lambda: self.asked.append(name)


@pytest.mark.parametrize("stays", [0, 1, 2, 3])
def test_a_board_that_stays_at_its_prompt_is_restarted_again(
    stays: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    import beamfall.board_tools.install as tool

    asked: list[str] = []
    left = [stays]

    def meet(port: str, tell: object, patience_s: float) -> str:
        left[0] -= 1
        if left[0] >= 0:
            raise AtPrompt("a prompt answers")
        return "welcome"

    monkeypatch.setattr(tool, "meet", meet)
    monkeypatch.setattr(tool, "open_prompt", lambda *_: Restarting(asked))
    start = (Restarting(asked), "there", find_profile("pico"), None, lambda text: None, 1.0)
    if stays < 3:
        assert tool._start(*start) == "welcome"  # type: ignore[arg-type]
    else:
        with pytest.raises(InstallError):
            tool._start(*start)  # type: ignore[arg-type]
    assert asked.count("restart") == min(stays, 2) + 1
    assert asked == [
        "restart", "close", *["enter", "restart", "close"] * min(stays, 2)
    ]  # fmt: skip


def test_a_board_whose_interpreter_says_nothing_is_started_again(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    asked: list[str] = []

    class Silent(Restarting):
        def enter(self) -> None:
            raise InstallError("no answer")

    monkeypatch.setattr(installer, "ask_by_wire", lambda *_: True)
    monkeypatch.setattr(installer, "open_prompt", lambda *_: Silent(asked))
    with pytest.raises(InstallError):
        installer.ask_interpreter("there")
    assert asked == ["restart", "close"]
