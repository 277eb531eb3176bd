"""The root of the tree, and the root of what is wrong in what a user gave."""

from __future__ import annotations

FRAMES = "beamfall_frames"  # attribute of an unexpected error: the last frames before it, in words


class BeamfallError(Exception):
    """Root of every error raised on purpose; it says what happened, to what, and the cure."""

    exit_status = 1


class UserError(BeamfallError):
    """What was given is wrong: a value, a key, a name. Change it and try again."""

    exit_status = 2
