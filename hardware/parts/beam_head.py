"""Beam head: two tubes face each other; the receiver's has a slit of 1 × 5 mm, each a drip edge. Print it as drawn."""

from __future__ import annotations

from dimensions import M3_SHANK, BeamHead


def build(given: BeamHead | None = None):  # noqa: ANN201 - build123d's own type
    d = given or BeamHead()
    from build123d import Align, Axis, Box, Cylinder, Pos, Rot

    low = (Align.CENTER, Align.CENTER, Align.MIN)
    total = d.gap + 2 * d.tube_long
    part = Pos(0, 0, 0) * Box(total, d.depth, d.bridge_thick, align=low)
    for side in (-1, 1):
        mouth = side * d.gap / 2
        centre = Pos(mouth + side * d.tube_long / 2, 0, d.bridge_thick + d.axis_up)
        part += Pos(mouth + side * d.tube_long / 2, 0, 0) * Box(
            d.tube_long, d.outside, d.bridge_thick + d.axis_up, align=low
        )
        part += centre * Rot(0, 90, 0) * Cylinder(d.outside / 2, d.tube_long)
        # a drip edge below the mouth: liquid that runs down the tube falls off before the bridge
        part += Pos(mouth + side * 1.0, 0, d.bridge_thick) * Box(2, d.depth, 5, align=low)
    for side in (-1, 1):
        mouth = side * d.gap / 2
        axis_z = d.bridge_thick + d.axis_up
        bore_long = d.tube_long - d.slit_wall
        start = mouth + side * d.slit_wall
        part -= (
            Pos(start + side * bore_long / 2, 0, axis_z)
            * Rot(0, 90, 0)
            * Cylinder(d.bore / 2, bore_long)
        )
        if side < 0:  # emitter: a round opening
            part -= Pos(mouth, 0, axis_z) * Rot(0, 90, 0) * Cylinder(d.bore / 2, 4 * d.slit_wall)
        else:  # receiver: the slit, its long side level
            part -= Pos(mouth, 0, axis_z) * Box(4 * d.slit_wall, d.slit_wide, d.slit_high)
        # the LED goes in from behind: its flange rests on a step 12 mm from the mouth
        step = d.tube_long - 12.0
        end = mouth + side * d.tube_long
        part -= (
            Pos(end - side * step / 2, 0, axis_z)
            * Rot(0, 90, 0)
            * Cylinder(d.flange_bore / 2, step)
        )
        part -= Pos(mouth + side * 13, 0, d.bridge_thick / 2) * Cylinder(
            M3_SHANK / 2 + 0.2, 3 * d.bridge_thick
        )
    return part.solids().sort_by(Axis.X)[0] if len(part.solids()) == 1 else part
