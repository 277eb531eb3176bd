"""Beamfall: an open drop controller for photographs of colliding drops of liquid.

The layers, lowest first: `wire` (bytes and messages), `link` (ports and delivery), `board` (the
controller), `rig` and `sequence` (what hangs above the dish, and what is to happen), `physics` and
`plan` (from one to the other), `shots` (what was fired and measured), `cli`.
"""

__version__ = "0.1.0"
