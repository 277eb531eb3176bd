"""Capture times out of files made here by Pillow, an implementation of EXIF that the program does not read with."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import pytest
from needs import need_program

from beamfall.errors import PictureError, UserError
from beamfall.photos.exif import read_photograph
from beamfall.photos.folder import read_folder
from beamfall.photos.thumbnail import make_thumbnail

Make = Callable[..., Path]
TAKEN_S = (datetime(2026, 9, 21, 20, 15, 42) - datetime(1970, 1, 1)).total_seconds()


# NEF, DNG and ARW files are TIFF files with EXIF inside; here a TIFF of that name stands for them.
@pytest.mark.parametrize(
    ("name", "kind"),
    [("a.jpg", "JPEG"), ("a.TIF", "TIFF"), ("a.nef", "TIFF"), ("a.DNG", "TIFF"), ("a.arw", "TIFF"),
     ("a.png", "PNG"), ("a.webp", "WEBP")],
)  # fmt: skip
def test_the_time_of_each_format(tmp_path: Path, make_picture: Make, name: str, kind: str) -> None:
    found = read_photograph(make_picture(tmp_path / name, TAKEN_S, kind=kind))
    assert found.taken_s == TAKEN_S
    assert found.step_s == 1.0
    assert found.taken == "2026-09-21 20:15:42"
    assert found.camera == "Beamfall tests invented camera"
    assert not found.edited


def test_raw_files_that_wrap_their_exif(tmp_path: Path, make_picture: Make) -> None:
    """Files built as ISO/IEC 14496-12 boxes, and with the head of a RAF file (both from memory)."""
    import struct

    jpeg = make_picture(tmp_path / "inside.jpg", TAKEN_S, decimals="25").read_bytes()
    head = b"FUJIFILMCCD-RAW 0201".ljust(84, b" ") + struct.pack(">II", 160, len(jpeg))
    (tmp_path / "a.raf").write_bytes(head.ljust(160, b"\0") + jpeg + b"raw" * 500)
    assert read_photograph(tmp_path / "a.raf").taken_s == pytest.approx(TAKEN_S + 0.25)

    # A TIFF whose only directory has tag 0x9003, ASCII, 20 bytes at offset 26.
    text = b"2026:09:21 20:15:42\0"
    tiff = b"II*\0" + struct.pack("<IHHHIII", 8, 1, 0x9003, 2, len(text), 26, 0) + text

    def box(name: bytes, content: bytes) -> bytes:
        return struct.pack(">I", 8 + len(content)) + name + content

    whole = box(b"ftyp", b"crx \0\0\0\1crx isom") + box(b"moov", box(b"uuid", box(b"CMT2", tiff)))
    (tmp_path / "a.cr3").write_bytes(whole + box(b"mdat", b"raw" * 500))
    assert read_photograph(tmp_path / "a.cr3").taken_s == TAKEN_S


def test_decimals_and_exposure(tmp_path: Path, make_picture: Make) -> None:
    found = read_photograph(
        make_picture(tmp_path / "a.jpg", TAKEN_S, decimals="37", exposure_s=0.75)
    )
    assert found.taken_s == pytest.approx(TAKEN_S + 0.37)
    assert found.step_s == pytest.approx(0.01)
    assert found.exposure_s == pytest.approx(0.75)


def test_a_time_of_the_last_change_is_marked(tmp_path: Path, make_picture: Make) -> None:
    assert read_photograph(make_picture(tmp_path / "a.jpg", TAKEN_S, tag=0x0132)).edited
    assert not read_photograph(make_picture(tmp_path / "b.jpg", TAKEN_S, tag=0x9004)).edited


@pytest.mark.parametrize("text", ["    :  :     :  :  ", "0000:00:00 00:00:00", "yesterday"])
def test_a_clock_never_set_gives_no_time(tmp_path: Path, make_picture: Make, text: str) -> None:
    with pytest.raises(PictureError, match=r"a\.jpg"):
        read_photograph(make_picture(tmp_path / "a.jpg", None, text=text))


def test_pictures_that_say_nothing(tmp_path: Path, make_picture: Make) -> None:
    from PIL import Image

    plain = tmp_path / "plain.jpg"
    Image.new("RGB", (8, 8)).save(plain)
    with pytest.raises(PictureError, match=r"plain\.jpg"):
        read_photograph(plain)
    noise = tmp_path / "noise.jpg"
    noise.write_bytes(bytes(range(256)) * 40)
    with pytest.raises(PictureError, match=r"noise\.jpg"):
        read_photograph(noise)
    whole = make_picture(tmp_path / "whole.jpg", TAKEN_S).read_bytes()
    for cut in (3, 30, 60, 90):
        part = tmp_path / f"cut{cut}.jpg"
        part.write_bytes(whole[:cut])
        with pytest.raises(PictureError, match=rf"cut{cut}\.jpg"):
            read_photograph(part)


def test_a_folder_names_what_it_cannot_use(tmp_path: Path, make_picture: Make) -> None:
    make_picture(tmp_path / "100A" / "IMG_2.JPG", TAKEN_S + 5)
    make_picture(tmp_path / "100A" / "IMG_1.JPG", TAKEN_S)
    make_picture(tmp_path / "100A" / "IMG_1.NEF", TAKEN_S, kind="TIFF")  # the same, as raw file
    make_picture(tmp_path / ".trash" / "IMG_0.JPG", TAKEN_S)
    (tmp_path / "notes.txt").write_text("dear diary")
    (tmp_path / "empty.jpg").write_bytes(b"")
    found = read_folder(tmp_path)
    assert [one.path.name for one in found.pictures] == ["IMG_1.JPG", "IMG_2.JPG"]
    assert found.twins == 1
    assert len(found.problems) == 1 and "empty.jpg" in found.problems[0]


TELL_PROBLEMS = """
import sys
from pathlib import Path
from beamfall.photos.folder import read_folder
print(*read_folder(Path(sys.argv[1])).problems, sep="\\n")
"""


@pytest.mark.skipif(os.name != "posix", reason="Windows has no file that its owner cannot read")
def test_an_unreadable_picture_is_named(tmp_path: Path, make_picture: Make) -> None:
    make_picture(tmp_path / "a.jpg", TAKEN_S)
    make_picture(tmp_path / "b.jpg", TAKEN_S).chmod(0)
    command = [sys.executable, "-c", TELL_PROBLEMS, str(tmp_path)]
    if os.geteuid() == 0:  # root reads everything, unless it has given up these two rights
        setpriv = need_program("setpriv", "apt-get install util-linux; or run as another user")
        command = [setpriv, "--bounding-set=-dac_override,-dac_read_search", *command]
    told = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    (problem,) = told.splitlines()
    assert "b.jpg" in problem


def test_folders_with_nothing_to_use(tmp_path: Path, make_picture: Make) -> None:
    with pytest.raises(UserError, match="nowhere"):
        read_folder(tmp_path / "nowhere")
    with pytest.raises(UserError, match=r"jpe?g"):
        read_folder(tmp_path)
    make_picture(tmp_path / "a.jpg", None)
    with pytest.raises(UserError, match=r"\b1\b"):
        read_folder(tmp_path)


def test_a_thumbnail_is_small_and_upright(tmp_path: Path, make_picture: Make) -> None:
    import io

    from PIL import Image

    file = make_picture(tmp_path / "a.jpg", TAKEN_S)
    with Image.open(file) as image:
        exif = image.getexif()
        exif[0x0112] = 6  # turned a quarter: CIPA DC-008, Orientation
        image.save(tmp_path / "turned.jpg", exif=exif)
    with Image.open(io.BytesIO(make_thumbnail(file, 120))) as small:
        assert small.size == (120, 80)
    with Image.open(io.BytesIO(make_thumbnail(tmp_path / "turned.jpg", 120))) as small:
        assert small.size == (80, 120)
    with pytest.raises(PictureError):
        make_thumbnail(tmp_path / "gone.jpg", 120)
