"""The drop's volume from a kitchen scale: many drops weighed together.

A cheap cure for a valve whose head, bore and length are not well known. The volume also sets the drop's
first speed, see `physics.drops.start_speed`.
"""

from __future__ import annotations

import math

from beamfall.errors import CalibrationError
from beamfall.physics.drops import compute_volume
from beamfall.planning.setting import compute_drop, make_setting
from beamfall.planning.unknowns import Normal, spread_volume
from beamfall.setup.rig import Rig

SCALE_KG = 5e-5  # error of a scale that shows tenths of a gram (our choice)
_OTHER = 0.01  # a drop miscounted, evaporation, drops that stick (estimate)
_MOST_OFF = 3.0  # a ratio that is farther from 1 is a mistake


def weigh(rig: Rig, mass_kg: float, count: int) -> tuple[Normal, float, float]:
    """What `count` drops of that mass show: the unknown's distribution, one drop's volume in m³ and its error.

    Raises CalibrationError if they are three times as large or small as the rig file says.
    """
    setting = make_setting(rig, rig.valves[0].output)
    volume = mass_kg / count / setting.liquid.density_kg_m3
    expected = compute_volume(compute_drop(rig.valves[0], setting))
    if not 1.0 / _MOST_OFF < volume / expected < _MOST_OFF:
        raise CalibrationError(
            f"{count} drops of {mass_kg * 1e3:.3g} g have {volume * 1e9:.3g} µL each; the rig file's valve "
            f"should make {expected * 1e9:.3g} µL. Check the count, the scale, and head, bore and opening"
        )
    error = math.hypot(SCALE_KG / mass_kg, _OTHER)
    spread = spread_volume(rig)
    if spread <= 0.0:
        raise CalibrationError(
            "uncertainty.volume is 0: the rig file says that the volume is known exactly. "
            'To use the weighing, write "15 %" there'
        )
    # A normal measurement of z times the unit normal prior.
    precision = 1.0 + (spread / error) ** 2
    mean = math.log(volume / expected) / spread * (spread / error) ** 2 / precision
    known = Normal(("volume_ratio",), (mean,), ((1.0 / precision,),))
    return known, volume, error * volume
