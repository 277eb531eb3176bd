"""The firmware's and these tests' own modules, importable by name."""

import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
for folder in (HERE.parents[1] / "firmware", HERE.parent / "firmware", HERE):
    if str(folder) not in sys.path:
        sys.path.insert(0, str(folder))
