"""The time of a test's own transport."""

from __future__ import annotations


class VirtualClock:
    """Time that passes only when a test adds to `now` or somebody sleeps; closing does nothing."""

    now = 0.0

    def clock(self) -> float:
        return self.now

    def sleep(self, seconds: float) -> None:
        self.now += seconds

    def close(self) -> None:
        pass
