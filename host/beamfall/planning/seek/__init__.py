"""Finds the collision in few shots: each picture narrows what the rig can be.

aims           what a rig's aim may ask of a search
answer         what the photographer says about a picture, and what the board measured of that shot
bounds         how precisely people see: curves behind the likelihoods of all pictures
likelihood     how likely an answer is for a picture of a known moment
one_drop       the same for pictures of one drop
drops_seen     what the beam saw of drops, also of those that fall before the first picture
timing         when the drops of a shot strike or come free, as expected or as the beam saw them
taken          the answers so far: what each says about each rig, and which of them to doubt
outlook        what many rigs would show for one shot, with the scatter from shot to shot
weighted_rigs  many rigs that could be this one, weighted by every answer so far
choose         the next openings and flash time: how certain they should make the best picture
search         the search as a whole, without a board: give it answers, it gives shots
moment         what one shot's light would show, for the page
"""

from __future__ import annotations
