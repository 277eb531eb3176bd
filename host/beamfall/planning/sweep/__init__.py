"""One timing stepped through its range, shot by shot, and the pictures that it gave.

schedule    which value when: in a line, interleaved or shuffled; and the sequence for a value
make        the sweep of a rig on a board, new or resumed
progress    what a series in the shot log has done of its schedule, so that it can be resumed
"""

from __future__ import annotations
