"""Finding the collision in few shots: what each picture shows narrows what the rig can be.

answer      what the photographer says of a picture, and what the board measured of that shot
belief      many rigs that could be this one, weighted by every answer so far
choose      the next spacing and flash time: near the wanted picture, and worth asking for
search      the search as a whole, without a board: give it answers, it gives shots
person      who answers for a simulated rig
"""

from __future__ import annotations
