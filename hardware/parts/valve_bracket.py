"""Valve bracket: a clamping ring on a plate; a straight slot sets the height, an arc the angle. Print plate down."""

from __future__ import annotations

from dimensions import M3_SHANK, ValveBracket


def build(given: ValveBracket | None = None):  # noqa: ANN201 - build123d's own type
    d = given or ValveBracket()
    from build123d import Align, Box, Cylinder, Pos, Rot

    low = (Align.CENTER, Align.CENTER, Align.MIN)
    outside = d.ring_bore / 2 + d.ring_wall
    # The plate lies on the bed; the arm rises from it and carries the ring, whose axis is parallel to the plate.
    part = Box(d.plate_wide, d.plate_high, d.plate_thick, align=low)
    part += Pos(0, 0, d.plate_thick) * Box(16, d.ring_high, d.reach, align=low)
    ring = Pos(0, 0, d.plate_thick + d.reach) * Rot(90, 0, 0)
    part += ring * Cylinder(outside, d.ring_high)
    # two ears with the clamping screw, on the ring's far side
    part += Pos(0, 0, d.plate_thick + d.reach + outside + 3) * Box(14, d.ring_high, 12)
    part -= ring * Cylinder(d.ring_bore / 2, d.ring_high * 2)
    part -= Pos(0, 0, d.plate_thick + d.reach + outside) * Box(2, d.ring_high * 2, 24)
    part -= (
        Pos(0, 0, d.plate_thick + d.reach + outside + 5)
        * Rot(0, 90, 0)
        * Cylinder(M3_SHANK / 2 + 0.2, 40)
    )
    for side in (-1, 1):
        x = side * (d.plate_wide / 2 - 6)
        part -= Pos(x, 0, 0) * Box(d.slot_wide, d.slot_long, 4 * d.plate_thick)
        for end in (-1, 1):
            part -= Pos(x, end * d.slot_long / 2, 0) * Cylinder(d.slot_wide / 2, 4 * d.plate_thick)
    # the arc below, round the upper screw: a chain of holes makes it
    radius = d.plate_high / 2 - 6
    steps = 9
    for n in range(steps):
        angle = -d.tilt_degrees + 2 * d.tilt_degrees * n / (steps - 1)
        part -= Rot(0, 0, angle) * Pos(0, -radius, 0) * Cylinder(d.slot_wide / 2, 4 * d.plate_thick)
    return part
