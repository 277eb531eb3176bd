"""Ctrl-C where it does no harm: not inside a step of a simulated board, not between a shot and its row in the log."""

from __future__ import annotations

import contextlib
import signal
import threading
from collections.abc import Callable, Iterator
from types import FrameType


@contextlib.contextmanager
def hold_interrupts() -> Iterator[Callable[[], None]]:
    """Deliver a Ctrl-C after the block; a second one goes through at once.

    The block is given a function that delivers what has come: for the places within where it may. A
    step that is cut short leaves the board half done, and then it could not be disarmed. Only the
    main thread is ever interrupted; elsewhere this does nothing.
    """
    before = signal.getsignal(signal.SIGINT)
    if threading.current_thread() is not threading.main_thread() or not callable(before):
        yield lambda: None
        return
    arrived: list[tuple[int, FrameType | None]] = []

    def note(number: int, frame: FrameType | None) -> None:
        arrived.append((number, frame))
        if len(arrived) > 1:
            before(number, frame)

    def deliver() -> None:
        if arrived:
            first = arrived[0]
            arrived.clear()
            before(*first)

    signal.signal(signal.SIGINT, note)
    try:
        yield deliver
    finally:
        signal.signal(signal.SIGINT, before)
        deliver()
