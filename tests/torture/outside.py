"""The fuzz targets of the whole host: a hostile board, rig files, sequence files, pictures.

One input in, nothing out, an exception where something else happens than success or an error for people.
"""

from __future__ import annotations

import functools
import io
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

from hostile_line import HostileLine, Script, read_welcome

from beamfall.board import Board
from beamfall.errors import BeamfallError, PictureError, RigFileError, SequenceError
from beamfall.link import Link
from beamfall.photos.exif import read_photograph
from beamfall.photos.thumbnail import make_thumbnail
from beamfall.planning.rows import build_warm_up
from beamfall.setup.rig import EXAMPLE, parse_rig
from beamfall.setup.sequence import Row, Sequence
from beamfall.setup.sequence_file import parse_sequence
from beamfall.setup.toml_file import read_toml
from beamfall.shots import ShotLog
from beamfall.shots.describe import describe_record
from beamfall.shots.outcome import make_record
from beamfall.text import show_text
from beamfall.workflows.series import Shooter

_SEQUENCE = Sequence(
    rows=(
        Row("release", 0, "valve1", 0.1, 0.013),
        Row("release", 0, "valve1", 0.2, 0.013),
        Row("beam1", 2, "flash1", 0.186, 0.002),
    ),
    window_s=1.0,
    blanking_s=0.02,
)
_SEQUENCE_TEXT = """name = "two drops"
window = "1 s"
blanking = "20 ms"
[beam1]
edge = "dark"
[[row]]
output = "valve1"
delay = "101 ms"
width = "13 ms"
[[row]]
output = "valve1"
delay = "205.6 ms"
width = "13 ms"
[[row]]
anchor = "beam1"
count = 2
output = "flash1"
delay = "186 ms"
width = "2 ms"
"""
_LINES_MOST = 100_000  # frames in one input: more would be a loop without end
_TIME_MOST_S = 1200.0  # of the board's clock
_LOGGED = 16  # one input in so many goes through the log, which costs more than all the rest
_LOG_SHOTS = 500  # then a new log
_WORDS = (
    "0", "-1", "1e400", "nan", "inf", "-0.0", "true", '""', '" "', "[]", "{}", "[[]]", '"0 ms"', '"-1 ms"', '"1e99 ms"',
    '"9999999999999999999999 s"', '"1 parsec"', '"\\u001b[2J"', '"\\u202e"', '"=1+1"', '"<b>"', '"$\\\\frac$"',
    "1979-05-27",
    '"62 cm"', '"2 mm"', '"13 ms"', '"90 %"', '"beam1"', '"valve9"', '"dark"', '"water"', "2", "3.5", "255", "256",
    "9223372036854775808", '"' + "x" * 300 + '"', "'''", '"', "[" * 200, "= =", "\\", "\x00", "\ufeff", "inf inf",
)  # fmt: skip


# -- a board ---------------------------------------------------------------------------------------------------
@functools.cache
def _welcome() -> dict[str, Any]:
    return read_welcome()


class BoardTarget:
    """Everything that is asked of a board, answered by an input. `frames` counts what the boards have said."""

    def __init__(self) -> None:
        self.frames = 0
        self._runs = 0
        self._folder = tempfile.TemporaryDirectory(prefix="beamfall-fuzz-")
        self._log: ShotLog | None = None

    def __call__(self, data: bytes) -> None:
        line = HostileLine(Script(data), _welcome())
        try:
            self._talk(line)
        except BeamfallError as error:
            show_text(str(error))
        self.frames += line.said
        assert line.said < _LINES_MOST, line.said
        assert line.clock() < _TIME_MOST_S, line.clock()

    def _talk(self, line: HostileLine) -> None:
        self._runs += 1
        board = Board(Link(line, acknowledge_on_receipt=False))
        for act in self._list_acts(board):
            try:
                act()
            except BeamfallError as error:
                show_text(str(error))
        for outcome in board.take_outcomes():
            table = _SEQUENCE.make_table(board.info)
            record = make_record(table, outcome, timing=board.info.timing.label)
            describe_record(record)
            record.to_json()

    def _list_acts(self, board: Board) -> tuple[Callable[[], object], ...]:
        return (
            board.status,
            lambda: self._fire(board) if self._runs % _LOGGED == 0 else board.shoot(_SEQUENCE),
            lambda: board.drip(1, 0.013),
            lambda: board.test_flash(1, 0.002),
            lambda: board.rinse(1, 1.0, lambda seconds: True),
            board.slots,
            lambda: board.watch(True),
            lambda: list(zip(range(200), board.events(0.1), strict=False)),
            board.settle,
            board.abort,
        )

    def _fire(self, board: Board) -> None:
        if self._log is None or self._log.count_shots() > _LOG_SHOTS:
            if self._log is not None:
                self._log.close()
                self._folder.cleanup()
                self._folder = tempfile.TemporaryDirectory(prefix="beamfall-fuzz-")
            self._log = ShotLog.open(Path(self._folder.name) / "log.sqlite3")
        Shooter.begin(board, self._log, "shoot", rig=None).fire(_SEQUENCE)
        self._log.list_shots(limit=3)


# -- files -----------------------------------------------------------------------------------------------------
def _edit_lines(script: Script, text: str) -> bytes:
    """A text file with lines replaced, doubled, removed, exchanged, or with odd bytes in them."""
    lines = text.splitlines()
    for _ in range(1 + script.byte() % 6):
        at = script.byte() % len(lines)
        key, mark, _ = lines[at].partition("=")
        match script.byte() % 8:
            case 0:
                del lines[at]
                lines = lines or [""]
            case 1:
                lines.insert(script.byte() % len(lines), lines[at])
            case 2:
                lines[at] = script.choose(_WORDS)
            case 3:
                lines[at] = f"{script.choose(lines)}{lines[at]}"
            case 4:
                raw = script.take(script.byte() % 12)
                lines[at] += raw.decode("latin-1")
            case _:
                if mark:
                    lines[at] = f"{key}= {script.choose(_WORDS)}"
    return "\n".join(lines).encode("utf-8", "surrogateescape")


class MemoryFile(io.BytesIO):
    """What the readers use of a path, and of a file, without a disk: that would take most of the time."""

    def __init__(self, content: bytes, ending: str) -> None:
        super().__init__(content)
        self.stem, self.suffix, self.parent = "fuzz", ending, "memory"
        self.name = self.stem + ending

    def __str__(self) -> str:
        return self.name

    def open(self, mode: str) -> io.BytesIO:
        return io.BytesIO(self.getvalue())

    def read_text(self, encoding: str) -> str:
        return self.getvalue().decode(encoding)

    def is_file(self) -> bool:
        return True


@functools.cache
def _rig_text() -> str:
    return "\n".join(
        line
        for line in EXAMPLE.read_text("utf-8").splitlines()
        if line and not line.startswith("#")
    )


def fuzz_rig(data: bytes) -> None:
    """A rig file loads, and what it says can be planned with, or RigFileError says what is wrong."""
    script = Script(data)
    content = script.take(len(data)) if script.byte() == 255 else _edit_lines(script, _rig_text())
    try:
        file: Any = MemoryFile(content, ".toml")
        rig = parse_rig(read_toml(file, "rig file", RigFileError), str(file))
    except RigFileError as error:
        show_text(str(error))
        return
    try:
        build_warm_up(rig, 2)
    except BeamfallError as error:
        show_text(str(error))


def fuzz_sequence(data: bytes) -> None:
    """A sequence file gives a table or a SequenceError."""
    script = Script(data)
    content = (
        script.take(len(data)) if script.byte() == 255 else _edit_lines(script, _SEQUENCE_TEXT)
    )
    try:
        file: Any = MemoryFile(content, ".toml")
        sequence = parse_sequence(read_toml(file, "sequence file", SequenceError), str(file))
        sequence.make_table(_info())
    except SequenceError as error:
        show_text(str(error))


@functools.cache
def _info() -> Any:
    with Board.connect("sim", seed=1) as board:
        return board.info


# -- pictures --------------------------------------------------------------------------------------------------
@functools.cache
def _pictures() -> tuple[tuple[str, bytes], ...]:
    """One small picture of each kind, with EXIF, and the wrappings that raw files have."""
    from PIL import Image

    image = Image.new("RGB", (16, 12), (90, 120, 200))
    exif = Image.Exif()
    exif[0x010F], exif[0x0110] = "Beamfall tests", "invented camera"
    exif.get_ifd(0x8769).update(
        {0x9003: "2026:05:04 10:11:12", 0x9291: "25", 0x829A: 0.002, 0x8822: 1, 0x8827: 200}
    )
    made = []
    for kind, ending in (("JPEG", ".jpg"), ("PNG", ".png"), ("WEBP", ".webp"), ("TIFF", ".tif")):
        out = io.BytesIO()
        image.save(out, kind, exif=exif)
        made.append((ending, out.getvalue()))
    jpeg, tiff = made[0][1], made[3][1]
    boxes = b"\0\0\0\x18ftypcrx \0\0\0\1crx isom"
    for name in (b"CMT1", b"CMT2"):
        boxes += (len(tiff) + 8).to_bytes(4, "big") + name + tiff
    head = (b"FUJIFILMCCD-RAW " + bytes(84))[:84]
    wrapped = head + (100).to_bytes(4, "big") + len(jpeg).to_bytes(4, "big") + bytes(8) + jpeg
    return (*made, (".cr3", boxes), (".raf", wrapped), (".nef", tiff))


def fuzz_picture(data: bytes) -> None:
    """A picture's tags are read and it is drawn small, or PictureError says why not."""
    script = Script(data)
    ending, plain = script.choose(_pictures())
    content = bytearray(plain)
    for _ in range(1 + script.byte() % 12):
        at = int.from_bytes(script.take(2), "big") % len(content)
        match script.byte() % 4:
            case 0:
                content[at] = script.byte()
            case 1:
                content[at : at + 4] = script.choose(
                    (bytes(4), b"\xff" * 4, b"\0\0\0\x08", b"\x7f\xff\xff\xff")
                )
            case 2:
                content[at:] = b"" if at > 8 else content[at:]
            case _:
                content[at:at] = script.take(script.byte() % 8)
    file: Any = MemoryFile(bytes(content), ending)
    for read in (lambda: read_photograph(file).taken, lambda: make_thumbnail(file, 8)):
        try:
            read()
        except PictureError as error:
            show_text(str(error))


TARGETS: dict[str, Callable[[bytes], None]] = {
    "talk": BoardTarget(),
    "rig": fuzz_rig,
    "sequence": fuzz_sequence,
    "picture": fuzz_picture,
}
