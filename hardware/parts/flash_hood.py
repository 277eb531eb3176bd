"""Flash hood: slides over the flash's head; a clear sheet of 1 mm in its groove keeps splashes off. Print standing."""

from __future__ import annotations

from dimensions import FlashHood


def build(given: FlashHood | None = None):  # noqa: ANN201 - build123d's own type
    d = given or FlashHood()
    from build123d import Align, Box, Pos

    low = (Align.CENTER, Align.CENTER, Align.MIN)
    wide, high = d.inside_wide + 2 * d.wall, d.inside_high + 2 * d.wall
    part = Box(wide, high, d.long, align=low)
    part -= Pos(0, 0, -1) * Box(d.inside_wide, d.inside_high, d.long + 2, align=low)
    # a frame 8 mm from the mouth, with the groove for the sheet in it, open to one side to slide the sheet in
    frame = Box(d.inside_wide, d.inside_high, 5, align=low) - Box(
        d.inside_wide - 8, d.inside_high - 8, 20
    )
    part += Pos(0, 0, d.long - 8 - 5) * frame
    part -= Pos(d.wall, 0, d.long - 8 - 3) * Box(
        d.inside_wide + 2 * d.wall, d.inside_high - 2, d.groove
    )
    return part
