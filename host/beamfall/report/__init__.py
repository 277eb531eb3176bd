"""A report of a series for someone who was not there."""

from __future__ import annotations

from beamfall.report.write import write_report

__all__ = ["write_report"]
