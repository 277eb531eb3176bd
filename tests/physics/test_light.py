"""Blur, flash and optics against formulae of the trade and independent derivations."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from beamfall.errors import PhysicsRangeError
from beamfall.physics.light import (
    airy_diameter,
    ambient_stops,
    blur_on_sensor,
    choose_flash_power,
    convert_half_to_tenth,
    depth_of_field,
    effective_aperture,
    estimate_flash_duration,
    exposure_value,
    flash_exposure_stops,
    judge_blur,
)


def test_blur_on_the_sensor() -> None:
    # references: 3.33 m/s, 1/20000 s, m 1 -> 167 µm (3.33/20000 = 166.5)
    assert blur_on_sensor(3.33, 1 / 20_000, 1.0) == pytest.approx(166.5e-6)


def test_a_warning_only_where_blur_exceeds_a_pixel() -> None:
    # 4 µm pixel, 3.33 m/s, m 0.5: one pixel is 2.40 µs
    sharp = judge_blur(3.33, 2.4e-6, 0.5, 4e-6)
    smeared = judge_blur(3.33, 5.0e-5, 0.5, 4e-6)
    assert sharp.warning == "" and sharp.pixels < 1.0
    assert smeared.pixels == pytest.approx(20.8, abs=0.05)
    assert "only 2.4 µs" in smeared.warning and "lowest power" in smeared.warning


def test_the_named_cure_holds() -> None:
    longest = 4e-6 / (3.33 * 0.5)
    assert judge_blur(3.33, longest * 0.999, 0.5, 4e-6).warning == ""


def test_tenth_of_an_exponential_tail() -> None:
    # ISO 2827 names t0.5 and t0.1; exp(−t/τ): t0.5 = τ ln 2, t0.1 = τ ln 10, ratio 3.32
    assert convert_half_to_tenth(1e-4) == pytest.approx(3.32e-4, abs=1e-6)


@pytest.mark.parametrize(("power", "duration"), [(1.0, 1 / 1000), (1 / 64, 1 / 20_000)])
def test_flash_duration_by_power(power: float, duration: float) -> None:
    # common practice, no source: 1/1000 s at full power, 1/20000 s at 1/64
    assert estimate_flash_duration(power) == pytest.approx(duration)


def test_flash_power_for_a_sharp_drop() -> None:
    # At 1/64 the flash lasts 50 µs: 0.1 m/s · 50 µs · 1 = 5 µm, a pixel; at 1/32 it is 8.2 µm
    assert choose_flash_power(0.0999, 1.0, 5e-6) == 1 / 64
    assert choose_flash_power(3.33, 1.0, 4e-6) == 1 / 256  # none is short enough


@pytest.mark.parametrize(
    ("m", "p", "expected"), [(1.0, 1.0, 32.0), (0.5, 1.0, 24.0), (1.0, 2.0, 24.0)]
)
def test_effective_aperture(m: float, p: float, expected: float) -> None:
    # N_eff = N(1 + m/p), N 16
    assert effective_aperture(16.0, m, pupil=p) == pytest.approx(expected)


def test_depth_of_field_of_a_close_up() -> None:
    # 2Nc(1 + m/p)/m²: N 16, m 0.5, c 0.02 mm -> 3.84 mm
    assert depth_of_field(16.0, 0.5) == pytest.approx(3.84e-3, abs=1e-6)


@pytest.mark.parametrize("m", [0.1, 0.3, 0.5, 1.0])
def test_depth_of_field_meets_the_thin_lens(m: float) -> None:
    # Exact for a symmetric thin lens f = 100 mm: near and far limit s·f²/(f² ± N·c·(s − f))
    f, n, c = 0.1, 16.0, 2e-5
    s = f * (1 + 1 / m)
    exact = s * f**2 / (f**2 - n * c * (s - f)) - s * f**2 / (f**2 + n * c * (s - f))
    assert depth_of_field(n, m, circle_m=c) == pytest.approx(exact, rel=0.01)


def test_airy_disc() -> None:
    scipy_special = pytest.importorskip("scipy.special")
    # first zero of J1 is 3.8317 (scipy 1.17.1): diameter 2·3.8317/π·λ·N_eff = 2.44·λ·N_eff
    zero = float(scipy_special.jn_zeros(1, 1)[0])
    expected = 2 * zero / math.pi * 550e-9 * 16.0 * 1.5
    assert airy_diameter(16.0, 0.5) == pytest.approx(expected, rel=1e-5)


def test_exposure_value() -> None:
    # ISO 2720: EV 0 is 1 s at f/1; f/16 and 1/125 s: log2(256·125) = 14.97
    assert exposure_value(1.0, 1.0) == 0.0
    assert exposure_value(16.0, 1 / 125) == pytest.approx(14.966, abs=1e-3)


def test_guide_number() -> None:
    # ISO 1230: GN = N·distance at ISO 100: GN 32 at 2 m exposes f/16 rightly (far subject, m ~ 0)
    assert flash_exposure_stops(32.0, 1.0, 2.0, 16.0, 1e-3) == pytest.approx(0.0, abs=0.01)
    # a quarter of the power is two stops less, ISO 400 two stops more (common practice, no source)
    assert flash_exposure_stops(32.0, 0.25, 2.0, 16.0, 1e-3) == pytest.approx(-2.0, abs=0.01)
    assert flash_exposure_stops(32.0, 0.25, 2.0, 16.0, 1e-3, iso=400) == pytest.approx(0, abs=0.01)
    # life size costs two stops: N_eff = 2N
    far, near = (flash_exposure_stops(32.0, 1.0, 2.0, 16.0, m) for m in (1e-3, 1.0))
    assert near - far == pytest.approx(-2.0, abs=0.01)


def test_ambient_light_in_a_dark_room() -> None:
    # 1 s at f/16 is EV 8: a room of EV 2 at ISO 100 exposes it six stops too little
    assert ambient_stops(1.0, 2.0, 16.0, 100.0) == pytest.approx(-6.0)
    # two stops more at ISO 400 (ISO 12232: exposure index scales with 1/exposure)
    assert ambient_stops(1.0, 2.0, 16.0, 400.0) == pytest.approx(-4.0)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: blur_on_sensor(3.3, 50.0, 1.0), "flash duration = 50 s .* 1e-06 and 0.1 s"),
        (lambda: blur_on_sensor(-1.0, 5e-5, 1.0), "speed = -1 m/s"),
        (lambda: judge_blur(3.3, 5e-5, 1.0, 4.0), r"pixel = 4 m .* 1e-06 and 5e-05 m"),
        (lambda: estimate_flash_duration(64.0), r"flash power = 64 .* 0\.00390625 and 1"),
        (lambda: effective_aperture(0.0, 1.0), "f-number = 0"),
        (lambda: effective_aperture(16.0, 1.0, pupil=0.0), "pupil magnification = 0"),
        (lambda: depth_of_field(16.0, 0.01), "magnification for depth of field = 0.01"),
        (lambda: airy_diameter(16.0, 1.0, wavelength_m=550.0), "wavelength = 550 m"),
        (lambda: exposure_value(16.0, 0.0), "exposure time = 0 s"),
        (lambda: flash_exposure_stops(32.0, 1.0, 0.0, 16.0, 0.5), "flash distance = 0 m"),
    ],
)
def test_bad_light_is_refused_with_key_value_and_range(call: object, message: str) -> None:
    assert callable(call)
    with pytest.raises(PhysicsRangeError, match=message):
        call()


@given(st.floats(1 / 256, 1.0), st.floats(1 / 256, 1.0))
def test_less_power_is_a_shorter_flash(a: float, b: float) -> None:
    low, high = sorted((a, b))
    assert estimate_flash_duration(low) <= estimate_flash_duration(high)
