"""Tools for a board: install its firmware, measure its timing, show its state."""

from __future__ import annotations
