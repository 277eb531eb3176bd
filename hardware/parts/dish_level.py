"""Dish level aid: hangs on the dish's wall; fill until the liquid just touches the point. Print on its side."""

from __future__ import annotations

from dimensions import WALL, DishLevel


def build(given: DishLevel | None = None):  # noqa: ANN201 - build123d's own type
    d = given or DishLevel()
    from build123d import Align, Box, Cone, Pos, Rot

    low = (Align.MIN, Align.MIN, Align.MIN)
    wide = 10.0
    clip_high = 20.0
    outer = 2 * (WALL + 1) + d.wall_gap
    part = Box(outer, wide, clip_high, align=low)
    part -= Pos(WALL + 1, -1, -1) * Box(d.wall_gap, wide + 2, clip_high - 3, align=low)
    part += Pos(outer - 0.01, 0, clip_high - 4) * Box(d.reach, wide, 4, align=low)
    stem = d.deep - 6
    tip = Pos(outer + d.reach - 5, wide / 2, clip_high - 4 - stem / 2)
    part += tip * Box(5, 5, stem + 0.02)
    part += (
        Pos(outer + d.reach - 5, wide / 2, clip_high - 4 - stem - 3)
        * Rot(180, 0, 0)
        * Cone(2.5, 0.3, 6)
    )
    return part
