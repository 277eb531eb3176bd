"""Pictures that are damaged, absurd or hostile give one message each and stop nothing."""

from __future__ import annotations

import io
import logging
import os
import resource
import struct
import subprocess
import sys
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from studios import EVENING_S, make_studio

from beamfall.cli import main
from beamfall.errors import PictureError
from beamfall.photos.exif import Photograph, read_photograph
from beamfall.photos.folder import read_folder
from beamfall.photos.match import TakenShot, match_pictures
from beamfall.photos.thumbnail import make_thumbnail
from beamfall.shots import ShotLog

MakePicture = Callable[..., Path]


@pytest.mark.skipif(os.name != "posix", reason="file names that are not text exist on POSIX only")
def test_a_name_that_is_not_text_leaves_out_that_picture_only(
    make_picture: MakePicture, tmp_path: Path
) -> None:
    for number in range(3):
        make_picture(tmp_path / f"IMG_{number}.JPG", EVENING_S + 7.0 * number)
    odd = make_picture(tmp_path / "odd.JPG", EVENING_S + 30.0)
    os.rename(odd, os.fsencode(tmp_path) + b"/IMG_\xff.JPG")
    folder = read_folder(tmp_path)
    assert len(folder.pictures) == 3
    assert len(folder.problems) == 1


@pytest.mark.parametrize("text", ["9999:12:31 23:59:59", "0001:01:01 00:00:00"])
def test_a_year_that_no_camera_has_is_no_time(
    make_picture: MakePicture, tmp_path: Path, text: str
) -> None:
    file = make_picture(tmp_path / "a.JPG", None, text=text, decimals="999999")
    with pytest.raises(PictureError):
        read_photograph(file)


def test_what_only_looks_like_a_figure_is_no_decimal_of_a_second(
    make_picture: MakePicture, tmp_path: Path
) -> None:
    """Found by `fuzz.py exif`: a raised 2 counts as a digit in Python, and is no number."""
    plain = read_photograph(make_picture(tmp_path / "a.JPG", 1e9, decimals="25"))
    odd = make_picture(tmp_path / "b.JPG", 1e9, decimals="25777")
    odd.write_bytes(odd.read_bytes().replace(b"25777", b"25\xb2\xb2\xb2"))
    assert read_photograph(odd).taken_s == plain.taken_s


def test_a_camera_with_escape_codes_in_its_name_is_shown_not_obeyed(
    make_picture: MakePicture,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    path = tmp_path / "shots.sqlite3"
    monkeypatch.setenv("BEAMFALL_LOG", str(path))
    assert main(["shoot", "--port", "sim", "--json"]) == 0
    capsys.readouterr()
    folder = tmp_path / "pictures"
    for number in range(3):
        name = f"IMG_{number}\x1b[2J.JPG"
        make_picture(folder / name, EVENING_S + 7.0 * number, model="\x1b]0;owned\x07\u202ex")
    make_picture(folder / "broken\x1b[2J.JPG", None)
    main(["shots", "match", str(folder)])
    said = capsys.readouterr()
    assert "\x1b" not in said.out + said.err
    assert "\u202e" not in said.out + said.err


def test_a_burst_does_not_outvote_the_shots() -> None:
    """40 pictures of 40 shots, and 60 frames of something else within 2 s."""
    studio = make_studio(4, missing=0.0, extra=0.0, shots=40)
    begin = studio.pictures[0].taken_s + 200.5
    burst = [
        Photograph(Path(f"BURST_{number:02d}.JPG"), begin + number // 30, 1.0, "invented camera")
        for number in range(60)
    ]
    (alone,) = match_pictures(studio.pictures, studio.shots)
    (found,) = match_pictures((*studio.pictures, *burst), studio.shots)
    assert alone.refusal is None
    assert found.refusal is None
    right = [pair for pair in found.pairs if studio.truth.get(pair.picture.path.name) == pair.shot]
    assert len(right) >= len(alone.pairs) - 2, "all but those within the burst"
    assert not [pair for pair in found.pairs if pair.picture.path.name.startswith("BURST")]


def test_a_burst_alone_is_no_series() -> None:
    shots = [TakenShot(number, EVENING_S + 7.3 * number) for number in range(40)]
    burst = [
        Photograph(
            Path(f"BURST_{number:02d}.JPG"), EVENING_S + number // 30, 1.0, "invented camera"
        )
        for number in range(60)
    ]
    (found,) = match_pictures(burst, shots)
    assert not found.pairs


@pytest.mark.full
@pytest.mark.parametrize("call", ["make_thumbnail(file, 320)", "measure(file)"])
@pytest.mark.parametrize(
    ("name", "mode", "how"),
    [("bomb.png", "1", {}), ("bomb.jpg", "L", {"progressive": True, "quality": 30})],
)
def test_a_small_file_of_many_pixels_does_not_fill_memory(
    call: str, name: str, mode: str, how: dict[str, Any], tmp_path: Path
) -> None:
    """A picture of some hundred kilobytes that would need gigabytes is not shown, and a message says so."""
    file = tmp_path / name
    Image.new(mode, (13_300, 13_300)).save(file, **how)
    assert file.stat().st_size < 1_500_000
    script = (
        "import sys, pathlib\n"
        "from beamfall.errors import PictureError\n"
        "from beamfall.photos.measure.run import measure\n"
        "from beamfall.photos.thumbnail import make_thumbnail\n"
        "file = pathlib.Path(sys.argv[1])\n"
        f"try: {call}\n"
        "except PictureError as error: print('13300' in str(error))\n"
    )
    limit = 600 * 1024 * 1024
    done = subprocess.run(
        [sys.executable, "-c", script, str(file)],
        capture_output=True, text=True, timeout=120,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_AS, (limit, limit)),
    )  # fmt: skip
    assert (done.stdout, done.stderr) == ("True\n", "")


def test_a_large_photograph_is_shown(make_picture: MakePicture, tmp_path: Path) -> None:
    """A JPEG of 60 megapixels is decoded small."""
    file = make_picture(tmp_path / "a.JPG", EVENING_S, size=(10_000, 6_000))
    data = make_thumbnail(file, 320)
    assert data.startswith(b"\xff\xd8")


def test_nothing_of_an_odd_picture_stops_the_match(
    make_picture: MakePicture, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "shots.sqlite3"
    monkeypatch.setenv("BEAMFALL_LOG", str(path))
    assert main(["shoot", "--port", "sim", "--count", "8", "--json"]) == 0
    folder = tmp_path / "pictures"
    with ShotLog.open(path, read_only=True) as log:
        begun = [row[0] / 1e6 for row in log.query("SELECT begun_us FROM shot ORDER BY id")]
    for number, when in enumerate(begun):
        make_picture(folder / f"IMG_{number:02d}.JPG", when + 0.06 - 3600.0)
    whole = (folder / "IMG_00.JPG").read_bytes()
    (folder / "cut.JPG").write_bytes(whole[:300])
    (folder / "noise.JPG").write_bytes(os.urandom(3000))
    (folder / "empty.JPG").write_bytes(b"")
    main(["shots", "match", str(folder)])
    with ShotLog.open(path, read_only=True) as log:
        pictures = log.query("SELECT count(*) FROM shot WHERE picture IS NOT NULL")
    assert pictures[0][0] >= len(begun) - 1


def test_tables_of_tags_that_have_no_end_are_given_up() -> None:
    """A TIFF of 720 kB whose 50 tables of 60,000 tags overlap: minutes of reading."""
    tables, tags = 50, 60_000
    head = b"II*\0" + struct.pack("<I", 8)
    overlapping = struct.pack("<I", tags) * (tags * 3)
    pointers = b"\0\0" + b"".join(struct.pack("<I", 12 + 4 * number) for number in range(tables))
    file = Counted(head + overlapping + pointers)
    with pytest.raises(PictureError):
        read_photograph(file)  # type: ignore[arg-type]
    assert file.reads < 200_000


def test_a_table_of_tags_that_goes_on_behind_the_end_is_given_up_soon() -> None:
    file = Counted(b"II*\0" + struct.pack("<IH", 8, 60_000) + bytes(60))
    with pytest.raises(PictureError):
        read_photograph(file)  # type: ignore[arg-type]
    assert file.reads < 2000


class Counted(io.BytesIO):
    """A file that counts how often it is read from, and its own path."""

    reads = 0
    name = "endless.tif"

    def open(self, mode: str) -> Counted:
        return self

    def read(self, size: int | None = -1) -> bytes:
        self.reads += 1
        return super().read(size)


def test_what_pillow_thinks_of_a_damaged_picture_is_kept_from_the_terminal(
    make_picture: MakePicture, tmp_path: Path
) -> None:
    file = make_picture(tmp_path / "a.jpg", EVENING_S)
    content = bytearray(file.read_bytes())
    at = content.index(b"Exif\0\0") + 6 + 4  # where its first table begins: behind its end
    content[at : at + 4] = b"\0\0\x7f\xff"
    file.write_bytes(content)
    with warnings.catch_warnings(record=True) as said:
        warnings.simplefilter("always")
        with pytest.raises(PictureError):
            read_photograph(file)
    assert not said


def test_what_pillow_writes_into_its_own_log_is_kept_from_the_terminal(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """Python prints a library's errors where no program has set up a log."""
    logging.getLogger("PIL").setLevel(logging.NOTSET)
    file = tmp_path / "a.tif"
    Image.new("RGB", (8, 8)).save(file)
    content = bytearray(file.read_bytes())
    at = content.index(struct.pack("<HHI", 277, 3, 1)) + 8  # SamplesPerPixel (TIFF 6.0, section 8)
    content[at : at + 2] = struct.pack("<H", 61187)
    file.write_bytes(content)
    with pytest.raises(PictureError):
        make_thumbnail(file, 8)
    assert not caplog.records
