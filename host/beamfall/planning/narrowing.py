"""What several sources say about the z of `unknowns`, put together: normal distributions as arrays."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from beamfall.arrays import Floats
from beamfall.planning.unknowns import NAMES, Normal


def spread(normal: Normal, kept: tuple[str, ...] = NAMES) -> tuple[Floats, Floats]:
    """Mean and covariance in the order of NAMES; what is not in `kept` is as in the prior."""
    names = [name for name in normal.names if name in NAMES and name in kept]
    here = [NAMES.index(name) for name in names]
    there = [normal.names.index(name) for name in names]
    mean, covariance = np.zeros(len(NAMES)), np.eye(len(NAMES))
    mean[here] = np.array(normal.mean)[there]
    covariance[np.ix_(here, here)] = np.array(normal.covariance)[np.ix_(there, there)]
    return mean, covariance


def narrow(
    before: tuple[Floats, Floats] | None, alone: Normal, counted: Iterable[Normal]
) -> Normal:
    """Add what `alone` says to a mean and covariance (None: the prior); `counted` of it is in them already.

    All are narrowings of the same prior, so precisions add up (product of normal distributions over the prior).
    """
    mean, covariance = before or (np.zeros(len(NAMES)), np.eye(len(NAMES)))
    precision = np.linalg.inv(covariance)
    more, shift = _find_evidence(alone)
    for old in counted:
        less, old_shift = _find_evidence(old)
        more, shift = more - less, shift - old_shift
    more, kept = _make_positive(more)
    narrowed = np.asarray(np.linalg.inv(precision + more), dtype=np.float64)
    middle = narrowed @ (precision @ mean + kept @ shift)
    return Normal.of(NAMES, middle, 0.5 * (narrowed + narrowed.T))


def _find_evidence(normal: Normal) -> tuple[Floats, Floats]:
    """What the data alone say: precision and precision times mean, the prior taken out again."""
    mean, covariance = spread(normal)
    precision = np.linalg.inv(covariance)
    return precision - np.eye(len(NAMES)), precision @ mean


def _make_positive(precision: Floats) -> tuple[Floats, Floats]:
    """The precision without directions in which it is negative, and the projection on the others."""
    values, vectors = np.linalg.eigh(0.5 * (precision + precision.T))
    good = vectors[:, values > 1e-9]
    return (good * values[values > 1e-9]) @ good.T, good @ good.T
