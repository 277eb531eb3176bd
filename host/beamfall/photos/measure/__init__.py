"""Measures a picture of a splash: the surface, drop 2, the jet, the umbrella, the crown, and the time since contact.

    from beamfall.photos.measure import Scene, measure
    seen = measure(Path("DSC_0042.jpg"), Scene(scale_px_m=62_000))

Needs OpenCV (`pip install 'beamfall[pictures]'`). It says nothing rather than guess: a stage or a length is None where
the picture does not show it clearly, and `doubts` says why.
"""

from __future__ import annotations

from beamfall.photos.measure.result import LENGTHS, MARKS, STAGES, Mark, Measured, Scene, Value
from beamfall.photos.measure.run import measure, measure_pixels
from beamfall.photos.measure.series import date_series, measure_series

__all__ = [
    "LENGTHS", "MARKS", "STAGES", "Mark", "Measured", "Scene", "Value", "date_series", "measure",
    "measure_pixels", "measure_series",
]  # fmt: skip
