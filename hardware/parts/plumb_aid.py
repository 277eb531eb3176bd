"""Plumb aid: sits in the valve's ring in place of the valve; a thread through it hangs where drops will fall."""

from __future__ import annotations

from dimensions import PlumbAid


def build(given: PlumbAid | None = None):  # noqa: ANN201 - build123d's own type
    d = given or PlumbAid()
    from build123d import Align, Cylinder, Pos

    low = (Align.CENTER, Align.CENTER, Align.MIN)
    part = Cylinder(d.rim / 2, 3, align=low) + Pos(0, 0, 3) * Cylinder(
        d.plug / 2, d.high, align=low
    )
    return part - Cylinder(d.thread / 2 + 0.2, 4 * d.high)
