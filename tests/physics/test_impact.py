"""Dimensionless groups, regimes and cavity against fluids and published laws."""

from __future__ import annotations

import math
from dataclasses import replace

import fluids
import pytest
from hypothesis import given
from hypothesis import strategies as st

from beamfall.physics.impact import (
    Regime,
    bubble_band,
    cavity_radius_bound,
    classify_impact,
    impact_groups,
)
from beamfall.physics.liquids import WATER, glycerol_water


def test_groups_of_the_reference_drop() -> None:
    # fluids 1.3.1 at 4 mm, 3.3275 m/s, water 20 °C: We 607.8, Re 13265, Oh 0.001859, Fr 282.3
    groups = impact_groups(4e-3, 3.3275)
    assert groups.weber == pytest.approx(607.8, abs=0.05)
    assert groups.reynolds == pytest.approx(13265, abs=1)
    assert groups.ohnesorge == pytest.approx(0.001859, abs=1e-6)
    assert groups.froude == pytest.approx(282.3, abs=0.05)


@pytest.mark.parametrize(("diameter", "speed"), [(2e-3, 1.2), (4e-3, 3.3), (5.5e-3, 4.1)])
def test_groups_agree_with_fluids(diameter: float, speed: float) -> None:
    # fluids 1.3.1; its Froude is the root unless squared, its Bond takes a density difference
    liquid = glycerol_water(0.4)
    rho, mu, sigma = liquid.density_kg_m3, liquid.viscosity_pa_s, liquid.surface_tension_n_m
    groups = impact_groups(diameter, speed, liquid)
    assert groups.weber == pytest.approx(fluids.Weber(V=speed, L=diameter, rho=rho, sigma=sigma))
    assert groups.reynolds == pytest.approx(fluids.Reynolds(V=speed, D=diameter, rho=rho, mu=mu))
    assert groups.ohnesorge == pytest.approx(
        fluids.Ohnesorge(L=diameter, rho=rho, mu=mu, sigma=sigma)
    )
    assert groups.froude == pytest.approx(fluids.Froude(V=speed, L=diameter, squared=True))
    assert groups.bond == pytest.approx(fluids.Bond(rhol=rho, rhog=0.0, sigma=sigma, L=diameter))


def test_a_gum_counts_with_its_viscosity_at_the_shear_of_the_impact() -> None:
    thick = replace(WATER, consistency=0.5, flow_index=0.4)
    # shear U/D = 800 1/s: η = 0.5·800^(−0.6) = 9.06 mPa·s
    eta = 0.5 * 800.0**-0.6
    assert impact_groups(4e-3, 3.2, thick).reynolds == pytest.approx(998.207 * 3.2 * 4e-3 / eta)


@pytest.mark.parametrize("froude", [50.0, 100.0, 282.3])
def test_the_bubble_band_is_that_of_oguz_and_prosperetti(froude: float) -> None:
    # Oguz & Prosperetti 1990, J. Fluid Mech. 219:143 (second-hand): 41.3 Fr^0.179, 48.3 Fr^0.247
    low, high = bubble_band(froude)
    assert low == pytest.approx(math.exp(math.log(41.3) + 0.179 * math.log(froude)))
    assert high == pytest.approx(math.exp(math.log(48.3) + 0.247 * math.log(froude)))


def test_the_regimes_a_photographer_meets() -> None:
    def classify(diameter: float, speed: float, depth: float) -> Regime:
        return classify_impact(impact_groups(diameter, speed), depth)

    # 4 mm from 0.6 m: We 608 lies above the band's upper end 194.7 (Oguz & Prosperetti): thick jet
    assert classify(4e-3, 3.3275, 0.02) is Regime.JET
    # the same on 2 mm of liquid: no jet below about 3 mm (Hobbs & Osheroff 1967)
    assert classify(4e-3, 3.3275, 0.002) is Regime.CROWN
    # 2.6 mm at 2.0 m/s: Fr 157, We 143 inside 102-168 (Oguz & Prosperetti)
    assert classify(2.6e-3, 2.0, 0.02) is Regime.BUBBLE
    # 4 mm at 1.1 m/s: Fr 31, We 66 below 76
    assert classify(4e-3, 1.1, 0.02) is Regime.CAVITY
    # U·√(ρD/σ) ≈ 8 (Hsiao, Lichter & Quintero 1988, Phys. Fluids 31:3560): We 55 < 64
    assert classify(4e-3, 1.0, 0.02) is Regime.COALESCENCE


def test_the_cavity_bound_is_an_energy_balance() -> None:
    # Pumphrey & Elmore 1990: πρD³U²/12 = πρgR⁴/4
    d, u = 4e-3, 3.3275
    radius = cavity_radius_bound(d, impact_groups(d, u).froude)
    kinetic = math.pi * WATER.density_kg_m3 * d**3 * u**2 / 12
    potential = math.pi * WATER.density_kg_m3 * 9.80665 * radius**4 / 4
    assert potential == pytest.approx(kinetic)
    assert radius == pytest.approx(12.46e-3, abs=5e-6)


@given(st.floats(1e-3, 9e-3), st.floats(0.1, 8.0))
def test_weber_reynolds_and_ohnesorge_belong_together(diameter: float, speed: float) -> None:
    # identity: Oh = √We/Re, and We = Bo·Fr
    groups = impact_groups(diameter, speed)
    assert groups.ohnesorge == pytest.approx(math.sqrt(groups.weber) / groups.reynolds)
    assert groups.weber == pytest.approx(groups.bond * groups.froude)
