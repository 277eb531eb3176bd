"""What a drop does when it strikes: dimensionless groups, regimes, and the cavity it opens."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum

from beamfall.physics.gravity import STANDARD_GRAVITY
from beamfall.physics.liquids import WATER, Liquid
from beamfall.physics.ranges import check_range

#: Depth of the dish in m below which no jet throws off drops (Hobbs & Osheroff 1967, Science 158:1184).
SHALLOWEST_JET_M = 0.003
#: Depth in cavity radii from which a jet loses less than a tenth of its height (`jet.depth_factors`).
DEEP_ENOUGH = 0.33
#: Weber number below which a drop coalesces without a splash: U·√(ρD/σ) ≈ 8 (Hsiao, Lichter & Quintero
#: 1988, Phys. Fluids 31:3560).
COALESCENCE_WEBER = 64.0


@dataclass(frozen=True)
class ImpactGroups:
    """Dimensionless groups of an impact, on the drop's diameter D and speed U.

    weber ρU²D/σ, reynolds ρUD/μ, ohnesorge μ/√(ρσD), froude U²/(gD) (not its root),
    bond ρgD²/σ.
    """

    weber: float
    reynolds: float
    ohnesorge: float
    froude: float
    bond: float


def impact_groups(
    diameter_m: float,
    speed_m_s: float,
    liquid: Liquid = WATER,
    *,
    gravity: float = STANDARD_GRAVITY,
) -> ImpactGroups:
    """Groups of a drop of 0.5-10 mm that strikes at 0.05-10 m/s.

    For a power-law liquid the viscosity is taken at the shear rate U/D.
    """
    d = check_range("drop diameter", diameter_m, 5e-4, 0.01, "m")
    u = check_range("impact speed", speed_m_s, 0.05, 10.0, "m/s")
    check_range("gravity", gravity, 9.7, 9.9, "m/s²")
    density, tension = liquid.density_kg_m3, liquid.surface_tension_n_m
    viscosity = liquid.viscosity_at(u / d)
    return ImpactGroups(
        weber=density * u * u * d / tension,
        reynolds=density * u * d / viscosity,
        ohnesorge=viscosity / math.sqrt(density * tension * d),
        froude=u * u / (gravity * d),
        bond=density * gravity * d * d / tension,
    )


def bubble_band(froude: float) -> tuple[float, float]:
    """Weber numbers between which each drop traps a bubble: 41.3·Fr^0.179 to 48.3·Fr^0.247.

    Oguz & Prosperetti (1990, J. Fluid Mech. 219:143), second-hand; Fr = U²/gD of 20-1,000, water.
    Above the band the cavity closes later and throws up a thick jet.
    """
    check_range("Froude number", froude, 20.0, 1000.0)
    return 41.3 * froude**0.179, 48.3 * froude**0.247


class Regime(Enum):
    """What the impact makes of the surface."""

    COALESCENCE = "the drop sinks in with little more than a ring of waves"
    CAVITY = "a cavity that fills without a bubble, a low bulge after it"
    BUBBLE = "a cavity that traps a bubble and throws up a thin fast jet"
    JET = "a crown, a wide cavity and a thick jet"
    CROWN = "a crown on a layer too shallow for a jet"


def classify_impact(groups: ImpactGroups, depth_m: float) -> Regime:
    """The regime on a layer of `depth_m` (0.1 mm to 1 m).

    Bubble band: see `bubble_band`. Below COALESCENCE_WEBER drops coalesce.
    A layer below 3 mm throws no jet (Hobbs & Osheroff 1967). Regimes shade into
    each other; the borders are those of water.
    """
    check_range("depth of liquid", depth_m, 1e-4, 1.0, "m")
    if groups.weber < COALESCENCE_WEBER:
        return Regime.COALESCENCE
    if depth_m < SHALLOWEST_JET_M:
        return Regime.CROWN
    low, high = bubble_band(min(max(groups.froude, 20.0), 1000.0))
    if groups.weber < low:
        return Regime.CAVITY
    return Regime.BUBBLE if groups.weber <= high else Regime.JET


def cavity_radius_bound(diameter_m: float, froude: float) -> float:
    """Largest radius in m the cavity can reach: D·(Fr/3)^(1/4).

    All the energy of the drop, πρD³U²/12, lifts the liquid out of a half sphere, πρgR⁴/4 (after
    Pumphrey & Elmore 1990, J. Fluid Mech. 220:539). An upper bound: surface, splash and flow take
    their share.
    """
    check_range("drop diameter", diameter_m, 5e-4, 0.01, "m")
    check_range("Froude number", froude, 3.0, 2000.0)
    return float(diameter_m * (froude / 3.0) ** 0.25)
