"""Ports and delivery: moves bytes, answers requests and delivers reports in order."""

from __future__ import annotations

from beamfall.link.delivery import Origin, Report
from beamfall.link.receiving import LinkCounters
from beamfall.link.session import Link, LinkTiming
from beamfall.link.traits import PortTraits
from beamfall.link.transport import Transport
from beamfall.link.welcome import Welcome

__all__ = [
    "Link",
    "LinkCounters",
    "LinkTiming",
    "Origin",
    "PortTraits",
    "Report",
    "Transport",
    "Welcome",
]
