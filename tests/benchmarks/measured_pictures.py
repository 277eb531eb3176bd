"""How well pictures are measured: `python tests/benchmarks/measured_pictures.py [RIGS [PIXELS [WORLD [FOLDER]]]]`.

RIGS (120) simulated rigs, five pictures each, PIXELS (600) high, under every condition of
`tests/support/photographed_rigs.py`: tilt of ±3°, gradients and gels, dyed and cloudy liquids, noise, drops half out
of the frame, and nothing in it; every second camera is close. WORLD is any word: another word gives other rigs, so a
reader that was mended after a look at some pictures is judged on others; with a word that begins with `high` the
cameras look down by 10 to 30°, with one that begins with `small` the drops are 2 to 3 mm wide instead of 3.2 to 4.6.
FOLDER keeps the pictures for another run. Pictures of a rig are measured together, as `photos measure` does; its
umbrellas are dated alone, and as a series of known delays. All of it is done twice: from the pictures alone, and with
the beam edges that the log has of each shot. Those say where its drops would be, as far as the rig file is right:
heights, volumes and first speeds of the simulated rigs differ from it as `planning.unknowns` says. It only prints.
"""

from __future__ import annotations

import math
import pickle
import sys
import time
from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "support"))
from photographed_rigs import LEVEL_DEG, Shot, photograph  # noqa: E402

from beamfall.photos.measure import Measured, Scene, date_series, measure_pixels  # noqa: E402
from beamfall.photos.measure.series import lacks, share_scene  # noqa: E402
from beamfall.planning.in_flight import expect_drops  # noqa: E402
from beamfall.planning.umbrella import find_meeting  # noqa: E402

_MM, _SHARE = 0.5, 0.007  # allowed: the larger of these, the second of the picture's height


class Score:
    """Counts and errors by name."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.counts: Counter[str] = Counter()
        self.good: defaultdict[str, list[bool]] = defaultdict(list)

    def add_rig(self, shots: list[Shot], *, with_log: bool) -> None:
        scenes = [_know(shot) for shot in shots]
        if with_log:
            scenes = [
                replace(scene, expected=expect_drops(shot.file, shot.seen))
                for shot, scene in zip(shots, scenes, strict=True)
            ]
            self.add_expected(shots, scenes)
        seen = [
            measure_pixels(shot.pixels, scene) for shot, scene in zip(shots, scenes, strict=True)
        ]
        first = list(seen)
        for place, (shot, scene) in enumerate(zip(shots, scenes, strict=True)):
            again = share_scene(first, scene)
            alone = seen[place]
            if lacks(alone, again):
                seen[place] = measure_pixels(shot.pixels, again)
            self.add(shot, seen[place])
            self.add_age("age alone", shot, alone)
        timed = [place for place, shot in enumerate(shots) if shot.delay_ms is not None]
        if timed:
            series = [(seen[place], shots[place].delay_ms or 0.0) for place in timed]
            again = share_scene(first, scenes[timed[0]])
            for place, one in zip(timed, date_series(series, again), strict=True):
                self.add_age("age in a series", shots[place], one)

    def add_expected(self, shots: list[Shot], scenes: list[Scene]) -> None:
        """How far the last drop is from where the log expects it."""
        for shot, scene in zip(shots, scenes, strict=True):
            last = scene.expected[-1]
            assert last is not None
            if len(scene.expected) > 1:
                off = 1e3 * last.height_m - shot.truth.heights_mm[-1]
                self.good["drop 2 within 1.64 standard errors of where it is expected"].append(
                    abs(off) <= 1.645e3 * last.error_m
                )

    def add(self, shot: Shot, seen: Measured) -> None:
        truth = shot.truth
        allowed = max(_MM * truth.per_mm, _SHARE * len(shot.pixels))
        self.counts["pictures"] += 1
        self.counts["stage not sure"] += seen.stage is None
        if seen.stage is not None and seen.stage != truth.stage:
            self.counts["sure of a wrong stage"] += 1
            print(
                f"{self.name}: rig {shot.rig}: a {truth.stage} ({truth.kind}) is read as {seen.stage}",
                flush=True,
            )
        self.good["stage"].append(seen.stage == truth.stage)
        places = {"surface": truth.surface_row}
        if truth.stage in ("jet", "before", "contact", "after") and truth.tip_row is not None:
            places["tip"] = truth.tip_row
        if truth.stage in ("before", "contact") and truth.lowest_row is not None:
            places["drop"] = truth.lowest_row
        for name, row in places.items():
            if name not in seen.marks:
                self.counts[f"{name} not given"] += 1
                continue
            self.good[f"{name} where given"].append(abs(seen.marks[name].row - row) <= allowed)

    def add_age(self, name: str, shot: Shot, seen: Measured) -> None:
        if shot.truth.stage != "after" or shot.truth.age_ms is None:
            return
        age = seen.since_contact_ms
        off = math.inf if age is None else abs(age.value - shot.truth.age_ms)
        self.good[f"{name} within 1 ms"].append(off <= 1.0)
        if age is not None:
            self.good[f"{name} within 1.64 of its standard errors"].append(off <= 1.645 * age.error)

    def say(self) -> str:
        lines = [f"{name}: {count}" for name, count in self.counts.items()]
        lines += [
            f"{name}: {100 * np.mean(good):.1f} % of {len(good)}"
            for name, good in self.good.items()
        ]
        return "\n".join(lines)


def _know(shot: Shot) -> Scene:
    """What is known beforehand: the scale, and what the rig file says of the drop and of how fast it meets the jet."""
    meeting = find_meeting(shot.file)
    return Scene(
        scale_px_m=1e3 * shot.truth.per_mm,
        drop_diameter_m=meeting.diameter_m,
        drop_diameter_error=meeting.diameter_error,
        meeting_speed_m_s=meeting.speed_m_s,
        meeting_speed_error=meeting.speed_error,
    )


def _photograph(rigs: int, pixels: int, world: str, folder: Path | None) -> Iterator[list[Shot]]:
    """The pictures of one rig after another, those in the folder as they are there."""
    for number in range(rigs):
        file = None if folder is None else folder / f"{world}-{number}-{pixels}.pickle"
        if file is not None and file.exists():
            yield pickle.loads(file.read_bytes())
            continue
        angles = (10.0, 30.0) if world.startswith("high") else LEVEL_DEG
        shots = list(photograph([number], 5, world=world, pixels=pixels, down_deg=angles))
        if file is not None:
            file.write_bytes(pickle.dumps(shots))
        yield shots


def main() -> None:
    rigs = int(sys.argv[1]) if len(sys.argv) > 1 else 120
    pixels = int(sys.argv[2]) if len(sys.argv) > 2 else 600
    world = sys.argv[3] if len(sys.argv) > 3 else "judged"
    folder = Path(sys.argv[4]) if len(sys.argv) > 4 else None
    alone, logged, last = Score("the pictures alone"), Score("with the log"), None
    for shots in _photograph(rigs, pixels, world, folder):
        if shots:
            alone.add_rig(shots, with_log=False)
            logged.add_rig(shots, with_log=True)
            last = shots[0].pixels
    for score in (alone, logged):
        print(f"\n{score.name}\n{score.say()}")
    if last is not None:
        large = np.kron(last, np.ones((10, 10, 1), np.uint8))
        began = time.process_time()
        measure_pixels(large, Scene())
        megapixels = large.shape[0] * large.shape[1] / 1e6
        print(
            f"{megapixels:.0f} megapixels: {time.process_time() - began:.2f} s of CPU, without decoding"
        )


if __name__ == "__main__":
    main()
