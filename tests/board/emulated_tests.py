"""All tests that need an emulated board, wherever they are: some minutes each.

    BEAMFALL_EMULATOR=... BEAMFALL_IMAGE=... python tests/board/emulated_tests.py [options of pytest]

`.ci/run` runs it where both are set. Without them nothing would be tested, so this fails.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest

NEEDED = ("BEAMFALL_EMULATOR", "BEAMFALL_IMAGE")

if __name__ == "__main__":
    if missing := [name for name in NEEDED if not os.environ.get(name)]:
        sys.exit(f"set {' and '.join(missing)}: see DEVELOPERS.md, A whole emulated board")
    sys.exit(pytest.main(["-m", "emulator", "-v", str(Path(__file__).parents[1]), *sys.argv[1:]]))
