"""Firmware modules under CPython, as on a board: the firmware folder is where imports start."""

import sys
from pathlib import Path

FIRMWARE = Path(__file__).resolve().parents[2] / "firmware"
if str(FIRMWARE) not in sys.path:
    sys.path.insert(0, str(FIRMWARE))
sys.path.insert(0, str(Path(__file__).parent))
