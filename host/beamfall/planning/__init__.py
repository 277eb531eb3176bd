"""From a rig to the times of a shot, each with an interval.

setting     the rig as the physics sees it: liquid, air, gravity, nominal drop
unknowns    what a rig file does not say exactly, as distributions; also used by the simulated rig
draws       thousands of rigs that fit the file, as arrays
belief      what seeking and calibrating have shown about a rig, step by step: add, undo, redo, reset
learned     the file of beliefs beside the rig file
history     what each step did to the plan
stage       which moment of the splash is wanted, as people write it
openings    when each drop must leave its valve, and what it does in the picture
light       the light of a plan, and the plan around it
collision   the plan of a collision of two or more drops: sequence, intervals, warnings
single      the plan of a picture of one drop
"""

from __future__ import annotations
