"""How often calibration's 95 % intervals hold the truth: `python tests/benchmarks/calibration.py [RIGS]`.

RIGS (200) hidden simulated rigs, each fired 20 times through the whole firmware, once with one beam,
once with two, once with one beam at two heights. Prints; asserts nothing.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path
from statistics import median

sys.path.insert(0, str(Path(__file__).parents[1] / "calibration"))
from calibrated_rigs import calibrate_hidden  # noqa: E402

CASES = {
    "one beam": {"beams": 1, "heights": 1},
    "two beams": {"beams": 2, "heights": 1},
    "one beam, two heights": {"beams": 1, "heights": 2},
}


def main() -> None:
    rigs = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    for title, case in CASES.items():
        began = time.perf_counter()
        held: dict[str, int] = {}
        errors: dict[str, list[float]] = {}
        told: dict[str, int] = {}
        with tempfile.TemporaryDirectory() as folder:
            for seed in range(rigs):
                found, truth = calibrate_hidden(Path(folder) / f"{seed}.sqlite3", seed, **case)
                for one in found.estimates:
                    low, high = one.interval
                    held[one.name] = held.get(one.name, 0) + (low <= truth[one.name] <= high)
                    errors.setdefault(one.name, []).append(one.error)
                    told[one.name] = told.get(one.name, 0) + one.is_told
        print(f"{title}: {rigs} rigs in {time.perf_counter() - began:.0f} s")
        for name, count in held.items():
            print(
                f"  {name:<11} 95 % interval holds the truth in {100 * count / rigs:5.1f} %; median "
                f"standard error {median(errors[name]):.3g}; told by the edges in {100 * told[name] / rigs:.0f} %"
            )


if __name__ == "__main__":
    main()
