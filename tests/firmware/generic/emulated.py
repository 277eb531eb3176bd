"""The whole firmware with the generic port on an emulated RP2040, measured from outside the firmware.

    python tests/firmware/generic/emulated.py [--shots 13] [--only idle|load]

prints the distributions; needs BEAMFALL_EMULATOR and BEAMFALL_IMAGE as tests/board does (DEVELOPERS.md). The rig at
the pins is tests/board/emulated_rig.py: drops answer valve pulses, light answers flash contacts. Under load the host
asks without a pause and the board collects garbage after every 2 kB.
"""

from __future__ import annotations

import argparse
import os
import statistics
import sys
import time
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "board"))

from emulated_board import emulated_board  # noqa: E402

DELAYS_S = {"flash2": 5e-3, "flash3": 12e-3}  # flash 1 follows as early as the board takes it
DROPS = 16
PERIOD_S = 0.025


def make_series(earliest_s: float) -> Any:
    from beamfall.setup.sequence import Row, Sequence

    rows = [Row("release", 0, "valve1", 0.002 + PERIOD_S * n, 0.001) for n in range(DROPS)]
    rows += [
        Row("beam1", n + 1, flash, delay, 0.002)
        for n in range(DROPS)
        for flash, delay in {"flash1": earliest_s, **DELAYS_S}.items()
    ]
    return Sequence(rows=tuple(rows), window_s=1.0, tail_s=0.01, blanking_s=0.021)


def measure(
    emulator: Path, image: Path, *, shots: int, load: bool, quiet_s: float = 25.0, longest_s: float = 1e9
) -> dict[str, Any]:  # fmt: skip
    """Errors in us: edge to flash by delay, rows at the release, stamps of the beam; and what the board reported."""
    from beamfall.board import Board
    from beamfall.link.session import LinkTiming

    outcomes = []
    timing = LinkTiming(first_s=10, longest_s=30, hello_tries=8)
    around = "loaded_often" if load else None
    with (
        emulated_board(emulator, image, profile="pico_generic", around=around) as emulated,
        Board.connect(emulated.url, timing=timing) as board,
    ):
        info = board.info
        begun = time.monotonic()
        for number in range(shots):
            if time.monotonic() - begun > longest_s:
                break
            ticket = board.arm(make_series(info.to_seconds(info.earliest_beam_ticks)))
            board.release(ticket)
            if not load:
                time.sleep(quiet_s)  # idle means that the host asks nothing either
            while load and board.status().activity.name == "shot":
                pass
            outcome = board.wait_for(ticket)
            board.settle()
            done = outcome.done
            print(
                f"shot {number}: {done.cause.name}, {done.edges} edges, lost {done.edges_lost}, "
                f"late {done.rows_late}, worst {done.worst_late_ticks}",
                file=sys.stderr, flush=True,
            )  # fmt: skip
            outcomes.append(outcome)
    result = emulated.result
    names = {signal: int(pin) for pin, signal in result["scenario"]["outputs"].items()}
    beam = next(int(pin) for pin, signal in result["scenario"]["inputs"].items() if signal == 9)
    earliest_s = info.to_seconds(info.earliest_beam_ticks)
    return analyse(result["transitions"], names, beam, outcomes, earliest_s) | {
        "speed": result["speed"],
        "earliest_beam": info.earliest_beam_ticks,
        "earliest": info.earliest_ticks,
    }


def analyse(
    transitions: list[Any], names: dict[int, int], beam: int, outcomes: list[Any], earliest_s: float
) -> dict[str, Any]:
    """Compare the pins with the plan on the emulator's clock. No pin shows a shot's zero: its first stamp gives it."""
    errors: dict[str, list[float]] = {}

    def ons(pin: int) -> list[float]:
        return [t / 1e3 for t, g, v, _ in transitions if g == pin and v == 1]

    darks = ons(beam)
    for number, delay in enumerate((earliest_s, *DELAYS_S.values())):
        flashes = ons(names[4 + number])
        assert len(flashes) == len(darks), (number, len(flashes), len(darks))
        errors[f"edge to flash, {delay * 1e3:g} ms"] = [
            flash - dark - delay * 1e6 for flash, dark in zip(flashes, darks, strict=True)
        ]
    seen = [[e for e in o.edges if e.level == 1] for o in outcomes]
    valves = ons(names[1])
    rows, stamps = [], []
    for shot, edges in enumerate(seen):
        first = valves[DROPS * shot]
        for n, at in enumerate(valves[DROPS * shot : DROPS * (shot + 1)]):
            rows.append(at - first - PERIOD_S * 1e6 * n)
        # The board's stamp of the first valve row stands for its zero on the emulator's clock.
        zero = first - next(e.ticks for e in edges if e.signal.name == "valve1")
        beams = [e.ticks for e in edges if e.signal.name == "beam1"]
        stamps += [
            s + zero - t
            for s, t in zip(beams, darks[DROPS * shot : DROPS * (shot + 1)], strict=True)
        ]
    errors["rows at the release"] = rows
    errors["stamps of the beam"] = stamps
    return {
        "errors": errors,
        "worst_late": [o.done.worst_late_ticks for o in outcomes],
        "rows_late": sum(o.done.rows_late for o in outcomes),
        "edges_lost": sum(o.done.edges_lost for o in outcomes),
    }


def print_table(title: str, found: dict[str, Any]) -> None:
    print(
        f"{title}: {found['edges_lost']} edges lost, {found['rows_late']} rows reported late, worst "
        f"{max(found['worst_late'])} us; earliest row {found['earliest']} us, at a beam {found['earliest_beam']} us; "
        f"x{found['speed']} of life"
    )
    for name, values in found["errors"].items():
        ordered = sorted(values)
        p99 = ordered[min(len(ordered) - 1, round(0.99 * len(ordered)))]
        print(
            f"  {name:24} n {len(values):4}  min {ordered[0]:7.1f}  median {statistics.median(values):7.1f}"
            f"  p99 {p99:7.1f}  max {ordered[-1]:7.1f} us"
        )


def main() -> None:
    parser = argparse.ArgumentParser(description="Measure the generic port on an emulated board.")
    parser.add_argument("--shots", type=int, default=13)
    parser.add_argument("--only", choices=["idle", "load"])
    parser.add_argument(
        "--quiet", type=float, default=25.0, help="real seconds that an idle shot is left alone"
    )
    parser.add_argument(
        "--longest", type=float, default=1e9, help="real seconds after which no further shot begins"
    )
    options = parser.parse_args()
    for title in [options.only] if options.only else ["idle", "load"]:
        found = measure(
            Path(os.environ["BEAMFALL_EMULATOR"]), Path(os.environ["BEAMFALL_IMAGE"]), shots=options.shots,
            load=title == "load", quiet_s=options.quiet, longest_s=options.longest,
        )  # fmt: skip
        print_table(title, found)


if __name__ == "__main__":
    main()
