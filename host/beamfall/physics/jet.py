"""The cavity's collapse and the jet it throws up, as uncertain quantities.

The laws are fitted to splashes computed with an open solver of free-surface flow (axisymmetric volume
of fluid; D 2.6 to 7.4 mm, 2.4 to 4.4 m/s, 1 to 220 mPa·s, 30 to 73 mN/m, 3 mm deep to deep; meshes of
0.16 and 0.08 mm, between which onsets differ by 3 to 13 %). Each has a factor with a lognormal
distribution, which what the rig shows narrows:

    onset  = a · [0.30·g/R + 8.9·σ/(ρR³)]^(−1/2)   from the impact until the column rises above the surface
    height = b · R · exp[−(ν/(0.0088·√(gR³)))^0.91]  the highest point of the tip, above the surface
    rise   = c · √(2·height/g), c ≤ 1               from the onset until the highest point

R is the energy bound of the cavity's radius (`impact.cavity_radius_bound`), ν the liquid's viscosity over
its density. `depth_factors` say what a shallow dish does to onset and height. Why these numbers:

a  median 1, σ(ln) 0.08: 20 computed splashes lie between 0.86 and 1.09 of the law, those of the coarse mesh
   at 0.94 in the median, which is early by as much as that mesh is. Worthington (1908, A
   Study of Splashes): a drop of 0.2 g falling 0.4 m shows its column from 64 ms, the law says 60 ms.
b  median 2.5, σ(ln) 0.30, more where viscosity counts: computed 1.2 to 4.9. Where drops pinch off, the
   highest of them counts, and the meshes do not agree on that.
c  median 0.75, σ(ln) 0.18: computed 0.54 to 0.84. The tip slows faster than g at first, so that √(2H/g)
   bounds the rise (van Rijn et al. 2021).

The factors belong to the rig, not to one height: what was learned at one height holds at another.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from statistics import NormalDist
from typing import TYPE_CHECKING, Any, NamedTuple

from beamfall.errors import PhysicsRangeError
from beamfall.physics.gravity import STANDARD_GRAVITY
from beamfall.physics.impact import (
    COALESCENCE_WEBER,
    SHALLOWEST_JET_M,
    Regime,
    cavity_radius_bound,
    classify_impact,
    impact_groups,
)
from beamfall.physics.liquids import WATER, Liquid
from beamfall.physics.ranges import check_range

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import ArrayLike, NDArray

Vector = tuple[float, float, float]
Matrix = tuple[Vector, Vector, Vector]

_MEDIANS: Vector = (1.0, 2.5, 0.75)  # a, b, c
_SPREADS: Vector = (0.08, 0.30, 0.18)  # standard deviations of their logarithms
_OF_DAMPING = (
    0.25  # the height's spread grows by this for each power of e that viscosity takes away
)
_ONSET_BY_GRAVITY, _ONSET_BY_TENSION = 0.30, 8.9
_DAMPED_FROM, _DAMPING_POWER = 0.0088, 0.91
#: A lower bulge than this is not a jet that a drop could meet (our choice).
LEAST_JET_M = 0.002
# Outside the regime the numbers come from, and for unknown liquids, the spreads grow (estimates).
_OTHER_REGIME_WIDER = 1.5
_UNKNOWN_LIQUID_WIDER = 1.25

#: ln(onset, height, rise) = these rows times ln(a, b, c), plus the logarithm of the scales.
_ROWS: dict[str, Vector] = {
    "onset_s": (1.0, 0.0, 0.0),
    "height_m": (0.0, 1.0, 0.0),
    "rise_s": (0.0, 0.5, 1.0),
}


class JetSample(NamedTuple):
    """Draws of a jet: onset after the impact in s, rise in s, height in m; arrays of one shape."""

    onset_s: NDArray[np.float64]
    rise_s: NDArray[np.float64]
    height_m: NDArray[np.float64]


@dataclass(frozen=True)
class JetPrior:
    """What is known about a rig's jets: a normal distribution of ln(a, b, c), and the scales.

    `onset_scale_s` and `height_scale_m`, the laws with factors of 1, belong to one impact;
    `log_mean` and `log_covariance` to the rig. Immutable: every method returns a new one.
    Raises PhysicsRangeError for scales that are not positive or a covariance that is not one.
    """

    onset_scale_s: float
    height_scale_m: float
    gravity: float = STANDARD_GRAVITY
    log_mean: Vector = (math.log(_MEDIANS[0]), math.log(_MEDIANS[1]), math.log(_MEDIANS[2]))
    log_covariance: Matrix = (
        (_SPREADS[0] ** 2, 0.0, 0.0),
        (0.0, _SPREADS[1] ** 2, 0.0),
        (0.0, 0.0, _SPREADS[2] ** 2),
    )

    def __post_init__(self) -> None:
        check_range("onset scale", self.onset_scale_s, 1e-3, 0.5, "s")
        check_range("height scale", self.height_scale_m, 1e-5, 0.5, "m")
        check_range("gravity", self.gravity, 9.7, 9.9, "m/s²")
        for mean in self.log_mean:
            check_range("logarithm of a jet factor", mean, -5.0, 5.0)
        for i in range(3):
            check_range("variance of a jet factor", self.log_covariance[i][i], 0.0, 9.0)
            for j in range(i):
                limit = math.sqrt(self.log_covariance[i][i] * self.log_covariance[j][j])
                check_range(
                    "covariance of jet factors", self.log_covariance[i][j],
                    -limit - 1e-12, limit + 1e-12,
                )  # fmt: skip

    def sample(self, rng: np.random.Generator, count: int = 1) -> JetSample:
        """Draw `count` jets, shape (count,). The rise is cut at its bound √(2·height/g)."""
        import numpy as np

        draws = rng.multivariate_normal(
            np.array(self.log_mean), np.array(self.log_covariance), size=count, method="eigh"
        )
        a, b, c = np.exp(draws).T
        height = b * self.height_scale_m
        rise = np.minimum(c, 1.0) * np.sqrt(2.0 * height / self.gravity)
        return JetSample(a * self.onset_scale_s, rise, height)

    def log_moments(self, quantity: str) -> tuple[float, float]:
        """Mean and standard deviation of ln(quantity): "onset_s", "height_m" or "rise_s"."""
        row = self._row(quantity)
        offset = {
            "onset_s": math.log(self.onset_scale_s),
            "height_m": math.log(self.height_scale_m),
            "rise_s": 0.5 * math.log(2.0 * self.height_scale_m / self.gravity),
        }[quantity]
        mean = offset + sum(r * m for r, m in zip(row, self.log_mean, strict=True))
        spread = self._times(row)
        variance = sum(r * s for r, s in zip(row, spread, strict=True))
        return mean, math.sqrt(max(0.0, variance))

    def percentiles(
        self, quantity: str, percents: tuple[float, ...] = (5.0, 50.0, 95.0)
    ) -> tuple[float, ...]:
        """Percentiles of "onset_s", "height_m" or "rise_s", in SI units, in closed form.

        Without the cut of the rise at its bound, which moves its 95 % by less than 3 %.
        """
        mean, spread = self.log_moments(quantity)
        for percent in percents:
            check_range("percentile", percent, 1e-6, 100.0 - 1e-6)
        return tuple(math.exp(mean + spread * NormalDist().inv_cdf(p / 100.0)) for p in percents)

    def widen(self, factor: float) -> JetPrior:
        """The same medians, standard deviations times `factor` (0.1-10)."""
        check_range("widening", factor, 0.1, 10.0)
        rows = [[c * factor**2 for c in row] for row in self.log_covariance]
        return replace(self, log_covariance=_matrix(rows))

    def _row(self, quantity: str) -> Vector:
        row = _ROWS.get(quantity)
        if row is None:
            raise PhysicsRangeError(f"{quantity!r} is not a quantity of a jet: {', '.join(_ROWS)}")
        return row

    def _times(self, row: Vector) -> Vector:
        """Covariance times a row."""
        c = self.log_covariance
        x, y, z = row
        return (
            c[0][0] * x + c[0][1] * y + c[0][2] * z,
            c[1][0] * x + c[1][1] * y + c[1][2] * z,
            c[2][0] * x + c[2][1] * y + c[2][2] * z,
        )


def _vector(values: Iterable[float]) -> Vector:
    a, b, c = (float(v) for v in values)
    return a, b, c


def _matrix(rows: Iterable[Iterable[float]]) -> Matrix:
    a, b, c = (_vector(row) for row in rows)
    return a, b, c


def draw_jet_prior(
    diameter_m: float,
    speed_m_s: float,
    *,
    liquid: Liquid = WATER,
    depth_m: float = 0.02,
    gravity: float = STANDARD_GRAVITY,
) -> JetPrior:
    """The prior for a drop that strikes a layer of `depth_m` at a speed; see the head of the file.

    The spreads are half as wide again outside the thick-jet regime, and a quarter wider for a
    liquid with unknown properties (estimates). Raises PhysicsRangeError when no jet is to be
    expected (coalescence, a thick liquid, a layer below 3 mm) and outside the ranges of `impact`.
    """
    groups = impact_groups(diameter_m, speed_m_s, liquid, gravity=gravity)
    check_range("depth of liquid", depth_m, SHALLOWEST_JET_M, 1.0, "m")
    regime = classify_impact(groups, depth_m)
    if regime is Regime.COALESCENCE:
        raise PhysicsRangeError(
            f"no jet: the impact Weber number is {groups.weber:.3g}, and below {COALESCENCE_WEBER:.0f} a drop "
            "sinks in without a splash; let the drop fall from higher up or make it larger",
            key="valve[1].height",
        )
    radius = cavity_radius_bound(diameter_m, groups.froude)
    viscosity = cavity_viscosity(liquid, speed_m_s, radius)
    height = height_law(radius, viscosity, depth_m, gravity)
    if _MEDIANS[1] * height < LEAST_JET_M:
        raise PhysicsRangeError(
            f"no jet: {liquid.name} of {viscosity * liquid.density_kg_m3 * 1e3:.0f} mPa·s on {depth_m * 1e3:.3g} mm "
            f"of liquid rises {_MEDIANS[1] * height * 1e3:.1g} mm, less than {LEAST_JET_M * 1e3:.0f} mm; "
            "thin the liquid (most use 1 to 10 mPa·s), or use a deeper dish",
            key="liquid",
        )
    prior = JetPrior(onset_law(radius, liquid, depth_m, gravity), height, gravity)
    damping = damping_exponent(radius, viscosity, gravity)
    rows = [list(row) for row in prior.log_covariance]
    rows[1][1] += (_OF_DAMPING * damping) ** 2
    prior = replace(prior, log_covariance=_matrix(rows))
    if regime is not Regime.JET:
        prior = prior.widen(_OTHER_REGIME_WIDER)
    if liquid.unknown:
        prior = prior.widen(_UNKNOWN_LIQUID_WIDER)
    return prior


def onset_law(radius_m: Any, liquid: Liquid, depth_m: float, gravity: float) -> Any:
    """Onset in s with a factor of 1; floats or arrays of R."""
    by_tension = (
        _ONSET_BY_TENSION * liquid.surface_tension_n_m / (liquid.density_kg_m3 * radius_m**3)
    )
    later, _ = depth_factors(depth_m / radius_m)
    return later * (_ONSET_BY_GRAVITY * gravity / radius_m + by_tension) ** -0.5


def height_law(radius_m: Any, viscosity_m2_s: float, depth_m: float, gravity: float) -> Any:
    """Height in m with a factor of 1; floats or arrays of R."""
    _, lower = depth_factors(depth_m / radius_m)
    return lower * radius_m * math.e ** -damping_exponent(radius_m, viscosity_m2_s, gravity)


def damping_exponent(radius_m: Any, viscosity_m2_s: float, gravity: float) -> Any:
    """The power of e by which viscosity lowers a jet."""
    number = viscosity_m2_s / (gravity * radius_m**3) ** 0.5
    return (number / _DAMPED_FROM) ** _DAMPING_POWER


def cavity_viscosity(liquid: Liquid, speed_m_s: float, radius_m: float) -> float:
    """Kinematic viscosity in m²/s at the cavity's shear rate, U/R (estimate)."""
    return liquid.viscosity_at(speed_m_s / radius_m) / liquid.density_kg_m3


def depth_factors(depth_ratio: Any) -> tuple[Any, Any]:
    """By how much a dish makes the onset later and the jet lower; `depth_ratio` is depth over R.

    Ours, through splashes computed at 3, 7, 12 and 25 mm with R = 12.4 mm. Hobbs & Osheroff (1967,
    Science 158:1184) count jet drops: below about 3 mm there are none, while the column is lower.
    """
    later = 1.0 + 0.74 * math.e ** -((depth_ratio / 0.4) ** 2)
    lower = 1.0 - math.e ** -((depth_ratio / 0.42) ** 4)
    return later, lower


def tip_height(
    time_s: float,
    onset_s: float,
    height_m: float,
    rise_s: float,
    *,
    gravity: float = STANDARD_GRAVITY,
) -> float:
    """Height in m of the jet's tip at `time_s` after the impact; 0 before the onset and after.

    With x = onset + rise − t, h = H − g·x²/2 − B·x³ on the way up, B such that h is 0 at the
    onset: it slows hardest at first and by g alone at the top, as van Rijn et al. (2021) observe;
    the cubic is ours. On the way down h = H − g·x²/2. Raises PhysicsRangeError when the rise
    exceeds its bound √(2H/g).
    """
    check_range("jet height", height_m, 0.0, 1.0, "m")
    bound = math.sqrt(2.0 * height_m / gravity)
    check_range("jet rise", rise_s, 0.0, bound * (1.0 + 1e-9), "s")
    before_top = onset_s + rise_s - time_s
    if time_s <= onset_s or rise_s == 0.0:
        return 0.0
    height = height_m - 0.5 * gravity * before_top**2
    if before_top > 0.0:
        height -= (height_m - 0.5 * gravity * rise_s**2) * (before_top / rise_s) ** 3
    return max(0.0, height)


def tip_heights(
    time_s: ArrayLike,
    onset_s: ArrayLike,
    height_m: ArrayLike,
    rise_s: ArrayLike,
    *,
    gravity: float = STANDARD_GRAVITY,
) -> NDArray[np.float64]:
    """`tip_height` for arrays, broadcast against each other."""
    import numpy as np

    time, onset, top, rise = np.broadcast_arrays(
        *(np.asarray(a, dtype=np.float64) for a in (time_s, onset_s, height_m, rise_s))
    )
    if time.size == 0:
        return np.zeros(time.shape)
    check_range("lowest jet height", float(top.min()), 1e-9, 1.0, "m")
    check_range("highest jet height", float(top.max()), 1e-9, 1.0, "m")
    check_range("shortest jet rise", float(rise.min()), 1e-9, 1.0, "s")
    over = float(np.max(rise / np.sqrt(2.0 * top / gravity)))
    check_range("jet rise over its bound", over, 0.0, 1.0 + 1e-9)
    before_top = onset + rise - time
    height = top - 0.5 * gravity * before_top**2
    share = np.maximum(before_top / rise, 0.0)
    height = height - (top - 0.5 * gravity * rise**2) * share**3
    return np.where(time <= onset, 0.0, np.maximum(height, 0.0))
