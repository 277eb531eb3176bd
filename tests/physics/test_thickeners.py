"""Gums and sugar by the gram, against what is published."""

from __future__ import annotations

import pytest
from out_of_range import refuses

from beamfall.physics.liquids import WATER, alcohol_water, mix_by_parts
from beamfall.physics.thickeners import thicken


@pytest.mark.parametrize(
    ("dose", "viscosity"), [(0.1, 2.9), (0.2, 5.9), (0.3, 9.6), (0.4, 19.0), (0.5, 39.0)]
)
def test_guar_thickens_as_morris_measured(dose: float, viscosity: float) -> None:
    # Morris et al. 1981, Carbohydr. Polym. 1:5 (abstract), with [η] of 12 dL/g (from memory)
    thick = thicken(WATER, "guar", dose)
    assert thick.viscosity_pa_s * 1e3 == pytest.approx(viscosity, rel=0.07)
    assert thick.unknown == {"viscosity_pa_s"}


def test_xanthan_thins_under_shear() -> None:
    # 100 1/s: about 19 mPa·s at 0.2 g per 100 mL (from memory)
    thick = thicken(WATER, "xanthan", 0.2)
    assert thick.viscosity_at(100.0) * 1e3 == pytest.approx(19.0, rel=0.01)
    assert thick.viscosity_at(10.0) > 3.0 * thick.viscosity_at(100.0)


def test_sugar_and_alcohol_by_the_tables() -> None:
    # CRC Handbook (from memory): 20 % sucrose 1.945 mPa·s; 40 % ethanol 2.91 mPa·s, 29.7 mN/m
    assert thicken(WATER, "sugar", 24.955).viscosity_pa_s * 1e3 == pytest.approx(1.945, rel=0.01)
    strong = alcohol_water(0.4)
    assert strong.viscosity_pa_s == pytest.approx(2.91e-3)
    assert strong.surface_tension_n_m == pytest.approx(29.7e-3)
    assert mix_by_parts({"water": 6, "alcohol": 4}).surface_tension_n_m < 0.04


def test_a_dose_beyond_the_tables_is_refused() -> None:
    with refuses("grams of guar per 100 mL", 30.0):
        thicken(WATER, "guar", 30.0)
