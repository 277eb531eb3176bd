"""How well pictures are matched with shots: `python tests/benchmarks/photographs.py [STUDIOS [WORD]]`.

STUDIOS (500) simulated studios for each case: any offset (also clocks reset to their first day),
drift, 20 % of the pictures missing, 10 % extra frames. WORD: only cases whose title has it. Prints;
asserts nothing.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1] / "photographs"))
from studios import Score, make_studio  # noqa: E402

CASES: dict[str, dict[str, Any]] = {
    "stamps of whole seconds": {},
    "the same, exposures in the EXIF": {"with_exposures": True},
    "stamps of hundredths": {"decimals": 2},
    "whole seconds, nothing missing, nothing extra": {"missing": 0.0, "extra": 0.0},
    "12 shots": {"shots": 12},
    "evenly spaced": {"even": True},
    "evenly spaced, nothing missing, nothing extra": {"even": True, "missing": 0.0, "extra": 0.0},
}


def main() -> None:
    studios = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    word = sys.argv[2] if len(sys.argv) > 2 else ""
    for title, case in CASES.items():
        if word not in title:
            continue
        score = Score()
        began = time.perf_counter()
        for seed in range(studios):
            score.add(make_studio(seed, **case))
        took = 1e3 * (time.perf_counter() - began) / studios
        print(f"{title}: {score.say()} ({took:.0f} ms a studio)", flush=True)


if __name__ == "__main__":
    main()
