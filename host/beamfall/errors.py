"""Every error Beamfall raises, in one tree.

BeamfallError
└── PhysicsRangeError   a physical quantity outside the range a formula holds for; also a ValueError
"""

from __future__ import annotations


class BeamfallError(Exception):
    """Root of every error raised on purpose; its message says what happened, to what, and the cure."""


class PhysicsRangeError(BeamfallError, ValueError):
    """A quantity lies outside the range in which a formula or a table holds.

    Raised instead of extrapolating. The message names the key, the value and the range; give a
    value inside it, or leave that calculation out.
    """
