"""How precisely people see: the curves behind the likelihoods of all pictures."""

from __future__ import annotations

import numpy as np

from beamfall.arrays import Floats

READING_M = 0.001  # heights are read off a picture to this
# Height of what the camera sees, and how well that is known.
_FRAME_M, _FRAME_SPREAD_M = 0.07, 0.015


def below(x: Floats) -> Floats:
    """The normal distribution, by tanh (within 0.0002: Page 1977, Appl. Stat. 26:75; from memory)."""
    return 0.5 * (1.0 + np.tanh(0.7978845608 * x * (1.0 + 0.044715 * x * x)))


def bell(x: Floats) -> Floats:
    """The height of a normal distribution, 1 at its top; wide tails, since people misread."""
    return np.exp(-0.5 * np.square(x)) + 1e-3


def is_in_frame(drop_m: Floats) -> Floats:
    """The chance that the camera sees a drop at a height."""
    return below((_FRAME_M - drop_m) / _FRAME_SPREAD_M)
