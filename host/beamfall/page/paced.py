"""A transport that can be interrupted between two steps, and paces simulated time to real time.

`sim` runs as fast as it can calculate; on a page nobody would see a drop fall. A wait is cut into
steps of 20 ms; after each step of virtual time the thread sleeps until real time has caught up.
Between the steps `poll` is called: it may raise, and that is how an abort gets past whatever the
thread is waiting for.
"""

from __future__ import annotations

import time
from collections.abc import Callable

from beamfall.link import PortTraits, Transport

STEP_S = 0.02
_HOPELESS_S = 0.25  # further behind than this, catching up is hopeless: start again from here
_INSTANT_S = 1e-9


class AbortAsked(KeyboardInterrupt):
    """Somebody pressed abort. Unwinds as Ctrl-C does: outputs go off, and the log keeps what happened."""


class PacedTransport:
    """`inner` with interruptions; `pace` is how fast its virtual time passes (1: as real time), None
    where its clock is a real one."""

    def __init__(self, inner: Transport, poll: Callable[[], None], pace: float | None) -> None:
        self.inner = inner
        self._poll = poll
        self._pace = pace
        self._anchor()

    def _anchor(self) -> None:
        self._virtual_s = self.inner.clock()
        self._real_s = time.monotonic()

    @property
    def traits(self) -> PortTraits:
        return self.inner.traits

    @property
    def name(self) -> str:
        return self.inner.name

    def read(self, timeout_s: float) -> bytes:
        deadline_s = self.inner.clock() + timeout_s
        while True:
            self._poll()
            left_s = deadline_s - self.inner.clock()
            data = self.inner.read(max(0.0, min(left_s, self._step_s)))
            self._keep_pace()
            if data or deadline_s - self.inner.clock() <= _INSTANT_S:
                return data

    def write(self, data: bytes) -> None:
        self.inner.write(data)

    def clock(self) -> float:
        return self.inner.clock()

    def sleep(self, seconds: float) -> None:
        deadline_s = self.inner.clock() + seconds
        while (left_s := deadline_s - self.inner.clock()) > _INSTANT_S:
            self._poll()
            self.inner.sleep(min(left_s, self._step_s))
            self._keep_pace()

    def close(self) -> None:
        self.inner.close()

    @property
    def _step_s(self) -> float:
        return STEP_S * (self._pace or 1.0)

    def _keep_pace(self) -> None:
        if self._pace is None:
            return
        due_s = self._real_s + (self.inner.clock() - self._virtual_s) / self._pace
        ahead_s = due_s - time.monotonic()
        if ahead_s > 0.0:
            time.sleep(ahead_s)
        elif ahead_s < -_HOPELESS_S:
            self._anchor()
