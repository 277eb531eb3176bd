"""The core of the Beamfall board firmware: link, sequence table, state machine, safety limits.

It has no pins: everything that touches hardware is in a port (see firmware/ports/README.md).
It runs under MicroPython and, unchanged, under CPython.
"""

VERSION = (0, 1, 0)
