"""What the tests of workflows share beyond fixtures."""

from __future__ import annotations

from invented_rig import make_rig_text

# Invented for tests. It warms up, so that the drops before a series are compared too.
RIG = make_rig_text("invented rig", opening="11 ms", warm_up=1)
SEED = 3
