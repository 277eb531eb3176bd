"""The unknowns of a rig from what its drops did: values, errors, and what the edges cannot tell.

The rig file with its uncertainties is the prior (standard normal z, see `planning.unknowns`), the means
of each group of drops are the data, their scatter over √n (and a floor for the model) the noise.
The maximum of the posterior is found by bounded least squares, its covariance is the inverse of the
information there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from beamfall.arrays import Floats
from beamfall.errors import CalibrationError
from beamfall.planning.calibration.measure import Sample
from beamfall.planning.calibration.model import QUANTITIES, Model, make_model
from beamfall.planning.unknowns import GAP_ERROR_M

MODEL_ERROR_S = 3e-6  # of the polynomials of physics.fall_table; what the air does is not in it
TOLD = 0.5  # of the variance: the edges tell a quantity when they take away as much (our choice)
_STEP = 1e-3
_95 = 1.959964
_FAR = 3.5  # standard deviations that a rig file may be off before a warning


@dataclass(frozen=True)
class Estimate:
    """One quantity: before (rig file) and after (with the edges), SI units, standard errors.

    `told`: the share of the variance that the edges took away, 0 to 1.
    """

    name: str
    before: float
    before_error: float
    value: float
    error: float
    told: float

    @property
    def interval(self) -> tuple[float, float]:
        """The 95 % interval."""
        return self.value - _95 * self.error, self.value + _95 * self.error

    @property
    def is_told(self) -> bool:
        """Whether this value comes from the edges rather than from the rig file."""
        return self.told >= TOLD

    def to_json(self) -> dict[str, Any]:
        """Plain values, SI units; the value is null where the edges do not tell it."""
        return {
            "value": self.value if self.is_told else None,
            "error": self.error if self.is_told else None,
            "interval_95": list(self.interval) if self.is_told else None,
            "told": round(self.told, 4),
            "with_rig_file": {"value": self.value, "error": self.error},
            "rig_file": {"value": self.before, "error": self.before_error},
        }


@dataclass(frozen=True)
class Combination:
    """Two quantities that the edges do not separate: only first + slope·(second − at) is known."""

    first: str
    second: str
    slope: float
    at: float
    value: float
    error: float
    first_error: float
    second_error: float

    def to_json(self) -> dict[str, Any]:
        """Plain values, SI units."""
        return {
            "first": self.first,
            "second": self.second,
            "slope": self.slope,
            "second_at": self.at,
            "value": self.value,
            "error": self.error,
        }


@dataclass(frozen=True)
class Calibration:
    """What the edges say about a rig. `z_mean`, `z_covariance`: of the model's unknowns, in its order."""

    model: Model
    estimates: tuple[Estimate, ...]
    combinations: tuple[Combination, ...]
    z_mean: Floats
    z_covariance: Floats
    warnings: tuple[str, ...]

    @property
    def separable(self) -> bool:
        """Whether the edges separated latency and distance."""
        return self.find("distance_m").is_told

    def find(self, name: str) -> Estimate:
        """The estimate of that name."""
        return next(one for one in self.estimates if one.name == name)

    @property
    def shots(self) -> tuple[int, ...]:
        """The shots used."""
        return tuple(dict.fromkeys(shot for one in self.model.samples for shot in one.shots))

    def to_json(self) -> dict[str, Any]:
        """Plain values, SI units."""
        return {
            "shots": list(self.shots),
            "drops": sum(len(one.values_s) for one in self.model.samples),
            "left_out": sum(one.left_out for one in self.model.samples),
            "beams": sorted({beam for one in self.model.samples for beam in one.beams}),
            "separable": self.separable,
            "estimates": {one.name: one.to_json() for one in self.estimates},
            "combinations": [one.to_json() for one in self.combinations],
            "warnings": list(self.warnings),
        }


def calibrate(samples: Sequence[Sample], *, gap_error_m: float = GAP_ERROR_M) -> Calibration:
    """Estimate what the drops of these samples say; the first sample's rig is the one asked about.

    `gap_error_m`: how well the distance between two beams, or between two positions of one, is
    known (standard deviation). Raises CalibrationError if no rig like the file does what was
    measured, PhysicsRangeError for figures that the physics does not cover.
    """
    model = make_model(samples, gap_error_m)
    data, noise = _gather(samples)
    z, covariance, misfit = _solve(model, data, noise)
    _refuse_misfit(data, misfit)
    before = np.zeros((1, len(model.names)))
    middle = model.quantities(before)[0]
    slope_before = _differentiate(model.quantities, before[0])
    spread_before = slope_before @ slope_before.T
    found = model.quantities(z[None, :])[0]
    slope = _differentiate(model.quantities, z)
    spread = slope @ covariance @ slope.T
    estimates = []
    for n, name in enumerate(QUANTITIES):
        old, new = float(spread_before[n, n]), float(spread[n, n])
        told = max(0.0, 1.0 - new / old) if old > 0.0 else 0.0
        estimates.append(
            Estimate(name, float(middle[n]), old**0.5, float(found[n]), new**0.5, told)
        )
    return Calibration(
        model=model,
        estimates=tuple(estimates),
        combinations=tuple(_find_combinations(estimates, spread)),
        z_mean=z,
        z_covariance=covariance,
        warnings=tuple(_warn(model, z)),
    )


def _gather(samples: Sequence[Sample]) -> tuple[Floats, Floats]:
    """Means of all samples and their covariance, block by block."""
    means = [sample.values_s.mean(axis=0) for sample in samples]
    size = sum(len(mean) for mean in means)
    noise = np.zeros((size, size))
    at = 0
    for sample, mean in zip(samples, means, strict=True):
        count, width = len(sample.values_s), len(mean)
        # The scatter is itself estimated from few drops: Student's t in place of the normal.
        wider = (count - 1) / max(count - width - 2, 1)
        block = np.cov(sample.values_s, rowvar=False) * wider / count
        noise[at : at + width, at : at + width] = block + MODEL_ERROR_S**2 * np.eye(width)
        at += width
    return np.concatenate(means), noise


def _solve(model: Model, data: Floats, noise: Floats) -> tuple[Floats, Floats, Floats]:
    """The most probable z, its covariance, and what is left of the data in standard deviations."""
    from scipy.optimize import least_squares

    weight = np.linalg.inv(noise)
    root = np.linalg.cholesky(weight).T
    low, high = model.limits
    size = len(model.names)

    def rest(z: Floats) -> Floats:
        return np.concatenate([root @ (model.predict(z[None, :])[0] - data), z])

    def slopes(z: Floats) -> Floats:
        return np.concatenate([root @ _differentiate(model.predict, z), np.eye(size)])

    # A hair inside the bounds, so that the differences see both sides.
    found = least_squares(
        rest, np.zeros(size), jac=slopes, bounds=(low + 2 * _STEP, high - 2 * _STEP), xtol=1e-12
    )
    z: Floats = found.x
    slope = _differentiate(model.predict, z)
    covariance = np.linalg.inv(slope.T @ weight @ slope + np.eye(len(z)))
    misfit: Floats = (data - model.predict(z[None, :])[0]) / np.sqrt(np.diag(noise))
    return z, np.asarray(covariance, dtype=np.float64), misfit


def _differentiate(function: Any, z: Floats) -> Floats:
    """Derivatives of a row of values by each z: shape (values, unknowns)."""
    steps = _STEP * np.eye(len(z))
    values = function(np.concatenate([z + steps, z - steps]))
    result: Floats = ((values[: len(z)] - values[len(z) :]) / (2.0 * _STEP)).T
    return result


def _refuse_misfit(data: Floats, misfit: Floats) -> None:
    worst = int(np.argmax(np.abs(misfit)))
    if abs(misfit[worst]) > 6.0:
        kind = "dwell" if worst % 2 else "arrival"
        raise CalibrationError(
            f"the measured drops do not fit this rig file: the mean {kind} of {data[worst] * 1e3:.3f} ms "
            f"is {abs(misfit[worst]):.0f} standard errors off. Check height, bore, head and opening in the "
            "rig file, and whether beams are swapped"
        )


def _find_combinations(estimates: Sequence[Estimate], spread: Floats) -> list[Combination]:
    """Pairs of which the edges tell one combination far better than either."""
    found = []
    pairs = (("latency_s", "distance_m"), ("diameter_m", "width_m"))
    for first, second in pairs:
        a, b = QUANTITIES.index(first), QUANTITIES.index(second)
        one, other = estimates[a], estimates[b]
        slope = -float(spread[a, b] / spread[b, b])
        error = float(np.sqrt(max(spread[a, a] - spread[a, b] ** 2 / spread[b, b], 0.0)))
        # Told apart: the distance known by the edges; else the pair is known along one line only.
        if other.is_told or error > 0.5 * one.error:
            continue
        found.append(
            Combination(first, second, slope, other.value, one.value, error, one.error, other.error)
        )
    return found


def _warn(model: Model, z: Floats) -> list[str]:
    words = {
        "latency_error_s": "the valve's latency",
        "volume_ratio": "the drop's volume (head, bore, discharge, opening)",
        "nozzle_error_m": "the nozzle's height",
        "beam_error_m": "the beam's height",
        "beam_sense": "the beam's width",
        "start_speed_ratio": "the drop's initial speed",
        "detachment_ratio": "the height at which the drop comes free",
    }
    warnings = []
    for name, value in zip(model.names, z, strict=True):
        if abs(value) > _FAR:
            what = words.get(name, name)
            warnings.append(
                f"{what} is {abs(value):.1f} standard deviations from the rig file: measure it "
                "again, or widen `uncertainty`"
            )
    return warnings
