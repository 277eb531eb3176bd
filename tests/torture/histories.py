"""The tests marked `long` in this folder: python tests/torture/histories.py [options of pytest]."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

if __name__ == "__main__":
    sys.exit(pytest.main(["-m", "long", "-v", str(Path(__file__).parent), *sys.argv[1:]]))
