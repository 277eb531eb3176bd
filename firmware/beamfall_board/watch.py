"""Watches the beams without a sequence: puts edges into reports, on a clock that never wraps.

In a watch a port counts modulo 2^30 ticks. Here the count goes on in blocks of that length; each report holds the start
of its block.
"""

from beamfall_board import wire_definition as wire
from beamfall_board.link import ms_since

QUIET_MS = 20
# The most edges of a burst taken in one pass. Then it is the link's turn, or an endless stream would hold up reports.
TAKE_MAX = 8 * wire.EDGES_PER_REPORT
BLOCK = wire.HORIZON_TICKS + 1
# An edge that seems more than three quarters of a block ahead is really behind: it was stamped a moment late.
_AHEAD_MAX = BLOCK - BLOCK // 4


class Watch:
    def __init__(self, port, edges, beams):
        self._port = port
        self._takes_many = hasattr(port, "take_edges")
        self._edges = edges
        self._beams = beams
        self._number = 0
        self._base = 0  # start of the current block
        self._last = 0  # the newest time known, in that block
        self._quiet_ms = 0
        self.beam_edges = 0

    def begin(self, number):
        self._number = number
        self._base = 0
        self._last = 0
        self.beam_edges = 0
        for beam in self._beams:
            beam.start(wire.EDGE_DARK, 0, 0)

    def step(self):
        """The main loop calls this as often as it can."""
        # Read the clock first: edges stamped before this time are taken below, and are in no later block.
        now = self._port.now_ticks()
        if self.take(TAKE_MAX):
            self._follow(now)
        if self._edges.count and ms_since(self._port.millis(), self._quiet_ms) >= QUIET_MS:
            self.flush()

    def _follow(self, now):
        """Note that it is now `now`, unless edges taken since were later."""
        if (now - self._last) & wire.HORIZON_TICKS < _AHEAD_MAX:
            self._place(now, self._edges.count)

    def _place(self, ticks, waiting):
        """Move to the block of that time; first report the `waiting` edges of another block.
        Return the ticks in the block."""
        if (ticks - self._last) & wire.HORIZON_TICKS < _AHEAD_MAX:
            if ticks < self._last:
                self._report(waiting)
                self._base += BLOCK
        elif ticks > self._last:  # a little behind, and in the block before
            if not self._base:
                return self._last  # stamped before the watch began
            self._report(waiting)
            self._base -= BLOCK
        self._last = ticks
        return ticks

    def take_all(self):
        while not self.take(TAKE_MAX):
            pass

    def take(self, most):
        """Put at most that many waiting edges into reports; return whether none is left."""
        if self._takes_many:
            return self._take_many(most)
        port = self._port
        edges = self._edges
        while most > 0:
            if not port.next_edge():
                return True
            most -= 1
            ticks = self._place(port.edge_ticks, edges.count)
            edges.add(port.edge_signal, port.edge_mark, ticks)
            self.beam_edges += 1
            if port.edge_signal in wire.KIND_BEAM:
                beam = self._beams[wire.KIND_BEAM.index(port.edge_signal)]
                beam.feed(port.edge_mark & 1, ticks)
            self._took()
        return False

    def _take_many(self, most):
        """Do the same on ports that take many edges at once: fast enough for bursts at 50 kHz."""
        edges = self._edges
        while most > 0:
            waiting = edges.count
            taken = edges.take_many(self._port, most)
            if not taken:
                return True
            most -= taken
            self._place(edges.ticks_of(waiting), waiting)
            drop = edges.find_drop()
            if drop:  # the count has passed a block within these edges
                self._report(drop)
                self._base += BLOCK
            self._last = edges.newest
            self._took()
        return False

    def _took(self):
        self._quiet_ms = self._port.millis()
        if self._edges.count >= wire.EDGES_PER_REPORT:
            self._report(self._edges.count // wire.EDGES_PER_REPORT * wire.EDGES_PER_REPORT)

    def flush(self):
        self._report(self._edges.count)

    def _report(self, count):
        if count:
            self._edges.report(wire.ACTIVITY_WATCH, self._number, self._base, count)
