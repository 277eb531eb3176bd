"""Which stage a picture shows, from its shapes and from where the shot's log expects the drops."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from beamfall.photos.measure.age import DOME, DOME_ERROR
from beamfall.photos.measure.lookalikes import LEAST_BALL, list_lookalikes
from beamfall.photos.measure.read import CONTACT_MS, Reading
from beamfall.photos.measure.result import SURE
from beamfall.photos.measure.upright import Touch, measure_touch
from beamfall.physics.expected_drop import ExpectedDrop
from beamfall.physics.splash import CROWN_END

# Likelihoods are densities of the height in a range this wide, so that 1 means 'may be anywhere in it'.
_RANGE_MM = 60.0
# What every stage keeps, whatever the log says: a drop that nobody fired, an edge that belongs to another one.
_DOUBT = 0.01
# How likely it is that a picture shows none of what its shapes look like, and the likelihood of that.
_UNSEEN, _UNSEEN_LIKELIHOOD = 0.03, 0.5
_MARK_MM = 0.5  # standard error of a mark, and of the height that a level view makes of it
_FORESHORTENED = 0.01  # of a height: what a camera up to 8° high takes away from it
_GAP_ERROR_MS = 0.06  # of the time until drop 2 meets the jet: about a pixel and a half of the gap
_OLDEST_MS = 12.0  # an umbrella that is older has broken up
# No jet stands earlier after the impact (the fastest computed splashes: 10 ms).
_LEAST_ONSET_MS = 8.0
# A crown is lower than 1 mm from this share of the time to its jet, if that is 40 ms; later in larger splashes, since
# 1 mm is less of them. Fitted to the 20 runs of the computed splashes' fitting half with liquids up to 8 mPa·s (share
# 0.65 to 1.0), on the finer mesh; the relative standard deviation is 0.064 there, 0.077 in the judging half.
_SUNK, _SUNK_POWER, _SUNK_ERROR, _USUAL_ONSET_MS = 0.86, 0.44, 0.08, 40.0
# So soon after its beginning a jet stands out of a low ring (nine in ten computed ones: 2.5 mm after that; 1.3 after
# 2 ms); it falls back as fast.
_LOW_JET_MS = 4.0
# How likely it is that a crown is too low for a picture: it has hardly risen, or never rises far.
_TOO_LOW = 0.1


@dataclass(frozen=True)
class Frame:
    """What turns rows of a reading into heights in mm: the surface's row, its standard error, and pixels in a mm."""

    surface: float
    surface_error: float
    per_mm: float

    def height(self, row: float) -> float:
        """Height of a row above the surface, in mm."""
        return (self.surface - row) / self.per_mm


def decide(
    reading: Reading,
    expected: Sequence[ExpectedDrop | None],
    per_mm: float,
    drop_mm: float,
    drop_error: float,
    meeting_m_s: float,
) -> Reading:
    """Return the reading that shapes and log together make most likely, with its confidence.

    `expected`: every drop of the shot, in order. `per_mm`: upright pixels in a mm. `drop_mm`: the drop's diameter,
    with its relative error; `meeting_m_s`: its speed against the jet's tip. Where the shapes alone are clear and the
    log contradicts them, neither is believed: the confidence falls and a doubt says why. Without any outline, or
    without an edge of the last drop, the reading stays as it is.
    """
    last = expected[-1] if expected else None
    if last is None or reading.about is None or reading.stage is None:
        return reading
    row, row_error = reading.about
    frame = Frame(row, row_error, per_mm)
    first = expected[0]
    weights = []
    touch, closeness = _measure_touch(reading, drop_mm * per_mm), {"contact": 1.0, "before": 1.0}
    if touch is not None:
        ms = 1.0 / per_mm / meeting_m_s
        met = _above(touch.gap * ms, CONTACT_MS, touch.error * ms)
        closeness = {"contact": met, "before": 1.0 - met}
    choices = list_lookalikes(reading, row, per_mm, drop_mm, drop_error, touch)
    for choice, weight in choices:
        chance = _judge_last(choice, last, len(expected), frame, drop_mm)
        if first is not None:
            chance *= _judge_first(choice, first, drop_mm, drop_error, reading.is_low_ring)
        weights.append(weight * (chance + _DOUBT) * closeness.get(choice.stage or "", 1.0))
    total = sum(weights) + _UNSEEN * _UNSEEN_LIKELIHOOD
    best = max(range(len(choices)), key=weights.__getitem__)
    chosen, confidence = choices[best][0], min(weights[best] / total, 0.99)
    if reading.gap_ms is not None and chosen.stage in ("before", "contact"):
        # Which of the two it is, only the gap says: the log is not as exact.
        off_ms = abs(reading.gap_ms - CONTACT_MS)
        confidence = min(confidence, _above(0.0, off_ms, _GAP_ERROR_MS))
    if chosen is reading:
        doubts = list(reading.doubts)
        if confidence < SURE <= reading.confidence:
            doubts.append("it does not fit the beam edges of its shot")
        elif confidence >= SURE > reading.confidence:
            doubts = []
        return replace(reading, confidence=confidence, doubts=doubts)
    if reading.confidence >= SURE:
        doubt = (
            f"it looks like '{reading.stage}', but the beam edges of its shot say '{chosen.stage}'"
        )
        return replace(reading, confidence=0.5, doubts=[*reading.doubts, doubt])
    doubts = [] if confidence >= SURE else list(reading.doubts)
    return replace(chosen, confidence=confidence, doubts=doubts)


def _measure_touch(reading: Reading, drop: float) -> Touch | None:
    """How close a drop of that width in pixels is to a jet that its outline joins; None where the gap is seen."""
    if reading.standing is None or reading.gap_ms is not None:
        return None
    if reading.drop is not None or reading.apart is not None:
        return None
    return measure_touch(reading.standing, LEAST_BALL * drop)


def _judge_last(
    choice: Reading, last: ExpectedDrop, drops: int, frame: Frame, drop_mm: float
) -> float:
    """How likely the last drop's expected place is if the picture shows this."""
    height, speed = 1e3 * last.height_m, last.speed_m_s
    top = frame.height(0.0)
    error = math.hypot(
        1e3 * last.error_m, _MARK_MM, _FORESHORTENED * height, frame.surface_error / frame.per_mm
    )
    if choice.stage == "before" or (choice.stage == "contact" and drops > 1):
        if choice.lowest is None:
            return 0.0
        own = CONTACT_MS * speed if choice.stage == "contact" else 0.0
        return _RANGE_MM * _bell(frame.height(choice.lowest) - height, math.hypot(error, own))
    if drops < 2:  # of one drop there is no collision; what else it makes is a matter of time
        struck, above = _above(0.0, -height, error), _above(top, height, error)
        return {"contact": 0.0, "after": 0.0, "nothing": max(struck, above)}.get(
            choice.stage or "", struck
        )
    if choice.stage == "after":
        if choice.tip is None:
            return 0.0
        spread = math.hypot(error, DOME_ERROR * drop_mm)
        high = frame.height(choice.tip) - DOME * drop_mm
        latest, earliest = high - _OLDEST_MS * speed, high - 0.7 * drop_mm - CONTACT_MS * speed
        inside = _above(latest, height, spread) - _above(earliest, height, spread)
        return _RANGE_MM / (earliest - latest) * max(inside, 0.0)
    return _above(top, height, error)  # it has not come yet


def _judge_first(
    choice: Reading, first: ExpectedDrop, drop_mm: float, drop_error: float, is_ring: bool
) -> float:
    """How likely the time since drop 1 struck is if the picture shows this; `is_ring`: nothing but a low ring."""
    if choice.stage == "before":
        return 1.0
    since_ms = -1e3 * first.height_m / first.speed_m_s
    error_ms = 1e3 * first.error_m / first.speed_m_s

    def passed(when_ms: float, when_error_ms: float = 0.0) -> float:
        return _above(when_ms, since_ms, math.hypot(error_ms, when_error_ms))

    end_ms = CROWN_END * drop_mm / first.speed_m_s
    struck, sunk = passed(0.0), passed(end_ms, drop_error * end_ms)
    risen, calm, high = passed(_LEAST_ONSET_MS), 0.0, 0.0
    if first.jet_after_s is not None and first.calm_after_s is not None:
        onset_ms, onset_error_ms = (1e3 * one for one in first.jet_after_s)
        low_ms = _SUNK * (onset_ms / _USUAL_ONSET_MS) ** _SUNK_POWER * onset_ms
        lower = passed(low_ms, low_ms * math.hypot(_SUNK_ERROR, onset_error_ms / onset_ms))
        sunk = 1.0 - (1.0 - sunk) * (1.0 - lower)
        risen = passed(onset_ms, onset_error_ms)
        calm_ms, calm_error_ms = (1e3 * one for one in first.calm_after_s)
        calm = passed(calm_ms, calm_error_ms)
        high = passed(onset_ms + _LOW_JET_MS, onset_error_ms)
        high -= passed(calm_ms - _LOW_JET_MS, calm_error_ms)
    if choice.stage == "crown":
        return max(struck - sunk, 0.0)
    if choice.stage == "nothing":
        if first.jet_after_s is None:
            return 1.0
        return 1.0 - struck + _TOO_LOW * max(struck - sunk, 0.0) + max(sunk - risen, 0.0) + calm
    if choice.stage == "jet" and is_ring:  # hidden in it
        calm += max(high, 0.0)
    return max(risen - calm, 0.0)


def _bell(off: float, error: float) -> float:
    return math.exp(-0.5 * (off / error) ** 2) / (error * math.sqrt(2.0 * math.pi))


def _above(limit: float, value: float, error: float) -> float:
    """The chance that what is `value` with its standard error lies above a limit."""
    return 0.5 * math.erfc((limit - value) / (error * math.sqrt(2.0)))
