"""A few of the failing calls of `failing.py`, which tries every one in every command that writes.

In the quick tier tests/host/test_files.py stands for it.
"""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

pytestmark = pytest.mark.skipif(
    sys.platform != "linux" or shutil.which("cc") is None,
    reason="needs Linux, for LD_PRELOAD, and a C compiler: apt-get install gcc",
)
SCRIPT = Path(__file__).with_name("failing.py")


EVERY = {
    "note": 9, "shoot": 5, "first-shot": 7, "mend": 5, "export": 3, "learned": 2, "rig": 3, "recipe-save": 9, "xmp": 4,
    "fault": 5, "backup": 2, "page-rate": 4, "page-start": 2, "usb-camera": 4,
}  # fmt: skip


@pytest.mark.full
@pytest.mark.parametrize("case", EVERY)
def test_whatever_call_of_the_system_fails_what_was_there_stays(case: str) -> None:
    done = subprocess.run(
        [sys.executable, str(SCRIPT), case, "--every", str(EVERY[case])],
        capture_output=True, text=True, timeout=600,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr[-2000:]
    tried = re.search(r"^(\d+) failing calls tried", done.stdout, re.MULTILINE)
    assert tried is not None and int(tried[1]) >= 12
