"""The long runs, one after the other: what takes too long for CI, where short runs of the same stand in for them.

    python tests/torture/long.py                 # all of them: about half a day
    python tests/torture/long.py soak machine    # these two
    python tests/torture/long.py --list

A run that finds something does not end the others. Status 1 when one has.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
from pathlib import Path

TESTS = Path(__file__).resolve().parents[1]
# Name, and the script in tests/ with its arguments. DEVELOPERS.md says what each proves and how long it takes.
RUNS = {
    "stops": "torture/stops.py --runs 1000",
    "failing": "torture/failing.py",
    "soak": "torture/soak.py --shots 100000 --damage 0.01",
    "histories": "torture/histories.py",
    "emulated": "board/emulated_tests.py",
    "machine": "torture/machine_run.py --minutes 8",
    "mutations": "torture/machine_run.py --mutations",
    "faults": "benchmarks/fault_finding.py",
    "fuzz-host": "torture/fuzz.py host --runs 10000000",
    "fuzz-reader": "torture/fuzz.py reader --runs 10000000",
    "fuzz-step": "torture/fuzz.py step --runs 10000000",
    "fuzz-board": "torture/fuzz.py board --runs 1000000",
    "fuzz-talk": "torture/fuzz.py talk --runs 1000000",
    "fuzz-rig": "torture/fuzz.py rig --runs 1000000",
    "fuzz-sequence": "torture/fuzz.py sequence --runs 1000000",
    "fuzz-recipe": "torture/fuzz.py recipe --runs 1000000",
    "fuzz-exif": "torture/fuzz.py exif --runs 1000000",
    "fuzz-xmp": "torture/fuzz.py xmp --runs 1000000",
    "fuzz-picture": "torture/fuzz.py picture --runs 1000000",
}


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("names", nargs="*", metavar="NAME", help=f"of {', '.join(RUNS)}")
    parser.add_argument("--list", action="store_true", help="print the commands, run nothing")
    args = parser.parse_args()
    unknown = [name for name in args.names if name not in RUNS]
    if unknown:
        parser.error(f"no long run is called {', '.join(unknown)}; there are {', '.join(RUNS)}")
    found = []
    for name in args.names or RUNS:
        script, *options = RUNS[name].split()
        print(f"== {name}: python tests/{RUNS[name]}", flush=True)
        if (
            not args.list
            and subprocess.run([sys.executable, str(TESTS / script), *options]).returncode
        ):
            found.append(name)
    if found:
        print(f"found something: {', '.join(found)}", file=sys.stderr)
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
