"""Output that nobody can read any more."""

from __future__ import annotations

import contextlib
import os
import sys


def drop_lost_output() -> None:
    """Discard output that is still waiting if the terminal or the pipe is gone, instead of raising an error."""
    for stream, number in ((sys.stdout, 1), (sys.stderr, 2)):
        try:
            stream.flush()
        except (OSError, ValueError):
            with contextlib.suppress(OSError):
                os.dup2(os.open(os.devnull, os.O_WRONLY), number)
