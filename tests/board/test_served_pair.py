"""`pytest tests/board --port P --double Q`, run as a person runs it, against two boards behind ports."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from served_pair import ServedPair

SUITE = Path(__file__).with_name("test_bench_double.py")


def run_suite(pair: ServedPair, folder: Path) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", str(SUITE)]
    command += ["--port", pair.controller_url, "--double", pair.double_url]
    # The outer run's own options (coverage, markers) are not this suite's.
    own = {name: value for name, value in os.environ.items() if name != "PYTEST_ADDOPTS"}
    return subprocess.run(
        [*command, "--bench-report", str(folder)], env=own, capture_output=True, text=True, timeout=300
    )  # fmt: skip


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "report"


@pytest.mark.full
def test_the_suite_runs_against_two_ports_and_writes_its_report(folder: Path) -> None:
    with ServedPair(ppm=(-11.0, 16.0)) as pair:
        done = run_suite(pair, folder)
    assert done.returncode == 0, done.stdout[-3000:]
    report = json.loads((folder / "bench_report.json").read_text())
    assert report["double"]["name"].startswith("Bench double")
    assert report["clock_ratio"]["ppm"] == pytest.approx(27.0, abs=0.01)
    assert report["faults"] == []
    assert (folder / "bench_report.png").stat().st_size > 10_000


@pytest.mark.full
def test_a_missing_wire_stops_the_suite_with_its_name(folder: Path) -> None:
    with ServedPair(missing=["double flash1 to controller beam1"]) as pair:
        done = run_suite(pair, folder)
    assert done.returncode == 1
    assert "double flash1 to controller beam1" in done.stdout
    assert "passed" not in done.stdout.splitlines()[-1]
    assert not folder.exists()
