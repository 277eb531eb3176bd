"""Arrays of numbers, for annotations."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
AnyFloats = NDArray[Any]  # also of single precision
