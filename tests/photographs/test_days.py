"""A log of several days, pictures of one of them or of several: invented studios one after another."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from studios import EVENING_S, Studio, make_studio
from tiers import in_full

from beamfall.photos.clock_fit import Doubt
from beamfall.photos.match import CameraMatch, TakenShot, match_pictures

DAY_S = 86400.0


def make_days(days: tuple[float, ...], seed: int, ppm: float = 0.0, **kind: Any) -> list[Studio]:
    """A studio of 40 shots on each day, one camera for all; shots and pictures are numbered on."""
    found: list[Studio] = []
    for number, day in enumerate(days):
        studio = make_studio(
            seed + number, shots=40, begin_s=EVENING_S + day * DAY_S, clock=(7200.3, ppm * 1e-6), **kind
        )  # fmt: skip
        first = 40 * number
        found.append(
            dataclasses.replace(
                studio,
                shots=tuple(TakenShot(first + one.shot, one.begun_s) for one in studio.shots),
                pictures=tuple(
                    dataclasses.replace(one, path=Path(f"day-{number}-{one.path.name}"))
                    for one in studio.pictures
                ),
                truth={f"day-{number}-{name}": first + n for name, n in studio.truth.items()},
            )
        )
    return found


def match(pictures: list[Studio], log: list[Studio]) -> tuple[CameraMatch, dict[str, int]]:
    truth = {name: shot for studio in pictures for name, shot in studio.truth.items()}
    (found,) = match_pictures(
        [one for studio in pictures for one in studio.pictures],
        [one for studio in log for one in studio.shots],
    )
    return found, truth


@dataclasses.dataclass
class Tally:
    true: int = 0
    given: int = 0
    right: int = 0
    refused: int = 0

    def add(self, found: CameraMatch, truth: dict[str, int]) -> None:
        self.true += len(truth)
        self.given += len(found.pairs)
        self.right += count_right(found, truth)
        self.refused += found.refusal is not None


def count_right(found: CameraMatch, truth: dict[str, int]) -> int:
    return sum(truth.get(pair.picture.path.name) == pair.shot for pair in found.pairs)


@pytest.mark.parametrize(
    "days", [(0.0, 1.0), *in_full((0.0, 7.0), (0.0, 2.0, 9.0, 26.0), (0.0, 0.05))]
)
@pytest.mark.parametrize("which", [0, *in_full(-1)])
def test_pictures_of_one_day_in_a_log_of_several(days: tuple[float, ...], which: int) -> None:
    tally = Tally()
    for seed in range(100, 600, 100):
        log = make_days(days, seed)
        tally.add(*match([log[which]], log))
    assert tally.refused == 0
    # As without other days: over 500 studios 98.4 % of the pairs are given and 99.6 % of them right.
    assert tally.right >= 0.95 * tally.true and tally.right >= 0.98 * tally.given


@pytest.mark.parametrize("ppm", in_full(60.0, 0.0, -90.0))
def test_pictures_of_several_days_with_one_drifting_clock(ppm: float) -> None:
    """90 ppm over 26 days are 202 s: far more than from one shot to the next."""
    tally = Tally()
    for seed in range(1000, 1300, 100):
        log = make_days((0.0, 1.0, 4.0, 26.0), seed, ppm)
        found, truth = match(log, log)
        tally.add(found, truth)
        assert found.clock is not None
        assert found.clock.best.drift * 1e6 == pytest.approx(ppm, abs=3.0)
    assert tally.refused == 0
    assert tally.right >= 0.95 * tally.true and tally.right >= 0.98 * tally.given


@pytest.mark.parametrize("seed", [2000, *in_full(2100, 2200)])
def test_an_even_evening_is_refused_whatever_other_days_there_are(seed: int) -> None:
    """One shot's shift in it is a drift that the other evening cannot exclude."""
    log = make_days((0.0, 1.0, 2.0), seed, even=True)
    found, _ = match([log[1]], log)
    assert found.refusal is not None and found.pairs == ()


@pytest.mark.full
def test_an_even_evening_beside_an_uneven_one_is_refused() -> None:
    for seed in range(3000, 3300, 100):
        uneven = make_days((0.0,), seed)[0]
        even = make_days((0.0, 1.0), seed, even=True)[1]
        found, _ = match([uneven, even], [uneven, even])
        assert found.refusal is not None and found.pairs == ()
        assert found.clock is not None and found.clock.doubt is Doubt.TWO_FIT
        assert found.clock.shared > 25  # the uneven evening's


@pytest.mark.parametrize("seed", [4000, *in_full(4100, 4200)])
def test_a_folder_with_other_pictures_of_other_weeks(seed: int) -> None:
    """A card holds holidays too, in bursts of a second."""
    log = make_days((0.0, 1.0), seed)
    today = log[1]
    holiday = [
        dataclasses.replace(
            today.pictures[0], path=Path(f"holiday-{week}-{n}.jpg"),
            taken_s=today.pictures[0].taken_s - week * 7 * DAY_S + 13.0 * (n // 6),
        )
        for week in (1, 3)
        for n in range(60)
    ]  # fmt: skip
    (found,) = match_pictures(
        [*holiday, *today.pictures], [one for studio in log for one in studio.shots]
    )
    assert found.refusal is None
    assert count_right(found, today.truth) >= 0.9 * len(today.truth)
    assert {one.path.name for one in holiday} <= {one.path.name for one in found.extra}


@pytest.mark.full
def test_a_month_of_shots_costs_little_more_than_the_day_itself(
    count_calls: Callable[[Callable[[], object]], int],
) -> None:
    """1000 shots over 27 days took 250 times as long where drift was tried over the whole log."""
    log = make_days(tuple(3.0 * n for n in range(10)), 5000)
    log = [part for turn in range(3) for part in log][:25]  # the same days again, shots doubled
    shots = sorted((one for studio in log for one in studio.shots), key=lambda one: one.begun_s)
    shots = [TakenShot(n, one.begun_s + 0.37 * (n % 3)) for n, one in enumerate(shots)]
    pictures, day = log[4].pictures, log[4].shots
    match_pictures(pictures, day)  # what is loaded once is not counted
    month_calls = count_calls(lambda: match_pictures(pictures, shots))
    assert 0 < month_calls < 10 * count_calls(lambda: match_pictures(pictures, day))
