"""Gums and sugar by the gram: what they do to the liquid they are stirred into.

Doses are in grams per 100 mL of the liquid, 1 g/dL.
"""

from __future__ import annotations

import math
from dataclasses import replace

from beamfall.physics.liquids import Liquid
from beamfall.physics.ranges import check_range

#: What `thicken` knows, with the largest dose in g per 100 mL.
THICKENERS = {"guar": 1.0, "xanthan": 1.0, "sugar": 150.0}

#: Grams in a level teaspoon (common practice, no source).
TEASPOON_G = {"guar": 3.0, "xanthan": 3.0, "sugar": 4.0}

# Guar: Morris et al. (1981, Carbohydr. Polym. 1:5): specific viscosity 10 where c·[η] = 4, with slopes of 1.4
# below and 3.3 above; [η] about 12 dL/g (from memory; grades differ).
_GUAR_DL_G, _COIL_OVERLAP, _AT_OVERLAP = 12.0, 4.0, 10.0
_GUAR_SLOPES = (1.4, 3.3)
# Xanthan in water at 100 1/s, mPa·s over g per 100 mL, and its power-law index (from memory; salt changes both).
_XANTHAN = ((0.0, 1.0), (0.1, 9.0), (0.2, 19.0), (0.5, 70.0), (1.0, 190.0))
_XANTHAN_INDEX = 0.45
_XANTHAN_SHEAR_PER_S = 100.0
# Sucrose in water at 20 °C: mass fraction, mPa·s, kg/m³ (CRC Handbook, from memory).
_SUGAR = (
    (0.0, 1.002, 998.2), (0.1, 1.336, 1038.1), (0.2, 1.945, 1080.9), (0.3, 3.187, 1127.0),
    (0.4, 6.167, 1176.5), (0.5, 15.43, 1229.7), (0.6, 58.5, 1286.6),
)  # fmt: skip


def thicken(liquid: Liquid, name: str, dose: float) -> Liquid:
    """The liquid with `dose` g per 100 mL of one of THICKENERS.

    A gum's viscosity depends on its grade and on time, so it is marked unknown; sugar's is known. Raises
    PhysicsRangeError for a dose outside the tables.
    """
    check_range(f"grams of {name} per 100 mL", dose, 0.0, THICKENERS[name])
    if dose == 0.0:
        return liquid
    said = f"{liquid.name} with {dose:g} g of {name} in 100 mL"
    if name == "sugar":
        share = dose / (dose + 0.1 * liquid.density_kg_m3)
        thicker = math.exp(
            _between([(c, math.log(mu / _SUGAR[0][1])) for c, mu, _ in _SUGAR], share)
        )
        denser = _between([(c, rho / _SUGAR[0][2]) for c, _, rho in _SUGAR], share)
        return replace(
            liquid, name=said, viscosity_pa_s=liquid.viscosity_pa_s * thicker, consistency=None,
            density_kg_m3=liquid.density_kg_m3 * denser,
        )  # fmt: skip
    unknown = liquid.unknown | {"viscosity_pa_s"}
    if name == "guar":
        overlap = dose * _GUAR_DL_G
        slope = _GUAR_SLOPES[overlap > _COIL_OVERLAP]
        specific = _AT_OVERLAP * (overlap / _COIL_OVERLAP) ** slope
        thick = liquid.viscosity_pa_s * (1.0 + specific)
        return replace(liquid, name=said, viscosity_pa_s=thick, consistency=None, unknown=unknown)
    thick = liquid.viscosity_pa_s * math.exp(
        _between([(c, math.log(mu)) for c, mu in _XANTHAN], dose)
    )
    return replace(
        liquid, name=said, viscosity_pa_s=thick, flow_index=_XANTHAN_INDEX,
        consistency=thick * _XANTHAN_SHEAR_PER_S ** (1.0 - _XANTHAN_INDEX), unknown=unknown,
    )  # fmt: skip


def _between(points: list[tuple[float, float]], at: float) -> float:
    """By straight lines between points."""
    for (x0, y0), (x1, y1) in zip(points, points[1:], strict=False):
        if at <= x1:
            return y0 + (y1 - y0) * (at - x0) / (x1 - x0)
    return points[-1][1]
