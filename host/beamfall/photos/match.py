"""Pictures and shots: which belongs to which, and how certain that is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from statistics import median
from typing import Any

import numpy as np

from beamfall.photos.clock import SLACK_S, count_within, find_clock, find_pairs, measure_busy_s
from beamfall.photos.clock_fit import ClockFit, ClockResult
from beamfall.photos.exif import Photograph

CERTAIN = 0.99995  # a pair is called certain from this probability on
_NEARLY_ALL = 0.985  # of the pairs
_LIKE_EXPOSURE = 1.5  # exposures within this factor of the usual one are like it (our choice)


@dataclass(frozen=True, slots=True)
class TakenShot:
    """A shot that a picture may show: its number and its time of day in s."""

    shot: int
    begun_s: float


@dataclass(frozen=True, slots=True)
class Pair:
    """A picture and its shot; `probability` that they belong together, given the offset."""

    shot: int
    picture: Photograph
    probability: float

    @property
    def is_certain(self) -> bool:
        """Whether no reasonable doubt is left."""
        return self.probability >= CERTAIN


@dataclass(frozen=True)
class CameraMatch:
    """What was found for the pictures of one camera."""

    camera: str
    clock: ClockResult | None
    pairs: tuple[Pair, ...]
    extra: tuple[Photograph, ...]  # pictures that show no shot
    unclear: tuple[Photograph, ...]  # pictures of which two fit a shot, or that fit two shots
    missing: tuple[int, ...]  # shots with no picture

    @property
    def refusal(self) -> str | None:
        """In words, why nothing was paired; None if it was."""
        if self.clock is None:
            return "matching needs at least two pictures and two shots"
        return self.clock.why_not

    def to_json(self) -> dict[str, Any]:
        """Plain values."""
        clock = self.clock
        return {
            "camera": self.camera,
            "refusal": self.refusal,
            "offset_s": None if clock is None else round(clock.best.offset_s, 3),
            "drift_ppm": None if clock is None else round(clock.best.drift * 1e6, 1),
            "drift_error_ppm": None if clock is None else round(clock.best.drift_error * 1e6, 1),
            "confidence": None if clock is None else clock.confidence,
            "fits": None if clock is None else clock.best.pairs,
            "rival_offset_s": None
            if clock is None or clock.rival is None
            else round(clock.rival.offset_s, 3),
            "rival_fits": None if clock is None or clock.rival is None else clock.rival.pairs,
            "pairs": [
                {
                    "shot": pair.shot,
                    "picture": str(pair.picture.path),
                    "probability": round(pair.probability, 6),
                    "certain": pair.is_certain,
                }
                for pair in self.pairs
            ],
            "extra": [str(one.path) for one in self.extra],
            "unclear": [str(one.path) for one in self.unclear],
            "missing": list(self.missing),
        }


def match_pictures(pictures: Sequence[Photograph], shots: Sequence[TakenShot]) -> list[CameraMatch]:
    """Match each camera's pictures with the shots; the camera with the most pairs first."""
    cameras: dict[str, list[Photograph]] = {}
    for picture in pictures:
        cameras.setdefault(picture.camera, []).append(picture)
    ordered = sorted(shots, key=lambda shot: shot.begun_s)
    found = [_match_camera(name, own, ordered) for name, own in cameras.items()]
    return sorted(found, key=lambda one: -len(one.pairs))


def _match_camera(
    camera: str, pictures: Sequence[Photograph], shots: Sequence[TakenShot]
) -> CameraMatch:
    taken = sorted(pictures, key=lambda one: (one.taken_s, one.path))
    step = max(one.step_s for one in taken)
    shots_s = np.array([shot.begun_s for shot in shots], dtype=np.float64)
    # Times of day are large numbers; counted from the first ones nothing is lost of them.
    zero_shot, zero_picture = (float(shots_s[0]) if len(shots) else 0.0), taken[0].taken_s
    pictures_s = np.array([one.taken_s - zero_picture for one in taken])
    clock = find_clock(shots_s - zero_shot, pictures_s, step)
    nothing = CameraMatch(camera, None, (), (), tuple(taken), tuple(shot.shot for shot in shots))
    if clock is None:
        return nothing
    shown = _shift(clock, zero_picture - zero_shot, zero_shot)
    if not clock.is_clear:
        return CameraMatch(camera, shown, (), (), tuple(taken), nothing.missing)
    pairs, extra, unclear = _pair(clock.best, taken, shots, shots_s - zero_shot, pictures_s, step)
    seen = {pair.shot for pair in pairs}
    return CameraMatch(
        camera, shown, tuple(pairs), tuple(extra), tuple(unclear),
        tuple(shot.shot for shot in shots if shot.shot not in seen),
    )  # fmt: skip


def _shift(clock: ClockResult, by_s: float, zero_s: float) -> ClockResult:
    """The same hypothesis with offsets between the real clocks."""

    def move(fit: ClockFit) -> ClockFit:
        return replace(fit, offset_s=fit.offset_s + by_s, middle_s=fit.middle_s + zero_s)

    rival = None if clock.rival is None else move(clock.rival)
    return replace(clock, best=move(clock.best), rival=rival)


def _pair(
    fit: ClockFit,
    taken: Sequence[Photograph],
    shots: Sequence[TakenShot],
    shots_s: Any,
    pictures_s: Any,
    step_s: float,
) -> tuple[list[Pair], list[Photograph], list[Photograph]]:
    slack = _choose_slack(fit, shots_s, pictures_s, step_s)
    fitting_shots, fitting = find_pairs(fit, shots_s, pictures_s, step_s, slack)
    candidates = list(zip(fitting_shots.tolist(), fitting.tolist(), strict=True))
    usual = _find_usual_exposure([taken[index] for _, index in candidates])
    if usual is not None:
        # A frame exposed quite differently was taken by hand.
        candidates = [pair for pair in candidates if _is_like(taken[pair[1]], usual)]
    of_shot: dict[int, list[int]] = {}
    of_picture: dict[int, list[int]] = {}
    for shot, index in candidates:
        of_shot.setdefault(shot, []).append(index)
        of_picture.setdefault(index, []).append(shot)
    clear = [(s, p) for s, p in candidates if len(of_shot[s]) == 1 and len(of_picture[p]) == 1]
    paired = {index for _, index in clear}
    unclear = [taken[index] for index in of_picture if index not in paired]
    extra = [one for index, one in enumerate(taken) if index not in of_picture]
    asked = max(len(clear), count_within(pictures_s, fit.expect(shots_s)))
    doubt = _estimate_doubt(len(clear), len(extra), asked, extra, usual, pictures_s, step_s)
    pairs = [Pair(shots[s].shot, taken[p], 1.0 - doubt) for s, p in clear]
    return pairs, extra, unclear


def _choose_slack(fit: ClockFit, shots_s: Any, pictures_s: Any, step_s: float) -> float:
    """The least slack that nearly all pairs need: what lies outside is more often a chance frame."""
    most = len(find_pairs(fit, shots_s, pictures_s, step_s)[0])
    for slack in (0.3 * SLACK_S, 0.5 * SLACK_S):
        if len(find_pairs(fit, shots_s, pictures_s, step_s, slack)[0]) >= _NEARLY_ALL * most:
            return slack
    return SLACK_S


def _find_usual_exposure(pictures: Sequence[Photograph]) -> float | None:
    """The exposure that nearly all pictures at shots share; None if they do not."""
    known = [one.exposure_s for one in pictures if one.exposure_s is not None]
    if len(known) < max(3.0, 0.8 * len(pictures)):
        return None
    usual = median(known)
    like = sum(_is_like(one, usual) for one in pictures)
    return usual if like >= 0.8 * len(pictures) else None


def _is_like(picture: Photograph, usual_s: float) -> bool:
    if picture.exposure_s is None:
        return True
    return 1.0 / _LIKE_EXPOSURE <= picture.exposure_s / usual_s <= _LIKE_EXPOSURE


def _estimate_doubt(
    pairs: int,
    extras: int,
    shots: int,
    extra: Sequence[Photograph],
    usual: float | None,
    pictures_s: Any,
    step_s: float,
) -> float:
    """Chance that a pair is a frame taken by hand in the very second of a shot whose picture is missing.

    From the rates of both, each taken half an event worse than seen (Jeffreys' prior); frames whose exposure tells them
    apart do not count, and neither do hours without pictures: `shots` are those of the others.
    """
    alike = extras if usual is None else sum(_is_like(one, usual) for one in extra)
    chance = (alike + 0.5) / measure_busy_s(pictures_s) * (step_s + 2.0 * SLACK_S)
    missing = (shots - pairs + 0.5) / (shots + 1.0)
    have = 1.0 - missing
    return min(1.0, chance * missing / max(have + chance * missing, 1e-9))
