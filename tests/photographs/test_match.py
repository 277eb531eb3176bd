"""Matching in simulated studios; the 500 of the figure are in tests/benchmarks/photographs.py."""

from __future__ import annotations

import dataclasses

import pytest
from studios import Score, make_studio
from tiers import in_full

from beamfall.photos.match import match_pictures


@pytest.mark.full
def test_studios_with_missing_and_extra_pictures() -> None:
    score = Score()
    for seed in range(1000, 1020):
        score.add(make_studio(seed, shots=60))
    assert score.refused == 0 and score.wrong_offset == 0, score.say()
    assert score.right >= 0.97 * score.true_pairs, score.say()
    assert score.right >= 0.99 * score.given, score.say()  # 99.5 % over 500 studios
    assert score.certain_wrong == 0


@pytest.mark.full
def test_offset_and_drift_are_found(monkeypatch: pytest.MonkeyPatch) -> None:
    for seed in range(2000, 2006):
        studio = make_studio(seed, shots=120)
        (found,) = match_pictures(studio.pictures, studio.shots)
        assert found.clock is not None
        first = studio.shots[0].begun_s
        fit = found.clock.best
        offset = fit.offset_s + fit.drift * (first - fit.middle_s)
        # The curtain opens 60 ms after the contact: part of the offset that can be seen.
        assert offset == pytest.approx(studio.offset_s + 0.06, abs=0.15)


@pytest.mark.parametrize("seed", [3000, *in_full(*range(3001, 3006))])
def test_all_pictures_there_is_certain(seed: int) -> None:
    score = Score()
    score.add(make_studio(seed, shots=50, missing=0.0, extra=0.0))
    assert score.given == score.right == score.certain == score.true_pairs == 50


@pytest.mark.full
def test_evenly_spaced_shots_are_refused() -> None:
    for seed in range(4000, 4006):
        for missing in (0.0, 0.2):
            studio = make_studio(seed, shots=50, even=True, missing=missing, extra=missing / 2)
            (found,) = match_pictures(studio.pictures, studio.shots)
            assert found.clock is not None and found.clock.why_not is not None
            assert found.pairs == ()
            assert len(found.unclear) == len(studio.pictures)


@pytest.mark.parametrize("seed", [5001, *in_full(*range(5002, 5006))])
def test_pictures_of_another_evening_are_refused(seed: int) -> None:
    shots = make_studio(5000, shots=60).shots
    (found,) = match_pictures(make_studio(seed, shots=60).pictures, shots)
    assert found.clock is not None and found.clock.why_not is not None and found.pairs == ()


def test_too_few_to_compare() -> None:
    studio = make_studio(6000, shots=60)
    (found,) = match_pictures(studio.pictures[:1], studio.shots)
    assert found.clock is None and found.refusal is not None and found.pairs == ()
    (found,) = match_pictures(studio.pictures[:3], studio.shots[:3])
    assert found.clock is not None and found.clock.why_not is not None and found.pairs == ()


def test_two_cameras_are_told_apart() -> None:
    studio = make_studio(7000, shots=60, missing=0.0, extra=0.0)
    slow = tuple(
        dataclasses.replace(one, taken_s=one.taken_s + 7777.0, camera="the other one")
        for one in studio.pictures[:30]
    )
    found = match_pictures((*studio.pictures, *slow), studio.shots)
    assert [len(one.pairs) for one in found] == [60, 30]
    clocks = [one.clock for one in found]
    assert clocks[0] is not None and clocks[1] is not None
    assert clocks[1].best.offset_s - clocks[0].best.offset_s == pytest.approx(7777.0, abs=0.5)


@pytest.mark.full
def test_an_exposure_unlike_the_others_is_no_shot() -> None:
    score, blind = Score(), Score()
    for seed in range(8000, 8010):
        score.add(make_studio(seed, shots=60, with_exposures=True))
        blind.add(make_studio(seed, shots=60))
    assert score.right > blind.right
    assert score.given - score.right <= blind.given - blind.right
