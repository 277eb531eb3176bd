"""From a rig to the times of a shot, each with an interval.

setting     the rig as the physics sees it: liquid, air, gravity, nominal drop
unknowns    what a rig file does not say exactly, as distributions; shared with the simulated rig
draws       thousands of rigs that fit the file, as arrays
stage       which moment of the splash is wanted, as people write it
collision   the plan of a two-drop collision: sequence, intervals, warnings
"""

from __future__ import annotations
