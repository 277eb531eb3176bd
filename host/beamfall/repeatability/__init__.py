"""How repeatable a rig is: scatter of its drops, trends, control charts, and what they point to.

Pure Python on purpose: `beamfall repeatability` answers before numpy would be loaded.
"""

from __future__ import annotations

from beamfall.repeatability.assess import Assessment, assess_series
from beamfall.repeatability.read import SeriesData, read_series

__all__ = ["Assessment", "SeriesData", "assess_series", "read_series"]
