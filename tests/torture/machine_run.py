"""The state machine for longer than in CI, from seeds.

    python tests/torture/machine_run.py --minutes 8          # histories that nobody has seen, then the figures
    python tests/torture/machine_run.py --mutations          # which fault is found after how many histories
    python tests/torture/machine_run.py --minutes 2 --seed 7 --shrink

Every chunk of histories has its seed; a find says which, and `--seed` begins there. `--shrink` makes the find short,
which may take minutes. Status 1 when something was found, or a mutation was not.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import sys
import time
from pathlib import Path

for _folder in (Path(__file__).resolve().parent, Path(__file__).resolve().parents[2] / "host"):
    if str(_folder) not in sys.path:
        sys.path.insert(0, str(_folder))

import hypothesis.core  # noqa: E402
import pytest  # noqa: E402
from hypothesis import HealthCheck, Phase, settings  # noqa: E402
from hypothesis.stateful import run_state_machine_as_test  # noqa: E402
from machine_host import totals  # noqa: E402
from machine_mutations import MUTATIONS  # noqa: E402
from machine_rules import Torture  # noqa: E402

HISTORIES = 300  # of a test in CI
MORE = 4  # times as many, where a break is looked for
_CHUNK = 200


def make_settings(histories: int, *, shrink: bool = False, derandomize: bool = False) -> settings:
    """Figures of one run: how many histories of 30 steps."""
    return settings(
        max_examples=histories,
        phases=[Phase.generate, Phase.shrink] if shrink else [Phase.generate],
        stateful_step_count=30,
        deadline=None,
        database=None,
        derandomize=derandomize,
        report_multiple_bugs=False,
        suppress_health_check=list(HealthCheck),
    )


def run_until_found() -> None:
    """Run histories until one breaks a promise: those of CI, then `MORE` times as many others, the same every time.

    Which histories hypothesis makes also depends on the modules that are loaded, so that a break may lie behind the
    first ones in one run of the tests and not in another.
    """
    run_state_machine_as_test(Torture, settings=make_settings(HISTORIES, derandomize=True))
    before = hypothesis.core.global_force_seed
    try:
        for seed in range(MORE):
            hypothesis.core.global_force_seed = seed
            run_state_machine_as_test(Torture, settings=make_settings(HISTORIES))
    finally:
        hypothesis.core.global_force_seed = before


def run_for(minutes: float, seed: int, shrink: bool) -> bool:
    """Whether every history kept its promises."""
    begun_s, seconds = time.monotonic(), 60 * minutes
    while time.monotonic() - begun_s < seconds:
        hypothesis.core.global_force_seed = seed
        try:
            run_state_machine_as_test(Torture, settings=make_settings(_CHUNK, shrink=shrink))
        except BaseException:
            print(f"found with --seed {seed}", file=sys.stderr)
            raise
        seed += 1
    print(f"{time.monotonic() - begun_s:.0f} s, {time.process_time():.0f} s of them on a core")
    print(", ".join(f"{count} {what}" for what, count in sorted(totals.items())))
    return True


def run_mutations() -> bool:
    """Whether every mutation was found, by an assertion, within as many histories as CI gives it."""
    found = 0
    for name, mutate in MUTATIONS.items():
        totals.clear()
        with pytest.MonkeyPatch.context() as patch:
            mutate(patch)
            outcome = "not found"
            try:
                with contextlib.redirect_stderr(io.StringIO()):
                    run_until_found()
            except AssertionError as error:
                found += 1
                outcome = str(error).partition("\n")[0][:90]
            except Exception as error:  # noqa: BLE001 - told, and not counted
                outcome = f"not found, but {type(error).__name__}: {error}"[:90]
        print(f"{totals['histories']:4} {name}: {outcome}", flush=True)
    print(f"{found} of {len(MUTATIONS)} mutations found")
    return found == len(MUTATIONS)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--minutes", type=float, default=8.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--shrink", action="store_true")
    parser.add_argument("--mutations", action="store_true")
    args = parser.parse_args()
    good = run_mutations() if args.mutations else run_for(args.minutes, args.seed, args.shrink)
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
