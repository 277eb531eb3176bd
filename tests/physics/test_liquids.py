"""Liquids against IAPWS, Cheng, handbook tables and each other."""

from __future__ import annotations

import math
import subprocess
import sys
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from beamfall.physics.liquids import (
    WATER,
    glycerol_water,
    milk,
    mix_by_parts,
    water,
    with_surfactant,
)


# The library iapws implements the formulations of 1995 (density), R12-08 and R1-76.
@pytest.mark.parametrize("celsius", [1.0, 5.0, 10.0, 15.0, 20.0, 22.0, 25.0, 30.0, 60.0, 98.0])
def test_water_is_that_of_iapws(celsius: float) -> None:
    import iapws

    state = iapws.IAPWS95(T=celsius + 273.15, P=0.101325)
    liquid = water(celsius + 273.15)
    assert liquid.density_kg_m3 == pytest.approx(state.rho, rel=2e-5)
    assert liquid.viscosity_pa_s == pytest.approx(state.mu, rel=4e-5)
    assert liquid.surface_tension_n_m == pytest.approx(state.sigma, rel=1e-5)
    assert not liquid.unknown


def test_liquids_load_nothing_slow() -> None:
    import pathlib

    import beamfall

    host = str(pathlib.Path(beamfall.__file__).parent.parent)
    script = (
        "import sys; from beamfall.physics.liquids import *; water(295.15); glycerol_water(0.4, 298.15); "
        "milk(); assert not {'iapws', 'numpy', 'scipy'} & set(sys.modules)"
    )
    subprocess.run([sys.executable, "-c", script], check=True, env={"PYTHONPATH": host})


@pytest.mark.parametrize(
    ("fraction", "viscosity_mpa_s"),
    [(0.0, 1.005), (0.2, 1.741), (0.4, 3.685), (0.5, 6.002)],  # Cheng 2008, 20 °C
)
def test_glycerol_viscosity_is_that_of_cheng(fraction: float, viscosity_mpa_s: float) -> None:
    assert glycerol_water(fraction).viscosity_pa_s * 1e3 == pytest.approx(viscosity_mpa_s, abs=6e-4)


@pytest.mark.parametrize(
    ("fraction", "viscosity_mpa_s"),
    [
        # Sheely 1932, Ind. Eng. Chem. 24:1060, 20 °C (from memory): Cheng claims 2.3 % on average
        (0.1, 1.31),
        (0.3, 2.50),
        (0.6, 10.8),
        (1.0, 1410.0),
    ],
)
def test_glycerol_viscosity_meets_measurements(fraction: float, viscosity_mpa_s: float) -> None:
    ours = glycerol_water(fraction).viscosity_pa_s * 1e3
    assert ours == pytest.approx(viscosity_mpa_s, rel=0.04)


@pytest.mark.parametrize(
    ("fraction", "density"),
    [
        # Bosart & Snoddy 1928, Ind. Eng. Chem. 20:1377, 20 °C (from memory)
        (0.0, 998.23),
        (0.25, 1059.8),
        (0.5, 1126.3),
        (0.75, 1194.7),
        (1.0, 1261.1),
    ],
)
def test_glycerol_density_meets_measurements(fraction: float, density: float) -> None:
    assert glycerol_water(fraction).density_kg_m3 == pytest.approx(density, rel=1e-3)


def test_glycerol_surface_tension_starts_at_that_of_water() -> None:
    # IAPWS R1-76(2014): 71.972 mN/m at 25 °C
    assert glycerol_water(0.0, 298.15).surface_tension_n_m == pytest.approx(71.972e-3, abs=1e-6)
    # CRC Handbook, pure glycerol at 20 °C: 63.4 mN/m (from memory)
    assert glycerol_water(1.0).surface_tension_n_m == pytest.approx(63.4e-3, abs=1e-4)


def test_milk_surface_tension() -> None:
    # J. Dairy Research 50:259, 1983: 1.8e-4·θ² − 0.163·θ + 55.6 -> 52.41 mN/m at 20 °C
    assert milk().surface_tension_n_m == pytest.approx(52.412e-3, abs=1e-6)
    # 40 °C: 0.288 − 6.52 + 55.6 = 49.37 mN/m
    assert milk(313.15).surface_tension_n_m == pytest.approx(49.368e-3, abs=1e-6)
    assert milk().unknown == {"density_kg_m3", "viscosity_pa_s"}


def test_a_gum_thins_under_shear_by_the_power_law() -> None:
    # Ostwald-de Waele: K 0.5 Pa·s^n, n 0.4 -> 0.5·1000^(−0.6) = 7.924 mPa·s at 1000 1/s
    thick = replace(WATER, consistency=0.5, flow_index=0.4)
    assert thick.viscosity_at(1000.0) == pytest.approx(7.9245e-3, rel=1e-4)
    assert WATER.viscosity_at(1e6) == WATER.viscosity_pa_s


def test_a_surfactant_is_marked_unknown() -> None:
    assert with_surfactant(WATER).unknown == {"surface_tension_n_m"}


def test_a_recipe_by_volume() -> None:
    # 10 parts water and 2 parts glycerol by volume: mass fraction 2·1261.1/(2·1261.1 + 10·998.2)
    by_volume = mix_by_parts({"water": 10, "glycerol": 2})
    assert by_volume.density_kg_m3 == pytest.approx(
        glycerol_water(2522.2 / (2522.2 + 9982.0)).density_kg_m3, rel=1e-4
    )
    assert mix_by_parts({"water": 9, "dye": 1}) == WATER
    everything = mix_by_parts({"milk": 1, "water": 1, "gum": 0.01, "surfactant": 0.01})
    assert everything.unknown == {"density_kg_m3", "viscosity_pa_s", "surface_tension_n_m"}
    assert everything.density_kg_m3 == pytest.approx((1030.0 + 998.207) / 2, abs=1e-3)


@given(st.floats(0.0, 1.0), st.floats(0.0, 1.0), st.floats(288.15, 303.15))
def test_more_glycerol_is_thicker_and_denser(a: float, b: float, temperature: float) -> None:
    thin, thick = (glycerol_water(c, temperature) for c in sorted((a, b)))
    assert thin.viscosity_pa_s <= thick.viscosity_pa_s * (1 + 1e-9)
    assert thin.density_kg_m3 <= thick.density_kg_m3 + 1e-6
    assert math.isfinite(thick.viscosity_pa_s)
