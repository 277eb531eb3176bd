"""Each call of machine, rp2 and the other modules of MicroPython, against its stubs (micropython-rp2-stubs), by mypy.

The firmware itself is not annotated, so only what the stubs know is compared: names, attributes, arguments.
"""

from __future__ import annotations

import importlib.metadata
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

FIRMWARE = Path(__file__).resolve().parents[2] / "firmware"
CODES = {
    "attr-defined", "call-arg", "call-overload", "arg-type", "name-defined", "import-not-found", "misc", "index",
}  # fmt: skip
# What the stubs lack. DMA.channel: ports/rp2/rp2_dma.c of MicroPython 1.28, rp2_dma_attr;
# ptr8, ptr32: words of viper.
MISSING_IN_STUBS = (
    '"DMA" has no attribute "channel"',
    'Name "ptr32" is not defined',
    'expected "ptr32"',
    'Name "ptr8" is not defined',
    'expected "ptr8"',
)
TARGETS = ("ports.rp2", "ports.console", "ports.off")


def unpack(distribution: str, target: Path, only: str | None = None) -> None:
    for file in importlib.metadata.files(distribution) or []:
        if (file.suffix == ".pyi" or file.name == "VERSIONS") and (
            only is None or file.parts[0] == only
        ):
            place = target / file
            place.parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(str(file.locate()), place)


@pytest.fixture(scope="module")
def check(tmp_path_factory: pytest.TempPathFactory):  # type: ignore[no-untyped-def]
    folder = tmp_path_factory.mktemp("stubs")
    unpack("micropython-rp2-stubs", folder / "board")
    unpack("micropython-stdlib-stubs", folder / "board", "_mpy_shed")
    unpack("micropython-stdlib-stubs", folder / "typeshed", "stdlib")
    unpack("micropython-stdlib-stubs", folder / "typeshed", "stubs")

    def run(firmware: Path) -> list[str]:
        command = [
            sys.executable,
            "-m",
            "mypy",
            "--config-file=",
            "--check-untyped-defs",
            "--no-incremental",
        ]
        command += ["--custom-typeshed-dir", str(folder / "typeshed"), "--explicit-package-bases"]
        command += [
            "--python-version",
            "3.11",
            "--no-site-packages",
            "--cache-dir",
            str(folder / "cache"),
        ]
        for target in TARGETS:
            command += ["-p" if (firmware / target.replace(".", "/")).is_dir() else "-m", target]
        environment = {**os.environ, "MYPYPATH": str(folder / "board")}
        done = subprocess.run(
            command, cwd=firmware, env=environment, capture_output=True, text=True
        )
        assert "checked" in done.stdout, done.stdout + done.stderr
        found = []
        for line in done.stdout.splitlines():
            match = re.match(r"(ports/(?:rp2/|console|off)\S+): error: (.*)  \[(\S+)\]$", line)
            if (
                match
                and match[3] in CODES
                and not any(known in match[2] for known in MISSING_IN_STUBS)
            ):
                found.append(line)
        return found

    return run


@pytest.mark.full
def test_calls_fit_the_stubs(check) -> None:  # type: ignore[no-untyped-def]
    assert check(FIRMWARE) == []


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("machine.freq()", "machine.frequency()"),
        ("machine.WDT(timeout=timeout_ms)", "machine.WDT(time_out=timeout_ms)"),
        ("self._dma.active(0)", "self._dma.stop()"),
        ("time.ticks_us()", "time.tick_us()"),
    ],
)
@pytest.mark.full
def test_a_wrong_call_is_found(check, tmp_path: Path, old: str, new: str) -> None:  # type: ignore[no-untyped-def]
    firmware = tmp_path / "firmware"
    shutil.copytree(FIRMWARE, firmware)
    (path,) = (one for one in (firmware / "ports" / "rp2").glob("*.py") if old in one.read_text())
    path.write_text(path.read_text().replace(old, new))
    assert check(firmware) != []
