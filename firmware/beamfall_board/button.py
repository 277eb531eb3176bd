"""The button: a short press fires, a long one chooses the next slot. Bouncing contacts never make two presses of one.

A press counts when the button is let go: until then it may still become a long one, and a long one never fires.
"""

from beamfall_board.link import ms_since

SETTLE_MS = 30
HOLD_MS = 1000
NOTHING = 0
PRESSED = 1  # and let go again, in less than HOLD_MS
HELD = 2  # for HOLD_MS; once for each press
STUCK = 3  # closed when it was first looked at: ignored until it opens


class Button:
    def __init__(self):
        self._known = False  # it has been looked at
        self._down = False  # settled
        self._seen = False
        self._since_ms = 0  # when the contact last changed
        self._down_ms = 0  # when it settled down
        self._open = False  # this press has not been acted on

    def settling(self, is_down):
        """Whether the contact has changed or is held, and must be looked at again soon."""
        return is_down != self._down or self._open

    def forget(self, is_down, now_ms):
        """Ignore a press in progress: the contact must open first. Nothing should start right after an abort."""
        self._down = self._seen = is_down
        self._since_ms = now_ms
        self._open = False

    def look(self, is_down, now_ms):
        """PRESSED or HELD at this level of the contact, once for each press; STUCK at the first call; else NOTHING."""
        if not self._known:
            self._known = True
            self.forget(is_down, now_ms)
            return STUCK if is_down else NOTHING
        if is_down != self._seen:
            self._seen = is_down
            self._since_ms = now_ms
        elif is_down != self._down and ms_since(now_ms, self._since_ms) >= SETTLE_MS:
            self._down = is_down
            if is_down:
                self._down_ms = self._since_ms
                self._open = True
            elif self._open:
                self._open = False
                long = ms_since(self._since_ms, self._down_ms) >= HOLD_MS
                return HELD if long else PRESSED
        if self._open and self._seen and ms_since(now_ms, self._down_ms) >= HOLD_MS:
            self._open = False
            return HELD
        return NOTHING
