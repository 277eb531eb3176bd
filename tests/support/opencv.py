"""OpenCV for tests: without it they are skipped, naming the platforms that have no wheel."""

from __future__ import annotations

from typing import Any

import pytest


def need_opencv() -> Any:
    """Return the module `cv2`, or skip."""
    return pytest.importorskip(
        "cv2",
        reason="needs opencv-python-headless, which has no wheel for Windows on ARM, 32-bit ARM or Alpine Linux",
    )
