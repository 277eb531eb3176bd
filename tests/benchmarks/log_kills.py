"""kill -9 at random moments of a running series: `python tests/benchmarks/log_kills.py [KILLS]` (200).

The board is simulated in this process and lives on; the program at it is killed and begun again.
Prints; asserts nothing. POSIX only.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "shots"))
from killed_series import kill_series  # noqa: E402


def main() -> None:
    kills = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    with tempfile.TemporaryDirectory() as folder:
        began = time.perf_counter()
        tally = kill_series(Path(folder) / "shots.sqlite3", kills)
        print(f"{tally.say()} ({time.perf_counter() - began:.0f} s)")


if __name__ == "__main__":
    main()
