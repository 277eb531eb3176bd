"""Calculates times from geometry and liquid, in SI units, independent of boards, rigs or wires.

air, gravity    the surroundings of a falling drop
fall            time and speed of a falling, flattening drop
drops           size of a drop, detachment, dwell in a beam, oscillation
liquids         density, viscosity and surface tension; recipes
impact          dimensionless groups, regimes, cavity
jet             cavity and jet as uncertain quantities
light           blur, flash duration, depth of field, exposure

Every formula names its source and its valid range; a value outside that range raises
`beamfall.errors.PhysicsRangeError`; nothing is extrapolated silently.
"""

from __future__ import annotations
