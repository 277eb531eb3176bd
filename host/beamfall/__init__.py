"""Beamfall: an open drop controller for photographs of colliding drops of liquid.

Lowest first: `wire` (bytes and messages), `link` (ports and delivery), `board` (the controller),
`setup` (what hangs above the dish, and what is to happen), `physics` and `planning` (from one to the
other), `shots` (what was fired and measured), `workflows`, and `cli` and `page` before the user.
"""

__version__ = "0.1.0"
