"""Panel template: lay it on the case's wall, mark through its pilot holes, drill to the ring. Print flat."""

from __future__ import annotations

from dimensions import PanelTemplate


def build(given: PanelTemplate | None = None):  # noqa: ANN201 - build123d's own type
    d = given or PanelTemplate()
    from build123d import Align, Box, Cylinder, Pos

    low = (Align.CENTER, Align.CENTER, Align.MIN)
    long = d.pitch * len(d.holes)
    part = Box(long, d.high, d.thick, align=low)
    for n, (_, size) in enumerate(d.holes):
        place = Pos(d.pitch * (n + 0.5) - long / 2, 0, 0)
        part -= place * Cylinder(d.pilot / 2, 4 * d.thick)
        # a ring, half the plate deep, shows the hole's size
        ring = Cylinder(size / 2, 1.0, align=low) - Cylinder(size / 2 - 0.8, 10)
        part -= place * Pos(0, 0, d.thick - 0.6) * ring
    return part
