"""Pictures from a camera: libgphoto2's virtual one, through its whole PTP stack, in the process that talks to it."""

from __future__ import annotations

import io
import json
import os
import shutil
import signal
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from arriving import Bench, open_bench
from command_line import run_cli
from needs import need_module

from beamfall.errors import CameraError, CameraProblem
from beamfall.photos.arrival import Arrivals
from beamfall.photos.camera import _EVENTS_MOST, VIRTUAL, CameraSource, _read_events, read_settings
from beamfall.shots import ShotLog
from beamfall.shots.exposure import BULB, MANUAL, Exposure, list_exposure_remarks

need_module("gphoto2", "pip install gphoto2, which has no wheel for Windows")
MakePicture = Callable[..., Path]


@pytest.fixture
def virtual_camera(
    tmp_path: Path, make_picture: MakePicture, monkeypatch: pytest.MonkeyPatch
) -> None:
    make_picture(tmp_path / "card" / "DCIM" / "100TESTS" / "IMG_0001.JPG", None)
    monkeypatch.setenv(VIRTUAL, str(tmp_path / "card"))


@pytest.fixture
def bench(tmp_path: Path, virtual_camera: None) -> Iterator[Bench]:
    arrivals = Arrivals(CameraSource("usb"), tmp_path / "photos", wait_s=5.0)
    with open_bench(tmp_path, arrivals) as made:
        yield made


def test_each_shot_gets_the_picture_that_the_camera_takes_of_it(bench: Bench) -> None:
    for fired in bench.shoot(2):
        record = bench.log.read_shot(fired.shot).record
        assert record.picture == fired.record.picture and Path(record.picture or "").is_file()
        assert Path(record.picture or "").name == f"series-0001-shot-{fired.shot:06d}.jpg"
        # What the virtual camera says of itself (libgphoto2 2.5, vusb).
        assert record.exposure == {"time_s": 0.01, "aperture": 2.8}


def test_a_camera_whose_driver_dies_in_a_series_is_opened_again(bench: Bench) -> None:
    source: Any = bench.arrivals.source

    def kill(shot: int) -> None:
        if shot == 1:
            os.kill(source._process.pid, signal.SIGKILL)
            source._process.wait()

    bench.on_wait = kill
    shots = bench.shoot(2)
    assert [one.record.state for one in shots] == ["fired", "fired"]
    assert bench.problems == [CameraProblem.LOST, None]


def test_a_folder_that_is_gone_costs_one_picture_and_no_shot(bench: Bench, tmp_path: Path) -> None:
    def remove(shot: int) -> None:
        if shot == 1:
            shutil.rmtree(tmp_path / "photos")

    bench.on_wait = remove
    shots = bench.shoot(2)
    assert [one.record.state for one in shots] == ["fired", "fired"]
    assert bench.problems == [CameraProblem.NOT_KEPT, None]


def test_a_camera_that_stops_answering_keeps_nobody(bench: Bench) -> None:
    source: Any = bench.arrivals.source
    process = source._process
    bench.arrivals.wait_s = 0.3
    bench.on_wait = lambda shot: os.kill(process.pid, signal.SIGSTOP)
    bench.shoot()
    assert bench.problems == [CameraProblem.NO_ANSWER]
    source.close()
    assert process.returncode == -signal.SIGKILL, "it was not waited for"


@pytest.mark.parametrize(
    ("asked", "is_there", "problem"),
    [("usb", False, CameraProblem.NOT_FOUND), ("no such model", True, CameraProblem.NOT_FOUND)],
)
def test_no_shot_is_fired_without_the_camera_that_was_named(
    tmp_path: Path,
    virtual_camera: None,
    monkeypatch: pytest.MonkeyPatch,
    asked: str,
    is_there: bool,
    problem: CameraProblem,
) -> None:
    if not is_there:
        monkeypatch.delenv(VIRTUAL)
    with pytest.raises(CameraError) as caught, Arrivals(CameraSource(asked), tmp_path) as arrivals:
        arrivals.open()
    assert caught.value.problem is problem


@pytest.mark.parametrize(
    ("event", "problem"),
    [
        ({"code": "several", "cameras": [["A", "usb:1"], ["B", "usb:2"]]}, CameraProblem.SEVERAL),
        ({"code": "none", "cameras": []}, CameraProblem.NOT_FOUND),
        ({"code": -53, "text": "Could not claim the USB device"}, CameraProblem.BUSY),
        ({"code": -105, "text": "Unknown model"}, CameraProblem.NOT_FOUND),
        ({"code": -10, "text": "Timeout"}, CameraProblem.NO_ANSWER),
    ],
)
def test_what_libgphoto2_reports_becomes_a_cause(
    event: dict[str, Any], problem: CameraProblem
) -> None:
    assert CameraSource("usb")._explain_failure(event).problem is problem


def test_a_full_card_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    source = CameraSource("usb")
    source._events.put({"event": "answer", "free_kb": 3000})
    error = source.explain()
    assert error is not None and error.problem is CameraProblem.CARD_FULL


def test_a_cameras_settings_are_read_in_its_own_words() -> None:
    told = {"iso": "Auto", "f-number": "f/16", "shutterspeed": "1/125", "expprogram": "A"}
    assert read_settings(told) == Exposure(
        time_s=1 / 125, aperture=16.0, mode="aperture priority", iso_auto=True
    )
    told = {"iso": "200", "aperture": "11", "shutterspeed": "bulb", "autoexposuremode": "Manual"}
    assert read_settings(told) == Exposure(aperture=11.0, iso=200, mode=BULB)


def test_settings_that_spoil_a_shot_are_named(bench: Bench) -> None:
    """The sequence flashes 199 ms after the shutter's contact closes."""
    (fired,) = bench.shoot()

    def judge(**values: Any) -> int:
        from dataclasses import replace

        record = replace(fired.record, exposure=Exposure(**values).to_json())
        return len(list_exposure_remarks(record, before=Exposure(iso=100)))

    assert judge(time_s=0.5, mode=MANUAL, iso=100) == 0
    assert judge(mode=BULB, iso=100) == 0
    assert judge(time_s=0.1, mode=MANUAL) == 1, "closed before the flash"
    assert judge(time_s=0.5, mode="program") == 1
    assert judge(time_s=0.5, mode=MANUAL, iso_auto=True) == 1
    assert judge(time_s=0.5, mode=MANUAL, iso=400) == 1, "not that of the shot before"
    assert judge(time_s=0.001, mode="program", iso=400) == 3


@pytest.mark.full
def test_the_simulated_rig_has_a_camera_of_its_own(tmp_path: Path) -> None:
    log_path = tmp_path / "shots.sqlite3"
    environment = {**os.environ, "BEAMFALL_LOG": str(log_path)}
    done = run_cli(
        "shoot",
        "--port",
        "sim",
        "--camera",
        "sim",
        "--count",
        "2",
        "--json",
        environment=environment,
    )
    assert done.returncode == 0, done.stderr
    named = [json.loads(line)["picture"] for line in done.stdout.splitlines()]
    with ShotLog.open(log_path, read_only=True) as log:
        records = [one.record for one in log.read_shots(series=1) if one.record.swept is None]
    assert [record.picture for record in records] == named and len(set(named)) == 2
    assert all(Path(record.picture or "").is_file() for record in records)
    assert all((record.exposure or {})["mode"] == BULB for record in records)
    done = run_cli(
        "shoot", "--port", "sim", "--camera", "sim", "--photos", ".", environment=environment
    )
    assert done.returncode == 2


def test_no_word_of_a_camera_is_too_large_for_the_log() -> None:
    long = "9" * 5000
    told = {
        "shutterspeed": f"1/{long}",
        "iso": long,
        "aperture": long,
        "focallength": long,
        "expprogram": "x" * 5000,
    }
    seen = read_settings(told)
    assert seen.iso is not None and seen.iso < 10**9
    assert seen.mode is not None and len(seen.mode) <= 40


def test_a_camera_that_reports_without_end_waits_until_it_is_heard() -> None:
    source = CameraSource("endless")
    lines = io.StringIO('{"event": "file"}\n' * 5000)
    reader = threading.Thread(target=_read_events, args=(lines, source._events), daemon=True)
    reader.start()
    reader.join(0.5)
    assert reader.is_alive() and source._events.qsize() == _EVENTS_MOST
    heard = 0
    while source._events.get(timeout=30.0)["event"] == "file":
        heard += 1
    assert heard == 5000
