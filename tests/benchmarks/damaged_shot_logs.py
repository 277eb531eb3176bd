"""How commands take damaged logs: `python tests/benchmarks/damaged_shot_logs.py [DAMAGES] [FIRST_SEED]`.

Damages a small log DAMAGES times (2,000 unless said), each time in another way, and runs every command that reads or
writes the log on it, in this process. Each must end with status 0, 1 or 2 and words of its own, never as a fault of the
program. Prints what did not, with the seed that makes it again, and counts.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "support"))

from damaged_logs import fill, try_damage


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 2000
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    began = time.perf_counter()
    kinds: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        fill(folder / "whole.sqlite3")
        whole = (folder / "whole.sqlite3").read_bytes()
        for seed in range(first, first + count):
            for text in try_damage(whole, folder, seed):
                print(text, flush=True)
                kinds["wrong"] += 1
            kinds["damages"] += 1
    took = time.perf_counter() - began
    print(f"{kinds['damages']} damages, {kinds['wrong']} commands went wrong, {took:.0f} s")


if __name__ == "__main__":
    main()
