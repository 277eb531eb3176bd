"""The text of a rig file with short rests, for tests that fire many shots. Invented."""

from __future__ import annotations

_TEXT = """
name = "{name}"
note = "invented for tests"
[dish]
depth = "25 mm"
diameter = "24 cm"
[[valve]]
height = "60 cm"
bore = "2 mm"
outer_diameter = "3 mm"
head = "10 cm"
opening = "{opening}"
latency = "22 ms"
[[beam]]
height = "47 cm"
blanking = "20 ms"
[[flash]]
latency = "60 us"
duration = "2 us"
recycle = "0.2 s"
[camera]
[aim]
kind = "collision"
rest = "0.5 s"
window = "1 s"
warm_up = {warm_up}
[uncertainty]
latency = "4 ms"
"""


def make_rig_text(name: str, *, opening: str = "13 ms", warm_up: int = 0) -> str:
    """The text of the rig file; `warm_up`: drops that fall before a series."""
    return _TEXT.format(name=name, opening=opening, warm_up=warm_up)
