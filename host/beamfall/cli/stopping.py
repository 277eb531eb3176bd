"""Being told to stop: SIGTERM, and a terminal window that is closed, end a command as Ctrl-C does.

Without this they would end the process between two instructions, with a valve or a watch left as it was.
"""

from __future__ import annotations

import contextlib
import os
import signal
import sys
import threading
from collections.abc import Iterator
from types import FrameType

# SIGHUP: the terminal is gone. Windows has none; it sends SIGBREAK for Ctrl-Break and for a console that is closed.
_NAMES = ("SIGTERM", "SIGHUP", "SIGBREAK")


class Stop:
    """What told the program to stop: `signal` is its number, 0 when nothing has."""

    def __init__(self) -> None:
        self.signal = 0

    def take(self, number: int, frame: FrameType | None) -> None:
        """The handler: the first such signal is a Ctrl-C, further ones are too late to add anything."""
        if self.signal:
            return
        self.signal = number
        # Through whoever has Ctrl-C now: a web server that ends its work first, a step that must not be cut short.
        interrupt = signal.getsignal(signal.SIGINT)
        if callable(interrupt):
            interrupt(signal.SIGINT, frame)
        else:
            raise KeyboardInterrupt

    @property
    def status(self) -> int:
        """The exit status by which a shell knows of the signal: 143 for SIGTERM, 129 for SIGHUP."""
        return 128 + self.signal


@contextlib.contextmanager
def heed_stops() -> Iterator[Stop]:
    """Treat what stops a program as Ctrl-C within the block.

    What is ignored from outside, as by nohup, stays ignored. In a thread beside the main one nothing changes.
    """
    stop = Stop()
    before = {}
    if threading.current_thread() is threading.main_thread():
        for name in _NAMES:
            number = getattr(signal, name, None)
            if number is not None and signal.getsignal(number) is signal.SIG_DFL:
                before[number] = signal.signal(number, stop.take)
    try:
        yield stop
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def let_go_of_terminal() -> None:
    """Have what is still to be written go nowhere where the terminal or the pipe is gone, instead of raising."""
    for stream, number in ((sys.stdout, 1), (sys.stderr, 2)):
        try:
            stream.flush()
        except (OSError, ValueError):
            with contextlib.suppress(OSError):
                os.dup2(os.open(os.devnull, os.O_WRONLY), number)
