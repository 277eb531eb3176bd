"""The splash of one drop, from crown to falling droplet: when each part is there, and when it is at its best.

All times count from the impact; floats and arrays alike. Which moment looks best is our choice.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

#: The pictures of one drop, in their order.
MOMENTS = ("crown", "cavity", "jet", "droplet")
OF_THE_JET = ("jet", "droplet")  # those that need one
# In drop diameters travelled at the impact speed. The crown of a deep splash is still rising 2.6 of them (7 ms) after
# the impact in Worthington (1908).
CROWN_LIFE = 4.0
CROWN_END = 24.0  # the crown has sunk back (our choice; as in the simulated picture)
CAVITY_SHARE = 0.85  # of the way from impact to onset: crown sunk, no jet yet (our choice)
FREE_SHARE = 0.15  # of the rise, after the highest moment: the droplet is seen apart from the jet (our choice)


def find_moments(
    diameter_m: Any, speed_m_s: Any, onset_s: Any, rise_s: Any, fall_s: Any
) -> Mapping[str, Any]:
    """Return when each of MOMENTS is at its best: the jet at its highest, the droplet half way down again.

    `fall_s`: how long the jet falls. It falls ever faster: the upper half takes sqrt(1/2) of that.
    """
    top = onset_s + rise_s
    return {
        "crown": CROWN_LIFE * diameter_m / speed_m_s,
        "cavity": CAVITY_SHARE * onset_s,
        "jet": top,
        "droplet": top + math.sqrt(0.5) * fall_s,
    }
