"""The wheel: all that Beamfall reads lies inside the package, nothing lies beside it, and it runs from there."""

from __future__ import annotations

import filecmp
import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

import beamfall
from beamfall.cli.board_test import ANY_BOARD, CHECKS, WITH_DOUBLE

pytestmark = pytest.mark.full

TOP = Path(__file__).resolve().parents[2]
INSIDE = {
    "host/beamfall": ("handbook/first-evening.md", "physics/computed_splashes.npz", "page/static/index.html"),
    "firmware": ("main.py", "beamfall_board/board.py", "ports/rp2/port.py", "boards/pico2.py"),
    "protocol": ("messages.toml", "vectors.json", "transcripts.json"),
}  # fmt: skip


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder into which a wheel of this checkout was unpacked, as pip would."""
    folder = tmp_path_factory.mktemp("wheel")
    build = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(folder)]
    subprocess.run(build, cwd=TOP, check=True, capture_output=True)
    (wheel,) = folder.glob("*.whl")
    place = folder / "lib" / "site-packages"  # what lies above is no checkout
    zipfile.ZipFile(wheel).extractall(place)
    return place


def run(installed: Path, folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    environment = {**os.environ, "PYTHONPATH": str(installed)}
    command = [sys.executable, "-P", *arguments]
    return subprocess.run(command, cwd=folder, env=environment, capture_output=True, text=True)


def test_nothing_lies_beside_the_package(installed: Path) -> None:
    assert {path.name for path in installed.iterdir()} == {
        "beamfall", f"beamfall-{beamfall.__version__}.dist-info",
    }  # fmt: skip


@pytest.mark.parametrize("source", INSIDE)
def test_every_file_is_inside_as_it_is_in_the_checkout(installed: Path, source: str) -> None:
    target = installed / "beamfall"
    target = target if source == "host/beamfall" else target / "_data" / source
    paths = (path.relative_to(TOP / source) for path in (TOP / source).rglob("*") if path.is_file())
    here = {
        path.as_posix()
        for path in paths
        if path.suffix != ".pyc" and not any(part.startswith(".") for part in path.parts)
    }
    assert set(INSIDE[source]) <= here
    _, other, missing = filecmp.cmpfiles(TOP / source, target, sorted(here), shallow=False)
    assert not other and not missing


def test_the_checks_of_a_board_run_from_there(installed: Path, tmp_path: Path) -> None:
    for name in (ANY_BOARD, WITH_DOUBLE):
        assert filecmp.cmp(
            TOP / CHECKS / name, installed / "beamfall" / "_data" / CHECKS / name, shallow=False
        )
    where = run(installed, tmp_path, "-c", "import beamfall; print(beamfall.__file__)")
    assert Path(where.stdout.strip()).is_relative_to(installed)
    done = run(installed, tmp_path, "-m", "beamfall", "board", "test", "--port", "sim")
    assert done.returncode == 0, done.stdout + done.stderr
    assert " passed" in done.stdout and "failed" not in done.stdout
