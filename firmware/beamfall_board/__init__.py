"""The core of the Beamfall board firmware: link, sequence table, state machine, safety limits.

Knows nothing of pins: everything that touches hardware is behind a port (see firmware/ports/README.md).
Runs under MicroPython and, unchanged, under CPython.
"""

VERSION = (0, 1, 0)
