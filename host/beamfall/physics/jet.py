"""The cavity's collapse and the jet it throws up, as uncertain quantities.

The laws are fitted to splashes computed with an open solver of free-surface flow (`computed`: axisymmetric volume of
fluid; D 2.5 to 5.5 mm, 2 to 4.5 m/s, 1 to 90 mPa·s, 27 to 73 mN/m, 3 mm deep to deep). Each has a factor with a
distribution, which what the rig shows narrows:

    onset  = a · later · exp(−0.72·√N) / √(0.327·g/R + 9.9·σ/(ρR³))
             from the impact until the column rises above the surface
    height = b · lower · R · exp(−√(25/B)·N/0.0089) / [1 + (11.2/B)³]
             the highest point of the column
    rise   = c · sooner · (2.5/b)^0.25 · √(2·height/g) / [1 + (10/B)³], at most √(2·height/g)
             from the onset until then

R is the energy bound of the cavity's radius (`impact.cavity_radius_bound`), N = ν/√(gR³) with the liquid's viscosity
over its density, B = ρgR²/σ; `depth_factors` gives `later`, `lower` and `sooner`. The forms are ours, fitted to 21
runs of the fitting half on cells of 0.1 to 0.24 mm (level 9), the height with six glycerol mixtures besides. Of the 21
runs of the judging half, corrected to level 10 (`computed.MESH`), the intervals hold the onset 21 times, the height 18
times and the rise 19 times; with the finest mesh of each case, 21, 17 and 19 times. Why these numbers:

a  median 1.05, σ(ln) 0.08: runs of level 10 are 1 to 7 % later. The fitting half scatters by 0.025 around the law, the
   judging half by 0.06; the rest is for what differs from rig to rig. Worthington (1908, A Study of Splashes): a drop
   of 0.2 g falling 0.4 m shows its column from 64 ms, the law says 59 ms.
b  median 2.5, its square root normal with σ 0.125, more where viscosity counts: 0.25 as a spread of b. That is the
   scatter of single runs on their finest mesh in the fitting half, 0.25 too for the tip at 0.75 of its rise, where
   drop 2 meets it; in the judging half 0.33 and 0.26. Low jets lie further off than high ones: of all powers of b that
   could be normal, 1.5 (height) and 1.1 (tip) fit the fitting half best, 0 and 1.05 the judging half. Part of the
   scatter is the mesh: level 10 over level 9 differs by 0.14 (7 pairs of the fitting half) to 0.25 (all 14 pairs).
   Drops that strike oblong add little: nine cases of the fitting half, computed again with axes as 0.9 and 1.1 to 1,
   differ by 0.09 in height and by 0.02 in onset.
c  median 0.70, σ(ln) 0.26: 0.20 and 0.26 in single runs of the halves, around 0.71 and 0.65, with the finest mesh of
   each case 0.68 and 0.62. Where the column breaks before it comes to rest, it ends at that moment, and the meshes do
   not agree when: pairs differ by 0.27, so that most of the scatter is theirs. Higher jets end sooner: ln(c) falls by
   0.25·ln(b) in the fitting half and by 0.32 in the other. The tip slows faster than g at first, so that √(2H/g) bounds
   the rise (van Rijn et al. 2021). The trade's flash near 280 ms (common practice, no source) lies within.

The factors belong to the rig, not to one height: what was learned at one height holds at another. Two rigs that are
much alike may share them in part: of all pairs of runs in the fitting half, the twentieth that is nearest in We, Fr, N
and depth over R errs alike in height (correlation 0.55) and rise (0.37), the others do not. Nothing uses this.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
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

_MEDIANS: Vector = (1.05, 2.5, 0.70)  # a, b, c
_SPREADS: Vector = (0.08, 0.25, 0.26)  # see `JetPrior`
# The height's spread grows by this for each power of e that viscosity takes away.
_OF_DAMPING = 0.25
_ONSET_BY_GRAVITY, _ONSET_BY_TENSION, _ONSET_BY_VISCOSITY = 0.327, 9.9, 0.72
_DAMPED_FROM, _DAMPED_BOND = 0.0089, 25.0
_LOWER_BOND, _SOONER_BOND = 11.2, 10.0
_SOONER_HIGHER = 0.25  # jets higher than the law end sooner by this power of how much
_BREAKING_SHARE = 0.5  # see `tip_heights`
#: A lower bulge than this is not a jet that a drop could meet (our choice).
LEAST_JET_M = 0.002
# Outside the regime the numbers come from, and for unknown liquids, the spreads grow (estimates).
_OTHER_REGIME_WIDER = 1.5
_UNKNOWN_LIQUID_WIDER = 1.25


class JetSample(NamedTuple):
    """Draws of a jet: onset after the impact in s, rise in s, height in m; arrays of one shape."""

    onset_s: NDArray[np.float64]
    rise_s: NDArray[np.float64]
    height_m: NDArray[np.float64]


@dataclass(frozen=True)
class JetPrior:
    """What is known about a rig's jets: the factors a, b and c as independent quantities, and the scales.

    `onset_scale_s`, `height_scale_m` and `rise_scale`, the laws with factors of 1, belong to one impact
    (`rise_scale` is a share of √(2·height/g)); `medians` and `spreads` to the rig. Spreads are those of ln(a) and
    ln(c), and of b as `take_root_law` has it. Immutable.
    Raises PhysicsRangeError for scales that are not positive.
    """

    onset_scale_s: float
    height_scale_m: float
    rise_scale: float = 1.0
    gravity: float = STANDARD_GRAVITY
    medians: Vector = _MEDIANS
    spreads: Vector = _SPREADS

    def __post_init__(self) -> None:
        check_range("onset scale", self.onset_scale_s, 1e-3, 0.5, "s")
        check_range("height scale", self.height_scale_m, 1e-5, 0.5, "m")
        check_range("rise scale", self.rise_scale, 0.05, 5.0)
        check_range("gravity", self.gravity, 9.7, 9.9, "m/s²")
        for spread in self.spreads:
            check_range("spread of a jet factor", spread, 0.0, 3.0)

    def sample(self, rng: np.random.Generator, count: int = 1) -> JetSample:
        """Draw `count` jets, shape (count,). The rise is cut at its bound √(2·height/g)."""
        import numpy as np

        shifts = rng.standard_normal((count, 3)) * self.spreads
        a, c = (self.medians[i] * np.exp(shifts[:, i]) for i in (0, 2))
        b = self.medians[1] * take_root_law(shifts[:, 1])
        height = b * self.height_scale_m
        share = c * self.rise_scale * end_sooner(b)
        rise = np.minimum(share, 1.0) * np.sqrt(2.0 * height / self.gravity)
        return JetSample(a * self.onset_scale_s, rise, height)

    def percentiles(
        self, quantity: str, percents: tuple[float, ...] = (5.0, 50.0, 95.0)
    ) -> tuple[float, ...]:
        """Percentiles of "onset_s", "height_m" or "rise_s", in SI units, from 20,000 draws."""
        import numpy as np

        for percent in percents:
            check_range("percentile", percent, 0.0, 100.0)
        drawn = self.sample(np.random.default_rng(0), 20_000)._asdict()
        if quantity not in drawn:
            raise PhysicsRangeError(
                f"{quantity!r} is not a quantity of a jet: {', '.join(drawn)}",
                quantity="quantity of a jet", found=quantity,
            )  # fmt: skip
        return tuple(float(one) for one in np.percentile(drawn[quantity], percents))

    def widen(self, factor: float) -> JetPrior:
        """The same medians, spreads times `factor` (0.1-10)."""
        check_range("widening", factor, 0.1, 10.0)
        a, b, c = self.spreads
        return replace(self, spreads=(factor * a, factor * b, factor * c))


def take_root_law(shift: Any) -> Any:
    """A factor whose square root is normal: 1 at 0, about 1 + `shift` beside it, at least 0.01. Floats or arrays."""
    import numpy as np

    return np.maximum(0.1, 1.0 + 0.5 * shift) ** 2


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
            "sinks in without a splash; raise the nozzle or make the drop larger",
            key="valve[1].height", quantity="impact Weber number",
            found=groups.weber, low=COALESCENCE_WEBER,
        )  # fmt: skip
    radius = cavity_radius_bound(diameter_m, groups.froude)
    viscosity = cavity_viscosity(liquid, speed_m_s, radius)
    height = height_law(radius, liquid, viscosity, depth_m, gravity)
    if _MEDIANS[1] * height < LEAST_JET_M:
        raise PhysicsRangeError(
            f"no jet: {liquid.name} of {viscosity * liquid.density_kg_m3 * 1e3:.0f} mPa·s on {depth_m * 1e3:.3g} mm "
            f"of liquid rises {_MEDIANS[1] * height * 1e3:.1g} mm, less than {LEAST_JET_M * 1e3:.0f} mm; "
            "thin the liquid (most use 1 to 10 mPa·s), or use a deeper dish",
            key="liquid", quantity="jet height", found=_MEDIANS[1] * height, low=LEAST_JET_M,
        )  # fmt: skip
    prior = JetPrior(
        onset_law(radius, liquid, viscosity, depth_m, gravity), height,
        scale_rise(radius, liquid, depth_m, gravity), gravity,
    )  # fmt: skip
    damping = damping_exponent(radius, liquid, viscosity, gravity)
    a, b, c = prior.spreads
    prior = replace(prior, spreads=(a, math.hypot(b, _OF_DAMPING * damping), c))
    if regime is not Regime.JET:
        prior = prior.widen(_OTHER_REGIME_WIDER)
    if liquid.unknown:
        prior = prior.widen(_UNKNOWN_LIQUID_WIDER)
    return prior


def summarize_laws() -> list[float]:
    """Scales in SI units, medians and spreads of one splash (4 mm, 3.3 m/s, water of 10 mPa·s), to four digits.

    They change when a law does, so that what was learned by another law can be told apart.
    """
    prior = draw_jet_prior(4e-3, 3.3, liquid=replace(WATER, viscosity_pa_s=0.01))
    scales = prior.onset_scale_s, prior.height_scale_m, prior.rise_scale
    return [float(f"{one:.4g}") for one in (*scales, *prior.medians, *prior.spreads)]


def onset_law(
    radius_m: Any, liquid: Liquid, viscosity_m2_s: float, depth_m: float, gravity: float
) -> Any:
    """Onset in s with a factor of 1; floats or arrays of R."""
    by_tension = (
        _ONSET_BY_TENSION * liquid.surface_tension_n_m / (liquid.density_kg_m3 * radius_m**3)
    )
    later, _, _ = depth_factors(depth_m / radius_m)
    damped = _ONSET_BY_VISCOSITY * (viscosity_m2_s / (gravity * radius_m**3) ** 0.5) ** 0.5
    return later * math.e**-damped * (_ONSET_BY_GRAVITY * gravity / radius_m + by_tension) ** -0.5


def height_law(
    radius_m: Any, liquid: Liquid, viscosity_m2_s: float, depth_m: float, gravity: float
) -> Any:
    """Height in m with a factor of 1; floats or arrays of R."""
    _, lower, _ = depth_factors(depth_m / radius_m)
    damping = damping_exponent(radius_m, liquid, viscosity_m2_s, gravity)
    small = 1.0 + (_LOWER_BOND / _find_bond(radius_m, liquid, gravity)) ** 3
    return lower * radius_m * math.e**-damping / small


def rise_share(
    radius_m: Any, liquid: Liquid, depth_m: float, gravity: float, height_factor: Any
) -> Any:
    """Rise over √(2·height/g) with a factor of 1, not yet bounded; floats or arrays of R and of b."""
    return scale_rise(radius_m, liquid, depth_m, gravity) * end_sooner(height_factor)


def scale_rise(radius_m: Any, liquid: Liquid, depth_m: float, gravity: float) -> Any:
    """The part of `rise_share` that does not depend on the jet's own height."""
    _, _, sooner = depth_factors(depth_m / radius_m)
    return sooner / (1.0 + (_SOONER_BOND / _find_bond(radius_m, liquid, gravity)) ** 3)


def end_sooner(height_factor: Any) -> Any:
    """What is left of a rise where the jet is higher than the law."""
    return (_MEDIANS[1] / height_factor) ** _SOONER_HIGHER


def _find_bond(radius_m: Any, liquid: Liquid, gravity: float) -> Any:
    """B, the cavity's Bond number."""
    return liquid.density_kg_m3 * gravity * radius_m**2 / liquid.surface_tension_n_m


def damping_exponent(radius_m: Any, liquid: Liquid, viscosity_m2_s: float, gravity: float) -> Any:
    """The power of e by which viscosity lowers a jet."""
    number = viscosity_m2_s / (gravity * radius_m**3) ** 0.5
    return number / _DAMPED_FROM * (_DAMPED_BOND / _find_bond(radius_m, liquid, gravity)) ** 0.5


def cavity_viscosity(liquid: Liquid, speed_m_s: float, radius_m: float) -> float:
    """Kinematic viscosity in m²/s at the cavity's shear rate, U/R (estimate)."""
    return liquid.viscosity_at(speed_m_s / radius_m) / liquid.density_kg_m3


def depth_factors(depth_ratio: Any) -> tuple[Any, Any, Any]:
    """By how much a dish makes the onset later, the jet lower and its rise shorter; `depth_ratio` is depth over R.

    Hobbs & Osheroff (1967, Science 158:1184, abstract) saw jets become higher from 25 to 7 mm of depth, fall off
    sharply below 7 mm, and throw no drops below about 3 mm. The fall is in the law, the rise is within its scatter.
    """
    later = 1.0 + 0.388 * math.e ** -((depth_ratio / 0.717) ** 2)
    lower = 1.0 - math.e ** -((depth_ratio / 0.264) ** 4)
    sooner = math.e ** (-0.45 * math.e ** -((depth_ratio / 0.8) ** 2))
    return later, lower, sooner


def follow_tip(before_top_s: Any, height_m: Any, rise_s: Any, gravity: float) -> Any:
    """`tip_heights`, unchecked, for floats too, so long before the highest point (negative: after it)."""
    square = 0.5 * gravity * rise_s**2 / height_m
    breaking = _BREAKING_SHARE * (1.0 - square**0.5)
    missing = before_top_s / rise_s
    up = (missing > 0.0) * missing
    return height_m * (
        1.0 - square * missing**2 - breaking * up - (1.0 - square - breaking) * up**3
    )


def tip_heights(
    time_s: ArrayLike,
    onset_s: ArrayLike,
    height_m: ArrayLike,
    rise_s: ArrayLike,
    *,
    gravity: float = STANDARD_GRAVITY,
) -> NDArray[np.float64]:
    """Height in m of the jet's tip at `time_s` after the impact, 0 before the onset and after; arrays are broadcast.

    With y = (onset + rise − t)/rise and c² = g·rise²/2H: h = H·[1 − c²·y² − k·y − (1 − c² − k)·y³] on the way up.
    It slows hardest at first, as van Rijn et al. (2021) observe. Jets that rise for the whole √(2H/g) come to rest at
    the top; those that end sooner break there while the tip still moves, k = (1 − c)/2. The form is ours; against the
    columns of both halves it is 0.07·H off (rms). On the way down h = H − g·(t − top)²/2.
    Raises PhysicsRangeError when the rise exceeds its bound √(2H/g).
    """
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
    height = follow_tip(onset + rise - time, top, rise, gravity)
    return np.where(time <= onset, 0.0, np.maximum(height, 0.0))
