"""`python -m beamfall`, where the script `beamfall` is not on the path."""

from __future__ import annotations

import sys

from beamfall.cli import main

sys.exit(main())
