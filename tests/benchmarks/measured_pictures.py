"""How well pictures are measured: `python tests/benchmarks/measured_pictures.py [RIGS [PIXELS [WORLD]]]`.

RIGS (120) simulated rigs, five pictures each, PIXELS (600) high, under every condition of
`tests/support/photographed_rigs.py`: tilt of ±3°, gradients and gels, dyed and cloudy liquids, noise, drops half out
of the frame, and nothing in it. WORLD is any word: another word gives other rigs, so a reader that was mended after a
look at some pictures is judged on others. Pictures of a rig are measured together, as `photos measure` does; its
umbrellas are dated alone, and as a series of known delays. It only prints.
"""

from __future__ import annotations

import math
import random
import sys
import time
from collections import Counter, defaultdict
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "support"))
from photographed_rigs import Shot, photograph  # noqa: E402

from beamfall.photos.measure import Measured, Scene, date_series, measure_pixels  # noqa: E402
from beamfall.photos.measure.series import share_surface  # noqa: E402

_MM, _SHARE = 0.5, 0.007  # allowed: the larger of these, the second of the picture's height
_KNOWN = 0.03  # relative error with which drop and meeting speed are known


class Score:
    """Counts and errors by name."""

    def __init__(self) -> None:
        self.counts: Counter[str] = Counter()
        self.good: defaultdict[str, list[bool]] = defaultdict(list)

    def add_rig(self, shots: list[Shot]) -> None:
        draws = random.Random(f"known {shots[0].rig}")
        factors = draws.gauss(1.0, _KNOWN), draws.gauss(1.0, _KNOWN)
        scenes = [_know(shot, *factors) for shot in shots]
        seen = [
            measure_pixels(shot.pixels, scene) for shot, scene in zip(shots, scenes, strict=True)
        ]
        shared = share_surface(seen)
        for place, (shot, scene) in enumerate(zip(shots, scenes, strict=True)):
            if shared is not None and "surface" not in seen[place].marks:
                seen[place] = measure_pixels(shot.pixels, replace(scene, surface_row=shared))
            self.add(shot, seen[place])
        timed = [place for place, shot in enumerate(shots) if shot.delay_ms is not None]
        if timed:
            series = [(seen[place], shots[place].delay_ms or 0.0) for place in timed]
            for place, one in zip(timed, date_series(series, scenes[timed[0]]), strict=True):
                self.add_age("age in a series", shots[place], one)

    def add(self, shot: Shot, seen: Measured) -> None:
        truth = shot.truth
        allowed = max(_MM * truth.per_mm, _SHARE * len(shot.pixels))
        self.counts["pictures"] += 1
        self.counts["stage not sure"] += seen.stage is None
        if seen.stage is not None and seen.stage != truth.stage:
            self.counts["sure of a wrong stage"] += 1
            print(
                f"rig {shot.rig}: a {truth.stage} ({truth.kind}) is read as {seen.stage}",
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
        self.add_age("age alone", shot, seen)

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


def _know(shot: Shot, by_drop: float, by_speed: float) -> Scene:
    """What a photographer knows beforehand: the scale, and drop and speed to 3 %."""
    drop_mm = shot.scene["columns"][0]["diameter_mm"]
    return Scene(
        scale_px_m=1e3 * shot.truth.per_mm,
        drop_diameter_m=drop_mm * 1e-3 * by_drop,
        drop_diameter_error=_KNOWN,
        meeting_speed_m_s=(shot.truth.meeting_m_s or 3.6) * by_speed,
        meeting_speed_error=_KNOWN,
    )


def main() -> None:
    rigs = int(sys.argv[1]) if len(sys.argv) > 1 else 120
    pixels = int(sys.argv[2]) if len(sys.argv) > 2 else 600
    world = sys.argv[3] if len(sys.argv) > 3 else "judged"
    score, waiting = Score(), []
    for shot in photograph(rigs, 5, world=world, pixels=pixels):
        if waiting and waiting[0].rig != shot.rig:
            score.add_rig(waiting)
            waiting = []
        waiting.append(shot)
    if waiting:
        score.add_rig(waiting)
    print(score.say())
    large = np.kron(waiting[0].pixels, np.ones((10, 10, 1), np.uint8)) if waiting else None
    if large is not None:
        began = time.process_time()
        measure_pixels(large, Scene())
        megapixels = large.shape[0] * large.shape[1] / 1e6
        print(
            f"{megapixels:.0f} megapixels: {time.process_time() - began:.2f} s of CPU, without decoding"
        )


if __name__ == "__main__":
    main()
