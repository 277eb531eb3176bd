"""Ctrl-C between two steps of a simulated board, never inside one."""

from __future__ import annotations

import contextlib
import signal
import threading
from collections.abc import Iterator
from types import FrameType


@contextlib.contextmanager
def hold_interrupts() -> Iterator[None]:
    """Deliver a Ctrl-C after the block; a second one goes through at once.

    A step that is cut short leaves the board half done, and then it could not be disarmed. Only the
    main thread is ever interrupted; elsewhere this does nothing.
    """
    before = signal.getsignal(signal.SIGINT)
    if threading.current_thread() is not threading.main_thread() or not callable(before):
        yield
        return
    arrived: list[tuple[int, FrameType | None]] = []

    def note(number: int, frame: FrameType | None) -> None:
        arrived.append((number, frame))
        if len(arrived) > 1:
            before(number, frame)

    signal.signal(signal.SIGINT, note)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)
        if arrived:
            before(*arrived[0])
