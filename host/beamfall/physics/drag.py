"""Drag coefficient of a drop that flattens as it gains speed."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

# Ours, fitted to Gunn & Kinzer's terminal speeds (see physics/fall.py).
_FLATTEN_1, _FLATTEN_3 = 0.040, 0.00116


def drag_coefficient(reynolds: Any, weber: Any, tanh: Callable[[Any], Any] = math.tanh) -> Any:
    """Drag coefficient by the Reynolds and Weber numbers of the air (floats > 0).

    At weber = 0 it is that of a smooth sphere: Barati, Neyshabouri & Ahmadi (2014, Powder
    Technology 257:11), the model for Re ≤ 2e5. Referred to the section of the sphere of equal
    volume. Pass numpy arrays together with `numpy.tanh` for arrays of the same shape.
    """
    inverse = 1.0 / reynolds
    sphere = (
        5.4856e9 * tanh(4.3774e-9 * inverse)
        + 0.0709 * tanh(700.6574 * inverse)
        + 0.3894 * tanh(74.1539 * inverse)
        - 0.1198 * tanh(7429.0843 * inverse)
        + 1.7174 * tanh(9.9851 / (reynolds + 2.3384))
        + 0.4744
    )
    return sphere * (1.0 + weber * (_FLATTEN_1 + _FLATTEN_3 * weber * weber))
