"""Stopping a program: Ctrl-C, SIGTERM, and a terminal window that is closed.

A program installs `StopSignals`. The first signal raises KeyboardInterrupt, so that outputs go off
and the log keeps what happened. A second one, later than `BOUNCE_S`, ends the program at once, and a timer
ends a program that still runs `STOP_S` after the first. `hold_interrupts` delays the first one where it
would do harm: inside a step of a simulated board, or between a shot and its row in the log. `check_stop` raises it
again: code of others may have swallowed it, in a bare `except` or a `__del__`, and nothing may be released after it.
"""

from __future__ import annotations

import _signal  # type: ignore[import-not-found]  # what `signal` calls, which turns each handler into an enum and back
import _thread
import contextlib
import os
import signal
import sys
import threading
import time
from collections.abc import Callable, Iterator
from types import FrameType
from typing import Any, ClassVar, Self

BOUNCE_S = 0.5  # people press twice: the first press gets this long to switch outputs off
# From the first signal to the end of the program, which a busy machine adds something to
STOP_S = 1.5
# SIGHUP: the terminal was closed. Windows has none; it sends SIGBREAK for Ctrl-Break and for a closed console.
_AGAIN_S = 0.01  # until a lost interrupt is delivered again
_NAMES = ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK")
_NUMBERS = tuple(int(getattr(signal, name)) for name in _NAMES if hasattr(signal, name))
UNCONFIRMED = (
    "beamfall: stopped before the board confirmed that its outputs are off. It switches them off itself within "
    "5 s. Look at the rig; switch the valves' supply off if anything is still on.\n"
)


class StopAsked(KeyboardInterrupt):
    """Somebody asked the program to stop.

    Not a plain KeyboardInterrupt: if that hits an `exec` (dataclasses use it), CPython treats it as unhandled and
    kills the process with SIGINT at the end, whatever its exit status.
    """


class StopSignals:
    """Handles stop signals within a `with` block; `signal` is the first that came, or 0.

    `installed` is the one whose handlers this process has. A signal ignored from outside, as by nohup, stays
    ignored. Outside the main thread this does nothing.
    """

    installed: ClassVar[StopSignals | None] = None

    def __init__(self, end: Callable[[int], None] = os._exit) -> None:
        self.signal = 0
        self.asked = StopAsked()  # the exception raised; it may have gathered notes on its way
        self._end = end
        self._first_s = 0.0
        self._held = 0
        self._pending = False
        self._is_lost = False
        self._unraisable = sys.unraisablehook
        self._before: dict[int, Any] = {}
        self._timer: threading.Timer | None = None

    @property
    def status(self) -> int:
        """The exit status that shells use for the signal: 130 for Ctrl-C, 143 for SIGTERM, 129 for SIGHUP."""
        return 128 + self.signal

    def __enter__(self) -> Self:
        if threading.current_thread() is threading.main_thread():
            for number in _NUMBERS:
                replaced = (signal.SIG_DFL, signal.default_int_handler)
                if signal.getsignal(number) in replaced:
                    self._before[number] = signal.signal(number, self.take)
                    StopSignals.installed = self
            self._unraisable, sys.unraisablehook = sys.unraisablehook, self._take_lost
        return self

    def __exit__(self, *_: object) -> None:
        if self._timer is not None:
            self._timer.cancel()
        for number, handler in self._before.items():
            signal.signal(number, handler)
            StopSignals.installed = None
        if sys.unraisablehook == self._take_lost:
            sys.unraisablehook = self._unraisable

    def take(self, number: int, frame: FrameType | None) -> None:
        """The handler. Raises StopAsked for the first signal, at once or at the end of a hold."""
        if self._is_lost:
            self._is_lost = False
        elif self.signal:
            if time.monotonic() - self._first_s >= BOUNCE_S:
                self._end_at_once()
            return
        else:
            self.signal = number
            self._first_s = time.monotonic()
            self._timer = threading.Timer(STOP_S, self._end_at_once)
            self._timer.daemon = True
            self._timer.start()
        if self._held:
            self._pending = True
        else:
            raise self.asked

    @contextlib.contextmanager
    def hold(self) -> Iterator[Callable[[], None]]:
        """See `hold_interrupts`."""
        self._held += 1
        try:
            yield self.check
        finally:
            self._held -= 1
            if not self._held and self._pending:
                self.check()

    def check(self) -> None:
        """Raise StopAsked if a stop was asked for, again if need be: a bare `except` may have swallowed the first."""
        if self.signal:
            self._pending = False
            raise self.asked

    def _take_lost(self, lost: sys.UnraisableHookArgs) -> None:
        """Deliver the stop again: Python lost it in a `__del__` or the callback of a weak reference."""
        if lost.exc_value is not self.asked:
            self._unraisable(lost)
            return
        self._is_lost = True
        again = threading.Timer(_AGAIN_S, _signal_main_thread, [self.signal])
        again.daemon = True
        again.start()

    def _end_at_once(self) -> None:
        with contextlib.suppress(OSError, ValueError):
            os.write(sys.stderr.fileno(), UNCONFIRMED.encode())
        self._end(self.status)


def _signal_main_thread(number: int) -> None:
    if sys.platform == "win32":
        _thread.interrupt_main(number)
    else:  # a real signal also ends what the thread waits for
        signal.pthread_kill(threading.main_thread().ident or 0, number)


def find_stop_signals() -> StopSignals | None:
    """Return the `StopSignals` that this program has installed; None outside its main thread."""
    if threading.current_thread() is not threading.main_thread():
        return None
    return StopSignals.installed


def check_stop() -> None:
    """Raise StopAsked if this program was asked to stop; called before each action of a board and in each wait."""
    stop = find_stop_signals()
    if stop is not None:
        stop.check()


@contextlib.contextmanager
def hold_interrupts() -> Iterator[Callable[[], None]]:
    """Deliver a Ctrl-C after the block; a second one gets through at once.

    The block gets a function that delivers a waiting signal, to call where that is safe. An interrupted
    step would leave the board half done, and then it could not be disarmed. Only the main thread is
    ever interrupted; elsewhere this does nothing.
    """
    stop = find_stop_signals()
    if stop is not None:
        with stop.hold() as deliver:
            yield deliver
        return
    before = _signal.getsignal(signal.SIGINT)
    if threading.current_thread() is not threading.main_thread() or not callable(before):
        yield lambda: None
        return
    arrived: list[tuple[int, FrameType | None]] = []

    def note(number: int, frame: FrameType | None) -> None:
        arrived.append((number, frame))
        if len(arrived) > 1:
            before(number, frame)

    def deliver_first() -> None:
        if arrived:
            first = arrived[0]
            arrived.clear()
            before(*first)

    _signal.signal(signal.SIGINT, note)
    try:
        yield deliver_first
    finally:
        _signal.signal(signal.SIGINT, before)
        deliver_first()
