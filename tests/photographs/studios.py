"""Simulated studios, invented: a series with its rests, a camera with its clock, pictures lost and added."""

from __future__ import annotations

import math
import random
from dataclasses import dataclass
from pathlib import Path

from beamfall.photos.exif import Photograph
from beamfall.photos.match import TakenShot
from beamfall.workflows.series import jitter_span

EVENING_S = 1_790_000_000.0  # an evening in September 2026, UTC
# 1980, 2000, 2015: where clocks reset to.
FIRST_DAYS_S = (315_532_800.0, 946_684_800.0, 1_420_070_400.0)


@dataclass(frozen=True)
class Studio:
    shots: tuple[TakenShot, ...]
    pictures: tuple[Photograph, ...]
    truth: dict[str, int]  # picture's name -> shot
    offset_s: float
    drift: float


def make_studio(
    seed: int,
    *,
    even: bool = False,
    missing: float = 0.2,
    extra: float = 0.1,
    decimals: int = 0,
    shots: int | None = None,
    with_exposures: bool = False,
    begin_s: float | None = None,
    clock: tuple[float, float] | None = None,
) -> Studio:
    """Draw a studio: rests of the program's own rule, or even ones; all chance from the seed.

    `begin_s`: when it begins, not by chance; `clock`: the camera's offset and drift since EVENING_S,
    to have one camera for several studios.
    """
    draws = random.Random(f"studio {seed}")
    count = (
        shots if shots is not None else round(math.exp(draws.uniform(math.log(20), math.log(200))))
    )
    rest_s = draws.choice((2.0, 3.0, 5.0, 5.0, 8.0, 15.0))
    times, now = [], EVENING_S + draws.uniform(0.0, 86400.0)
    if begin_s is not None:
        now = begin_s
    for _ in range(count):
        times.append(now)
        # The shot itself, the upload, the board's answers: a program is not a metronome.
        now += 0.9 + rest_s + (0.0 if even else draws.random() * jitter_span(rest_s))
        now += 0.0 if even else abs(draws.gauss(0.0, 0.01))
    drift = draws.gauss(0.0, 3e-5)
    offset = draws.choice(
        (
            draws.gauss(0.0, 120.0),  # set by hand
            3600.0 * draws.randint(-12, 12) + draws.gauss(0.0, 30.0),  # another zone
            draws.choice(FIRST_DAYS_S)
            - times[0]
            + draws.uniform(0.0, 7200.0),  # its battery was out
            draws.uniform(-3e8, 3e8),
        )
    )

    since = times[0]
    if clock is not None:
        (offset, drift), since = clock, EVENING_S

    def stamp(when_s: float) -> float:
        camera = when_s + offset + drift * (when_s - since)
        scale = 10**decimals
        return math.floor(camera * scale) / scale

    frames: list[tuple[float, int | None, float]] = []
    for number, begun in enumerate(times, 1):
        if draws.random() >= missing:
            # The curtain opens some 60 ms after the contact, not always alike.
            frames.append((begun + 0.06 + draws.gauss(0.0, 0.015), number, 0.8))
    first, last = times[0] - 60.0, times[-1] + 60.0
    for _ in range(round(extra * count)):
        frames.append((draws.uniform(first, last), None, draws.choice((0.005, 0.02, 0.8, 2.0))))
    frames.sort()
    pictures, truth = [], {}
    for number, (when, shot, exposure) in enumerate(frames, 1):
        name = f"IMG_{number:04d}.JPG"
        pictures.append(
            Photograph(
                Path(name), stamp(when), 10.0**-decimals, "invented camera",
                exposure if with_exposures else None,
            )
        )  # fmt: skip
        if shot is not None:
            truth[name] = shot
    taken = tuple(TakenShot(number, begun) for number, begun in enumerate(times, 1))
    return Studio(taken, tuple(pictures), truth, offset, drift)


@dataclass
class Score:
    studios: int = 0
    refused: int = 0
    true_pairs: int = 0
    given: int = 0
    right: int = 0
    certain: int = 0
    certain_wrong: int = 0
    wrong_offset: int = 0

    def add(self, studio: Studio) -> None:
        from beamfall.photos.match import match_pictures

        (found,) = match_pictures(studio.pictures, studio.shots)
        self.studios += 1
        self.refused += found.refusal is not None
        self.true_pairs += len(studio.truth)
        for pair in found.pairs:
            is_right = studio.truth.get(pair.picture.path.name) == pair.shot
            self.given += 1
            self.right += is_right
            self.certain += pair.is_certain
            self.certain_wrong += pair.is_certain and not is_right
        wrong = [p for p in found.pairs if studio.truth.get(p.picture.path.name) != p.shot]
        self.wrong_offset += len(wrong) > 0.2 * max(1, len(found.pairs))

    def say(self) -> str:
        return (
            f"{self.studios} studios, {self.refused} refused; of {self.true_pairs} true pairs "
            f"{100 * self.right / max(1, self.true_pairs):.2f} % given; of {self.given} given "
            f"{100 * self.right / max(1, self.given):.2f} % right; {self.certain} called certain, "
            f"{self.certain_wrong} of them wrong; wrong offset in {self.wrong_offset}"
        )
