"""What photo catalogues read and write: judged by exiftool, which shares no code with Beamfall."""

from __future__ import annotations

import json
import os
import subprocess
import tracemalloc
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from arriving import SEQUENCE
from command_line import run_cli
from needs import need_program

from beamfall.board import Board
from beamfall.errors import PictureError
from beamfall.photos.catalogue import exchange
from beamfall.photos.xmp import DC, Packet, embed, find_sidecar, read_embedded
from beamfall.setup.rig import example_rig
from beamfall.shots import ShotLog
from beamfall.workflows.series import Shooter

MakePicture = Callable[..., Path]
need_program("exiftool", "apt-get install libimage-exiftool-perl, or exiftool.org")


@pytest.fixture
def log(tmp_path: Path) -> Iterator[ShotLog]:
    rig = example_rig()
    with (
        ShotLog.open(tmp_path / "shots.sqlite3") as opened,
        Board.connect("sim", rig=rig, seed=1) as board,
    ):
        Shooter.begin(board, opened, "shoot", rig=rig).fire(SEQUENCE)
        yield opened


@pytest.fixture
def picture(log: ShotLog, tmp_path: Path, make_picture: MakePicture) -> Path:
    file = make_picture(tmp_path / "pictures" / "IMG_1.jpg", 1e9)
    log.set_picture(1, str(file))
    return file


def ask_exiftool(*arguments: object) -> dict[str, Any]:
    command = ["exiftool", "-json", "-G1", "-struct", *map(str, arguments)]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    found: dict[str, Any] = json.loads(done.stdout)[0]
    return found


def change(file: Path, *arguments: str) -> None:
    """Have a catalogue change a file: exiftool plays it."""
    command = ["exiftool", "-q", "-overwrite_original", *arguments, str(file)]
    subprocess.run(command, check=True)


def test_a_sidecar_says_what_the_log_knows(log: ShotLog, picture: Path) -> None:
    before = picture.read_bytes()
    log.set_rating(1, 4)
    log.set_note(1, "tilt of 3° & <glass>\x1b")
    done = exchange(log, 1)
    read = ask_exiftool(done.sidecar)
    assert read["XMP-xmp:Rating"] == 4
    assert read["XMP-dc:Description"] == "tilt of 3° & <glass>␛"
    assert read["XMP-dc:Subject"] == ["Beamfall", "collision", "water"]
    assert read["XMP-beamfall:Shot"] == 1 and read["XMP-beamfall:Anchor"] == "release"
    assert read["XMP-beamfall:DelayMs"] == 200.0, "as in the sequence"
    assert read["XMP-beamfall:Liquid"] == "water"
    assert picture.read_bytes() == before


def test_what_a_catalogue_gives_comes_back(log: ShotLog, picture: Path) -> None:
    log.set_rating(1, 2)
    sidecar = exchange(log, 1).sidecar
    change(sidecar, "-xmp:Rating=5", "-xmp-dc:Subject+=best of 2026", "-xmp-crs:Exposure2012=1.5")
    done = exchange(log, 1)
    record = log.read_shot(1).record
    assert (record.rating, record.keywords) == (5, ("best of 2026",))
    assert done.overruled is None, "only the catalogue has changed it"
    log.set_rating(1, 3)
    exchange(log, 1)
    read = ask_exiftool(sidecar)
    assert read["XMP-xmp:Rating"] == 3, "only the log has changed it"
    assert read["XMP-crs:Exposure2012"] == 1.5, "what others keep there stays"
    assert sorted(read["XMP-dc:Subject"]) == ["Beamfall", "best of 2026", "collision", "water"]
    log.set_rating(1, 1)
    change(sidecar, "-xmp:Rating=4")
    assert exchange(log, 1).overruled == 1
    assert log.read_shot(1).record.rating == 4
    change(sidecar, "-xmp:Rating=0", "-xmp-dc:Subject-=best of 2026")
    exchange(log, 1)
    record = log.read_shot(1).record
    assert (record.rating, record.keywords) == (None, ())


def test_a_rating_inside_the_picture_is_read_too(log: ShotLog, picture: Path) -> None:
    change(picture, "-xmp:Rating=3", "-xmp-dc:Subject=keeper")
    exchange(log, 1)
    record = log.read_shot(1).record
    assert (record.rating, record.keywords) == (3, ("keeper",))


def test_xmp_goes_into_a_copy_without_touching_its_pixels(picture: Path, tmp_path: Path) -> None:
    packet = Packet.make()
    packet.set_list("http://purl.org/dc/elements/1.1/", "subject", ["one", "two"])
    whole = picture.read_bytes()
    copy = tmp_path / "copy.jpg"
    copy.write_bytes(embed(packet, whole, "copy.jpg"))
    found = [ask_exiftool("-validate", one)["ExifTool:Validate"] for one in (picture, copy)]
    assert found[0] == found[1], "nothing more is wrong with it than with the original"
    assert ask_exiftool(copy)["XMP-dc:Subject"] == ["one", "two"]
    change(copy, "-xmp:all=")
    assert copy.read_bytes()[-500:] == whole[-500:], "the pixels"
    assert ask_exiftool(copy)["ExifIFD:DateTimeOriginal"]
    again = embed(Packet.make(), embed(packet, whole, ""), "")
    assert again.count(b"ns.adobe.com/xap/1.0/\0") == 1


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"\x00" * 100,
        b"<x:xmpmeta xmlns:x='adobe:ns:meta/'>",
        b"<?xml version='1.0'?><!DOCTYPE a [<!ENTITY b SYSTEM 'file:///etc/passwd'>]><a>&b;</a>",
        b"<a/>",
    ],
)
def test_a_damaged_sidecar_is_named_and_kept(log: ShotLog, picture: Path, content: bytes) -> None:
    file = find_sidecar(picture)
    file.write_bytes(content)
    with pytest.raises(PictureError, match=file.name):
        exchange(log, 1)
    assert file.read_bytes() == content


def test_a_sidecar_never_brings_in_another_file(log: ShotLog, picture: Path) -> None:
    """An external entity (XXE, OWASP) is not read."""
    secret = picture.with_name("secret.txt")
    secret.write_text("a secret")
    packet = Packet.make()
    packet.set_list("http://purl.org/dc/elements/1.1/", "subject", ["here"])
    text = packet.write().decode().split("?>", 1)[1].replace("here", "&x;")
    entity = f'<!DOCTYPE a [<!ENTITY x SYSTEM "{secret.as_uri()}">]>'
    find_sidecar(picture).write_text(f"{entity}{text}")
    exchange(log, 1)
    assert log.read_shot(1).record.keywords == ()
    assert "secret" not in find_sidecar(picture).read_text()


@pytest.mark.parametrize("damage", [b"", b"\xff\xd8\xff\xe1\x00\x01", b"\xff\xd8\xff\xe1\xff\xff"])
def test_a_damaged_jpeg_has_no_xmp(tmp_path: Path, damage: bytes) -> None:
    file = tmp_path / "damaged.jpg"
    file.write_bytes(damage)
    assert read_embedded(file) is None


def test_the_command_reads_a_whole_series(log: ShotLog, picture: Path) -> None:
    sidecar = exchange(log, 1).sidecar
    change(sidecar, "-xmp:Rating=5")
    environment = {**os.environ, "BEAMFALL_LOG": str(log.path)}
    done = run_cli("shots", "catalogue", "--json", environment=environment)
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["ratings"] == {"1": 5}
    done = run_cli("shots", "match", picture.parent, "--embed", environment=environment)
    assert done.returncode == 2, "into copies only"


def test_what_a_catalogue_writes_is_taken_to_a_bound(tmp_path: Path) -> None:
    """What comes back goes into the log; a picture of 3 GB is read to its head."""
    packet = Packet.make()
    packet.set_list(DC, "subject", ["word"] * 1001)
    with pytest.raises(PictureError):
        Packet.read(packet.write(), "long")
    packet.set_list(DC, "subject", ["x" * 10_001])
    with pytest.raises(PictureError):
        Packet.read(packet.write(), "long")
    large = tmp_path / "large.jpg"
    with large.open("wb") as stream:
        stream.write(b"\xff\xd8\xff\xe0\x00\x04ab")
        stream.truncate(3 << 30)
    tracemalloc.start()
    assert read_embedded(large) is None
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 20 << 20
