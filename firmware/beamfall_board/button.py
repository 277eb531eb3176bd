"""The button: one press is one release, however its contact bounces."""

from beamfall_board.link import ms_since

SETTLE_MS = 30


class Button:
    def __init__(self):
        self._down = False
        self._seen = False
        self._since_ms = 0

    def settling(self, is_down):
        """Whether the contact has changed and must be checked again soon."""
        return is_down != self._down

    def forget(self, is_down, now_ms):
        """Ignore a press in progress: the contact must open first. Nothing should start right after an abort."""
        self._down = self._seen = is_down
        self._since_ms = now_ms

    def pressed(self, is_down, now_ms):
        """Called with the contact's level; True once for each press, when it has been down for a while."""
        if is_down != self._seen:
            self._seen = is_down
            self._since_ms = now_ms
            return False
        if ms_since(now_ms, self._since_ms) < SETTLE_MS or is_down == self._down:
            return False
        self._down = is_down
        return is_down
