"""Blur, flash and optics against formulae of the trade and independent derivations."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from beamfall.physics.light import (
    airy_diameter,
    blur_on_sensor,
    choose_flash_power,
    convert_half_to_tenth,
    estimate_flash_duration,
    judge_blur,
)


def test_blur_on_the_sensor() -> None:
    # references: 3.33 m/s, 1/20000 s, m 1 -> 167 µm (3.33/20000 = 166.5)
    assert blur_on_sensor(3.33, 1 / 20_000, 1.0) == pytest.approx(166.5e-6)


def test_blur_counts_above_the_larger_of_pixel_and_airy_disc() -> None:
    # references 'Light': t0.1 = 3.32·t0.5, N_eff = 16·1.5 = 24, Airy 2.44·550 nm·24 = 32.2 µm.
    blur = judge_blur(3.33, 5e-5, 0.5, 4e-6, 16.0)
    assert blur.length_m == pytest.approx(3.33 * 3.32 * 5e-5 * 0.5, rel=1e-3)
    assert blur.hidden_m == pytest.approx(32.2e-6, abs=0.1e-6) and blur.visible
    # 32.2 µm at 3.33 m/s and m 0.5 is 19.3 µs of t0.1, 5.8 µs of t0.5: four pixels, and not seen.
    assert not judge_blur(3.33, 5.8e-6, 0.5, 4e-6, 16.0).visible
    assert judge_blur(3.33, 5.9e-6, 0.5, 4e-6, 16.0).visible
    # A wide aperture and large pixels: now the pixel hides more than diffraction.
    assert judge_blur(3.33, 5e-5, 0.5, 9e-6, 2.0).hidden_m == 9e-6


def test_tenth_of_an_exponential_tail() -> None:
    # ISO 2827 names t0.5 and t0.1; exp(−t/τ): t0.5 = τ ln 2, t0.1 = τ ln 10, ratio 3.32
    assert convert_half_to_tenth(1e-4) == pytest.approx(3.32e-4, abs=1e-6)


@pytest.mark.parametrize(("power", "duration"), [(1.0, 1 / 1000), (1 / 64, 1 / 20_000)])
def test_flash_duration_by_power(power: float, duration: float) -> None:
    # common practice, no source: 1/1000 s at full power, 1/20000 s at 1/64
    assert estimate_flash_duration(power) == pytest.approx(duration)


def test_flash_power_for_a_sharp_drop() -> None:
    # m 1, N 16: the Airy disc of 2.44·550 nm·32 = 42.9 µm hides 0.2 m/s over 215 µs of t0.1, 64.7 µs of
    # t0.5. At 1/32 the flash lasts 82 µs, at 1/64 50 µs; at 0.1 m/s 129 µs are enough: 1/16 lasts 136 µs.
    assert choose_flash_power(0.2, 1.0, 5e-6, 16.0) == 1 / 64
    assert choose_flash_power(0.1, 1.0, 5e-6, 16.0) == 1 / 32
    assert choose_flash_power(3.33, 1.0, 4e-6, 16.0) == 1 / 64  # none is short enough


def test_airy_disc() -> None:
    from scipy.special import jn_zeros

    # first zero of J1 is 3.8317 (scipy 1.17.1): diameter 2·3.8317/π·λ·N_eff = 2.44·λ·N_eff
    zero = float(jn_zeros(1, 1)[0])
    expected = 2 * zero / math.pi * 550e-9 * 16.0 * 1.5
    assert airy_diameter(16.0, 0.5) == pytest.approx(expected, rel=1e-5)


@given(st.floats(1 / 256, 1.0), st.floats(1 / 256, 1.0))
def test_less_power_is_a_shorter_flash(a: float, b: float) -> None:
    low, high = sorted((a, b))
    assert estimate_flash_duration(low) <= estimate_flash_duration(high)
