"""The prompt of a board's interpreter, through mpremote's library: how an installer gets in."""

from __future__ import annotations

import ast
import contextlib
import importlib
import io
import struct
import time
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from beamfall.board_tools.errors import InstallError
from beamfall.errors import MissingExtra

_CHUNK = 1024  # bytes of a file per write; the text must fit the heap of a small board
_ENTER_TRIES = 3  # at least, and until patience ends

_WHO = """
import sys, os
try:
    machine = os.uname().machine
except AttributeError:
    machine = getattr(sys.implementation, '_machine', sys.platform)
try:
    stat = os.statvfs('/' if os.getcwd() == '/' else os.getcwd())
    free = stat[0] * stat[3]
except (AttributeError, OSError):
    free = -1
print([sys.implementation.name, list(sys.implementation.version), sys.version, sys.platform, machine,
       getattr(sys.implementation, '_mpy', 0), os.getcwd(), free])
"""

_SURVEY = """
import os, hashlib
def look(folder):
    try:
        names = list(os.ilistdir(folder))
    except OSError:
        return
    for entry in names:
        path = folder + '/' + entry[0]
        if entry[1] == 0x4000:
            print([path, -1, ''])
            look(path)
        else:
            one(path)
def one(path):
    try:
        file = open(path, 'rb')
    except OSError:
        return
    digest = hashlib.sha256()
    size = 0
    while True:
        part = file.read(512)
        if not part:
            break
        size += len(part)
        digest.update(part)
    file.close()
    print([path, size, ''.join('%02x' % byte for byte in digest.digest())])
"""


@dataclass(frozen=True, slots=True)
class Interpreter:
    """The interpreter on a board."""

    name: str
    version: tuple[int, ...]
    text: str  # as the interpreter reports it
    platform: str
    machine: str
    mpy: int  # sys.implementation._mpy; 0: it loads no compiled files
    home: str  # where its files are, without a slash at the end
    free_bytes: int  # -1: unknown

    @property
    def release(self) -> str:
        """The version as people write it."""
        return ".".join(str(part) for part in self.version[:3])


@dataclass(frozen=True, slots=True)
class BoardFile:
    """A file on a board; a folder has the size -1."""

    path: str
    size: int
    sha256: str

    @property
    def is_folder(self) -> bool:
        return self.size < 0


def load_mpremote() -> tuple[Any, type[Exception]]:
    """Return mpremote's serial transport and its error; raises MissingExtra with the cure."""
    try:
        serial = importlib.import_module("mpremote.transport_serial")
        base = importlib.import_module("mpremote.transport")
    except ImportError as error:
        raise MissingExtra(
            "installing onto a board needs the library mpremote, which is missing; "
            "install it with: pip install 'beamfall[board]'"
        ) from error
    return serial.SerialTransport, base.TransportError


class Prompt:
    """A board at its raw prompt. `port` is an open pyserial port, which `close` closes."""

    def __init__(self, port: Any, name: str, *, patience_s: float = 20.0) -> None:
        maker, self._error = load_mpremote()
        # mpremote would open the port with its own DTR and RTS; some boards restart on that.
        self._remote = maker("loop://")
        self._remote.serial.close()
        self._remote.serial = port
        self._remote.device_name = name
        # Asking a pseudo-terminal how much waits is right under Linux; mpremote reads it blindly instead.
        self._remote.is_pty = False
        self._name = name
        self._patience_s = patience_s

    def enter(self) -> Interpreter:
        """Stop the running program and get the prompt. Raises InstallError with the cure."""
        said = io.StringIO()
        refused: InstallError | None = None
        tries, end_s = 0, time.monotonic() + self._patience_s
        while tries < _ENTER_TRIES or time.monotonic() < end_s:
            tries += 1
            try:
                with contextlib.redirect_stdout(said):
                    self._remote.enter_raw_repl(soft_reset=False, timeout_overall=self._patience_s)
                return self.ask_who()
            except self._error:
                pass
            except InstallError as error:
                if not isinstance(error.__cause__, self._error):
                    raise
                # A slow board may greet late, so that the greeting is read as the answer to a command.
                refused = error
                self._remote.use_raw_paste = True  # what mpremote keeps from such an answer
            except OSError as error:
                raise self._explain_loss(error) from error
            time.sleep(max(0.2, self._patience_s / 100))  # late greetings arrive meanwhile
        raise refused or InstallError(
            f"{self._name}: no MicroPython prompt; if Beamfall runs on it but does not answer, "
            "hold its button down while you plug it in; otherwise install MicroPython first (micropython.org)"
        )

    def run(self, code: str) -> str:
        """Run code on the board; return what it printed. Raises InstallError with the board's words."""
        try:
            said, wrong = self._remote.exec_raw(code, timeout=self._patience_s)
        except (self._error, struct.error) as error:
            raise InstallError(
                f"{self._name}: the board does not respond to commands ({error})"
            ) from error
        except OSError as error:
            raise self._explain_loss(error) from error
        words = bytes(wrong).decode("utf-8", "replace").strip().splitlines()
        if words:
            raise InstallError(f"{self._name}: the board reports: {words[-1]}")
        return bytes(said).decode("utf-8", "replace")

    def _explain_loss(self, error: OSError) -> InstallError:
        return InstallError(f"{self._name} disappeared ({error}); check the cable")

    def _lines(self, code: str) -> Iterator[list[Any]]:
        for line in self.run(code).splitlines():
            if line.startswith("["):
                yield list(ast.literal_eval(line))

    def ask_who(self) -> Interpreter:
        """Ask which interpreter runs there."""
        for name, version, text, platform, machine, mpy, home, free in self._lines(_WHO):
            numbers = tuple(part for part in version if isinstance(part, int))
            home = "" if home == "/" else home
            return Interpreter(name, numbers, text, platform, machine, mpy, home, free)
        raise InstallError(f"{self._name}: the interpreter does not identify itself")

    def survey(self, home: str, folders: list[str], files: list[str]) -> dict[str, BoardFile]:
        """List those folders of the board and the digests of those files, by path below `home`."""
        code = _SURVEY
        code += "".join(f"look({home + '/' + folder!r})\n" for folder in folders)
        code += "".join(f"one({home + '/' + file!r})\n" for file in files)
        found = {}
        for path, size, digest in self._lines(code):
            inside = path[len(home) + 1 :]
            found[inside] = BoardFile(inside, size, digest)
        return found

    def make_folders(self, home: str, folders: list[str]) -> None:
        """Make folders; existing ones stay."""
        self.run(
            "import os\ndef make(path):\n try:\n  os.mkdir(path)\n except OSError:\n  os.stat(path)\n"
            + "".join(f"make({home + '/' + folder!r})\n" for folder in folders)
        )

    def write_file(self, path: str, content: bytes) -> None:
        """Write a whole file."""
        with self._explain(f"{path} cannot be written"):
            self._remote.fs_writefile(path, content, chunk_size=_CHUNK)

    @contextlib.contextmanager
    def _explain(self, problem: str) -> Iterator[None]:
        """Raise InstallError for what mpremote's file functions raise in the block."""
        try:
            yield
        except (self._error, struct.error, OSError) as error:
            words = str(error).strip().splitlines() or ["no answer"]
            raise InstallError(f"{self._name}: {problem}: {words[-1]}") from error

    def remove(self, paths: list[str]) -> None:
        """Remove files and empty folders."""
        if paths:
            self.run(
                "import os\ndef away(path):\n try:\n  os.remove(path)\n except OSError:\n  try:\n   os.rmdir(path)\n"
                "  except OSError:\n   pass\n" + "".join(f"away({path!r})\n" for path in paths)
            )

    def rename(self, old: str, new: str) -> None:
        """Rename a file or folder; first check with `exists` that the new name is free."""
        self.run(f"import os\nos.rename({old!r}, {new!r})\n")

    def exists(self, path: str) -> bool:
        """Whether a file or folder of that name exists."""
        code = f"import os\ntry:\n os.stat({path!r})\n print([1])\nexcept OSError:\n print([0])\n"
        return [1] in self._lines(code)

    def read_file(self, path: str) -> bytes:
        """Read a whole file."""
        with self._explain(f"{path} cannot be read"):
            return bytes(self._remote.fs_readfile(path, chunk_size=_CHUNK // 4))

    def restart(self) -> None:
        """Restart the board, as at power-up; this ends the prompt. Raises InstallError."""
        code = "import time\ntime.sleep_ms(100)\nimport machine\nmachine.reset()\n"
        try:
            self._remote.exec_raw_no_follow(code)
        except (self._error, struct.error) as error:
            raise InstallError(
                f"{self._name}: the files on the board are correct, but it does not restart on command "
                f"({error}); unplug it and plug it in again"
            ) from error
        except OSError:
            return  # the port disappeared with the board: that is the restart

    def leave(self) -> None:
        """Leave the board at its friendly prompt and close the port."""
        with contextlib.suppress(Exception):
            self._remote.exit_raw_repl()
        self.close()

    def close(self) -> None:
        """Close the port."""
        with contextlib.suppress(Exception):
            self._remote.serial.close()


def to_json(interpreter: Interpreter) -> Mapping[str, Any]:
    """The interpreter as JSON-ready values."""
    return {
        "name": interpreter.name,
        "version": interpreter.release,
        "text": interpreter.text,
        "platform": interpreter.platform,
        "machine": interpreter.machine,
    }
