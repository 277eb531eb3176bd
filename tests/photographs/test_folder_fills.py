"""Pictures that another program puts into a folder belong to the shot just fired, or somebody is asked."""

from __future__ import annotations

import _thread
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from arriving import Bench, open_bench

from beamfall.errors import CameraError, CameraProblem
from beamfall.photos.arrival import Arrivals
from beamfall.photos.watched_folder import WatchedFolder

MakePicture = Callable[..., Path]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    made = tmp_path / "pictures"
    made.mkdir()
    return made


@pytest.fixture
def bench(tmp_path: Path, folder: Path) -> Iterator[Bench]:
    source = WatchedFolder(folder)
    source.quiet_s = 0.2
    with open_bench(tmp_path, Arrivals(source, tmp_path / "unused", wait_s=2.0)) as made:
        yield made


def test_a_raw_file_beside_its_jpeg_is_one_picture(
    bench: Bench, folder: Path, make_picture: MakePicture
) -> None:
    def write(shot: int) -> None:
        (folder / "DSC1.NEF").write_bytes(b"raw")
        make_picture(folder / "DSC1.JPG", 1e9)

    bench.on_wait = write
    (fired,) = bench.shoot()
    assert fired.photo is not None and fired.photo.path == folder / "DSC1.JPG"
    assert [twin.name for twin in fired.photo.twins] == ["DSC1.NEF"]
    assert bench.pictures() == {fired.shot: "DSC1.JPG"}


def test_of_two_pictures_somebody_chooses(
    bench: Bench, folder: Path, make_picture: MakePicture
) -> None:
    def write(shot: int) -> None:
        make_picture(folder / f"{shot}a.jpg", None)
        make_picture(folder / f"{shot}b.jpg", None)

    bench.on_wait = write
    bench.answers = ["2"]
    first, second = bench.shoot(2)
    assert len(bench.asked) == 2
    assert bench.pictures() == {first.shot: f"{first.shot}b.jpg", second.shot: None}
    assert bench.problems == [None, CameraProblem.UNDECIDED], "nobody chose the second"
    assert all((folder / f"{second.shot}{letter}.jpg").exists() for letter in "ab")


def test_the_cameras_clock_tells_a_new_picture_from_an_old_one(
    bench: Bench, folder: Path, make_picture: MakePicture
) -> None:
    """The camera believes that it is 2001; its clock runs all the same."""
    zero_s = time.time() - 1e9

    def write(shot: int) -> None:
        make_picture(folder / f"new{shot}.jpg", time.time() - zero_s)
        if shot > 1:
            make_picture(folder / f"a-copy-of-old-{shot}.jpg", 5e8)

    bench.on_wait = write
    first, second = bench.shoot(2)
    assert not bench.asked
    assert bench.pictures() == {first.shot: "new1.jpg", second.shot: "new2.jpg"}


def test_a_picture_cut_off_in_the_middle_is_of_its_shot_once_it_is_whole(
    bench: Bench, folder: Path, make_picture: MakePicture
) -> None:
    whole = make_picture(folder.parent / "elsewhere" / "1.jpg", None).read_bytes()
    file = folder / "1.jpg"

    def write(shot: int) -> None:
        if shot == 1:
            file.write_bytes(whole[:2000])

    bench.on_wait = write
    (first,) = bench.shoot()
    assert bench.problems == [CameraProblem.HALF_WRITTEN] and first.record.state == "fired"
    file.write_bytes(whole)
    bench.arrivals.wait_s = 0.1
    bench.shoot()
    assert len(bench.late) == 1
    assert bench.pictures()[first.shot] == "1.jpg"


def test_a_picture_that_cannot_be_shown_is_named_and_stops_nothing(
    bench: Bench, folder: Path
) -> None:
    bench.on_wait = lambda shot: (folder / "empty-head.jpg").write_bytes(b"no picture\xff\xd9")
    (fired,) = bench.shoot()
    assert fired.record.state == "fired" and bench.problems == [None]
    assert len(bench.remarks) == 1 and "empty-head.jpg" in bench.remarks[0]


def test_three_shots_without_a_picture_end_a_series(bench: Bench) -> None:
    bench.arrivals.wait_s = 0.1
    with pytest.raises(CameraError) as caught:
        bench.shoot(9)
    assert caught.value.problem is CameraProblem.NO_FILE
    assert [line.state for line in bench.log.list_shots(limit=None)] == ["fired"] * 3


def test_ctrl_c_ends_the_wait_and_the_shot_is_in_the_log(bench: Bench) -> None:
    bench.arrivals.wait_s = 3600.0
    bench.on_wait = lambda shot: threading.Timer(0.2, _thread.interrupt_main).start()
    with pytest.raises(KeyboardInterrupt):
        bench.shoot()
    assert bench.problems == [CameraProblem.STOPPED]
    assert [line.state for line in bench.log.list_shots(limit=None)] == ["fired"]


def test_a_folder_that_is_not_there_is_refused_before_a_shot(tmp_path: Path) -> None:
    arrivals = Arrivals(WatchedFolder(tmp_path / "nowhere"), tmp_path)
    with pytest.raises(CameraError) as caught, arrivals:
        arrivals.open()
    assert caught.value.problem is CameraProblem.NOT_FOUND


@pytest.fixture
def watched(folder: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[WatchedFolder]:
    monkeypatch.setattr("beamfall.photos.watched_folder._GROWING_MOST", 20)
    source = WatchedFolder(folder)
    source.open(folder, lambda: None)
    yield source
    source.close()


def take_until(source: WatchedFolder, count: int) -> list[Path]:
    """What has arrived within ten seconds, or as soon as there are that many."""
    end, found = time.monotonic() + 10.0, []
    while len(found) < count and time.monotonic() < end:
        found += source.take(0.2)
    return found


@pytest.mark.parametrize(
    ("count", "content", "go"), [(5, b"\xff\xd8 half", True), (50, b"", False)]
)
def test_files_that_go_again_or_never_end_stop_nothing(
    watched: WatchedFolder, folder: Path, make_picture: MakePicture,
    count: int, content: bytes, go: bool,
) -> None:  # fmt: skip
    half = [folder / f"half{number}.jpg" for number in range(count)]
    for file in half:
        file.write_bytes(content)
    watched.take(0.5)
    for file in half if go else ():
        file.unlink()
    whole = make_picture(folder / "whole.jpg", None)
    assert take_until(watched, 1) == [whole]
    assert len(watched._growing) <= 20, "only so many are looked at"
