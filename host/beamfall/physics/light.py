"""Blur, flash duration, aperture, depth of field and exposure of a drop in the light of a flash.

Lengths in m, times in s. Apertures are f-numbers as set on the lens; magnification m is image size
over subject size. Lenses are symmetric: exit and entrance pupil are of one size.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from beamfall.physics.ranges import check_range

#: Time to a tenth over time to a half of an exponential tail: ln 10 / ln 2 = 3.32.
TENTH_OVER_HALF = math.log(10.0) / math.log(2.0)

# A shoe flash: t0.5 near 1/1000 s at full power and 1/20,000 s at 1/64 (common practice, no
# source); a straight line between them in the logarithms gives this exponent.
_FULL_POWER_DURATION_S = 1.0 / 1000.0
LOWEST_POWER = 1.0 / 64.0
_GREEN_M = 550e-9
_POWER_EXPONENT = math.log(20.0) / math.log(64.0)


def blur_on_sensor(speed_m_s: float, duration_s: float, magnification: float) -> float:
    """Length in m by which a drop smears on the sensor: speed · duration · magnification.

    Speed 0-20 m/s, duration 1 µs to 0.1 s, magnification 0.001-10.
    """
    check_range("speed", speed_m_s, 0.0, 20.0, "m/s")
    check_range("flash duration", duration_s, 1e-6, 0.1, "s")
    check_range("magnification", magnification, 1e-3, 10.0)
    return speed_m_s * duration_s * magnification


@dataclass(frozen=True)
class Blur:
    """Blur on the sensor, and the length below which it is invisible, both in m."""

    length_m: float
    hidden_m: float

    @property
    def visible(self) -> bool:
        """Whether the blur is longer than pixel and diffraction can hide."""
        return self.length_m > self.hidden_m


def judge_blur(
    speed_m_s: float, half_s: float, magnification: float, pixel_m: float, f_number: float
) -> Blur:
    """The blur of a drop in a flash of t0.5 = `half_s`, and how much blur is invisible.

    The blur counts all light down to a tenth of the peak: speed · t0.1 · magnification. The larger of
    pixel (1-50 µm) and Airy disc hides blur shorter than itself. `half_s` 1 µs to 30 ms.
    """
    check_range("pixel", pixel_m, 1e-6, 5e-5, "m")
    length = blur_on_sensor(speed_m_s, convert_half_to_tenth(half_s), magnification)
    return Blur(length, max(pixel_m, airy_diameter(f_number, magnification)))


def convert_half_to_tenth(half_s: float) -> float:
    """t0.1 from t0.5 (ISO 2827) of a flash that dies away exponentially: times 3.32.

    A flash cut off by its transistor (shoe flashes at low power) has t0.1 nearer to t0.5: this is
    then an upper bound.
    """
    return check_range("flash duration t0.5", half_s, 1e-6, 0.1, "s") * TENTH_OVER_HALF


def estimate_flash_duration(power: float) -> float:
    """t0.5 in s of a shoe flash set to a fraction of its power, 1/256 to 1.

    A power law through 1/1000 s at full power and 1/20,000 s at 1/64 (common practice, no source):
    duration grows as power^0.72. Flashes of studio kind do the reverse: measure them.
    """
    check_range("flash power", power, 1.0 / 256.0, 1.0)
    return _FULL_POWER_DURATION_S * math.pow(power, _POWER_EXPONENT)


def choose_flash_power(
    speed_m_s: float, magnification: float, pixel_m: float, f_number: float
) -> float:
    """The highest power of 1, 1/2, 1/4 … 1/64 whose estimated blur is invisible.

    1/64 if none is short enough: on some flashes lower powers are not much shorter.
    """
    power = 1.0
    while power > LOWEST_POWER:
        duration = estimate_flash_duration(power)
        if not judge_blur(speed_m_s, duration, magnification, pixel_m, f_number).visible:
            break
        power *= 0.5
    return power


def airy_diameter(f_number: float, magnification: float) -> float:
    """Diameter in m of the Airy disc on the sensor, to its first dark ring, in green light: 2.44·λ·N·(1 + m).

    The factor is twice the first zero of J1 over π, 2.4393.
    """
    check_range("f-number", f_number, 0.7, 128.0)
    check_range("magnification", magnification, 1e-3, 10.0)
    return 2.439_34 * _GREEN_M * f_number * (1.0 + magnification)
