"""The rows of a table as tracks of edges in order of time: one for the release, one for each flash that follows a beam.

`code`, `count`, `offset` and `width` are by edge; the rest is by track. `time` has steps beyond the tracks, for dwells.
"""

from array import array

from beamfall_board import wire_definition as wire
from beamfall_board.wire_definition import const

_NEVER = const(0x3FFFFFFF)
_MOST = const(4)
_RELEASE = const(255)


class Tracks:
    def __init__(self, edges, steps):
        self.number = 0
        self.code = bytearray(edges)  # output << 1 | level
        self.count = bytearray(edges)  # of the beam edge it follows
        self.offset = array("I", bytes(4 * edges))  # from the anchor
        self.width = array("I", bytes(4 * edges))
        self.anchor = bytearray(_MOST)  # a beam, 0 or 1, or _RELEASE
        self.first = [0] * _MOST
        self.after = [0] * _MOST
        self.cursor = [0] * _MOST  # the next edge
        self.time = [_NEVER] * steps  # when it is due

    def load(self, table):
        """Sort the table's rows into tracks."""
        release = []
        follow = {}
        for row in range(table.rows):
            output = table.output[row]
            begin = table.delay[row]
            width = table.width[row]
            if table.anchor[row] == wire.ANCHOR_RELEASE:
                release.append((begin, 1, output, 0, width))
                release.append((begin + width, 0, output, 0, width))
            else:
                which = table.anchor[row] - wire.ANCHOR_BEAM1
                track = follow.setdefault(output, (which, []))[1]
                track.append((begin, 1, output, table.count[row], width))
                track.append((begin + width, 0, output, table.count[row], width))
        release.sort()  # off before on at the same time
        self.number = 0
        at = 0
        if release:
            at = self.put(_RELEASE, release, at)
        for output in sorted(follow):
            which, edges = follow[output]
            at = self.put(which, edges, at)

    def put(self, anchor, edges, at):
        """Add a track, with its edges from index `at` on; return the index after them."""
        track = self.number
        self.number = track + 1
        self.anchor[track] = anchor
        self.first[track] = at
        for offset, level, output, count, width in edges:
            self.offset[at] = offset
            self.code[at] = output << 1 | level
            self.count[at] = count
            self.width[at] = width
            at += 1
        self.after[track] = at
        return at
