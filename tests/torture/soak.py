"""Soak: many shots over a line that damages frames. Zero lost, zero doubled, memory flat.

    python tests/torture/soak.py --shots 100000 --damage 0.01

The shots are counted at the pins. `--damage` is the share of frames, each way, that are lost, changed, cut or doubled.
Ends with one line of figures, and with status 1 where something does not fit.
"""

from __future__ import annotations

import argparse
import random
import resource
import sys
import time
from collections import Counter
from pathlib import Path

for _folder in (Path(__file__).resolve().parent, Path(__file__).resolve().parents[2] / "host"):
    if str(_folder) not in sys.path:
        sys.path.insert(0, str(_folder))

from line import HZ, MS, BadLine, TruthRig  # noqa: E402

from beamfall.board import Board  # noqa: E402
from beamfall.errors import BeamfallError, ReleaseUnknown  # noqa: E402
from beamfall.link import Link, LinkTiming  # noqa: E402
from beamfall.setup.sequence import Row, Sequence  # noqa: E402
from beamfall.sim.embedded import SimulatedTransport  # noqa: E402

_DAMAGE = ("lose", "flip", "cut", "add", "double")
_BEAM1, _VALVE1, _FLASH1 = 9, 1, 4
_REPORTS_EVERY = 10


class NoisyLine(BadLine):
    """Damages that share of all frames, each way, at random from a seed."""

    def __init__(self, inner: SimulatedTransport, share: float, seed: int) -> None:
        super().__init__(inner)
        self._share = share
        self._draws = random.Random(seed)
        self.frames = 0
        self.damaged = 0

    def _pass(self, frame, plan, held):  # type: ignore[no-untyped-def]
        self.frames += 1
        if self._draws.random() < self._share:
            self.damaged += 1
            plan.append((self._draws.choice(_DAMAGE), self._draws.randrange(1000)))
        return super()._pass(frame, plan, held)


class CountingRig(TruthRig):
    """Keeps only counts, so that its own memory use stays flat."""

    def __init__(self) -> None:
        super().__init__()
        self.fired: Counter[int] = Counter()

    def drive(self, signal: int, level: int, ticks: int) -> None:
        self.fired[signal] += level
        super().drive(signal, level, ticks)
        self.changes.clear()
        self.pulses.clear()

    def next_edge(self, until: int) -> tuple[int, int, int] | None:
        edge = super().next_edge(until)
        self.changes.clear()
        return edge


def _memory_mb() -> float:
    """Resident memory now (on Linux), otherwise the peak."""
    try:
        pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
        return pages * resource.getpagesize() / 2**20
    except OSError:
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def soak(shots: int, share: float, seed: int = 1, progress: bool = False) -> dict[str, float]:
    """Fire `shots` shots; return the figures. Raises AssertionError where the record and the pins differ."""
    rig = CountingRig()
    line = NoisyLine(SimulatedTransport(rig, seed=seed), share, seed)
    link = Link(line, timing=LinkTiming(tries=12, hello_tries=12), acknowledge_on_receipt=False)
    link.open()
    board = Board(link)
    sequence = Sequence(
        rows=(
            Row("release", 0, "valve1", 0.001, 0.004),
            Row("release", 0, "valve1", 0.020, 0.004),
            Row("beam1", 2, "flash1", 0.010, 0.001),
        ),
        window_s=0.2,
        tail_s=0.02,
    )
    began = time.monotonic()
    early_mb = 0.0
    fired = unknown = incomplete = 0
    numbers: list[int] = []
    last = 0
    for shot in range(1, shots + 1):
        zero = line.inner._channel.now
        for offset in (60, 100):
            rig.plan(zero + offset * MS, _BEAM1, 1)
            rig.plan(zero + (offset + 2) * MS, _BEAM1, 0)
        ticket = board.arm(sequence)
        try:
            board.release(ticket)
        except ReleaseUnknown:
            unknown += 1
            continue
        outcome = board.wait_for(ticket)
        assert outcome.done.release == last + 1, f"shot {outcome.done.release} came after {last}"
        last = outcome.done.release
        incomplete += not outcome.complete
        fired += 1
        # By chance of repeats the drops may fall before the release or too late: then it is missed, and said so.
        state = outcome.done.state.name
        edges = [edge for edge in outcome.edges if edge.signal.name == "flash1" and edge.level]
        assert len(edges) == (state == "fired"), outcome
        numbers.append(int(state == "fired"))
        board.settle()
        rig._events.clear()
        rig._levels.clear()
        board.sleep(0.1)
        if shot == max(1, shots // 10):
            early_mb = _memory_mb()
        if progress and shot % max(1, shots // _REPORTS_EVERY) == 0:
            print(
                f"{shot} shots, {time.monotonic() - began:.0f} s, {_memory_mb():.1f} MiB",
                flush=True,
            )
    assert rig.fired[_VALVE1] == 2 * fired, (
        f"{rig.fired[_VALVE1]} openings at the pins, {fired} shots in the record"
    )
    assert rig.fired[_FLASH1] == sum(numbers), (
        f"{rig.fired[_FLASH1]} flashes at the pins, {sum(numbers)} in the record"
    )
    counters = board.counters
    figures = {
        "shots": fired,
        "lost": shots - fired - unknown,
        "doubled": rig.fired[_VALVE1] // 2 - fired,
        "unknown": unknown,
        "incomplete": incomplete,
        "flashed": sum(numbers),
        "frames": line.frames,
        "damaged": line.damaged,
        "retransmissions": counters.retransmissions,
        "reports_repeated": counters.reports_repeated,
        "seconds": time.monotonic() - began,
        "virtual_hours": (rig.base + line.inner._channel.now) / HZ / 3600,
        "memory_early_mb": early_mb,
        "memory_mb": _memory_mb(),
    }
    board.close()
    line.inner.close()
    return figures


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--shots", type=int, default=100_000)
    parser.add_argument("--damage", type=float, default=0.01, help="share of the frames, each way")
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    try:
        figures = soak(options.shots, options.damage, options.seed, progress=True)
    except (AssertionError, BeamfallError) as error:
        print(f"failed: {error}")
        return 1
    words = [
        f"{name} {value:.1f}" if isinstance(value, float) else f"{name} {value}"
        for name, value in figures.items()
    ]
    print(", ".join(words))
    return int(figures["lost"] != 0 or figures["doubled"] != 0)


if __name__ == "__main__":
    sys.exit(main())
