"""The rig at the pins of a simulated board: drops, jets, light, and the truth about them.

model       the rig in numbers: what is true of it
drops       one drop from the valve to the liquid
collision   jet, contact, what a light shows
rig         all of it at the board's pins
build       from a rig file and a seed to a simulated rig
condition   the condition of its parts
defects     the rig with parts in any condition
faults      what can be wrong with it, by name
faulty_link drop-outs, restarts, another firmware
room        the rig as a person beside it sees and hears it
"""

from __future__ import annotations
