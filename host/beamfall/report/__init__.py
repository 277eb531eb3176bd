"""A report of a series for someone who was not there."""

from __future__ import annotations

from beamfall.report.write import Report, write_report

__all__ = ["Report", "write_report"]
