"""From geometry and liquid to times, in SI units; knows nothing of boards, rigs or wires.

air, gravity    the surroundings of a falling drop
fall            time and speed of a falling, flattening drop
drops           size of a drop, detachment, dwell in a beam, oscillation
liquids         density, viscosity and surface tension; recipes
impact          dimensionless groups, regimes, cavity
jet             cavity and jet as uncertain quantities
light           blur, flash duration, depth of field, exposure

Every formula names its source and the range it holds for; a value outside that range raises
`beamfall.errors.PhysicsRangeError`, nothing is extrapolated in silence.
"""

from __future__ import annotations
