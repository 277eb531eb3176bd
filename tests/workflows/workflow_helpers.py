"""What the tests of workflows share beyond fixtures."""

from __future__ import annotations

# Invented for tests. It warms up, so that the drops before a series are compared too.
RIG = """
name = "invented rig"
note = "invented for tests"
[dish]
depth = "25 mm"
diameter = "24 cm"
[[valve]]
height = "60 cm"
bore = "2 mm"
outer_diameter = "3 mm"
head = "10 cm"
opening = "11 ms"
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
warm_up = 1
[uncertainty]
latency = "4 ms"
"""
SEED = 3
