"""Listening to the board in a thread aside, while this one waits for a person at a prompt.

A prompt cannot be waited for in the other thread: an interpreter that ends would find it still reading.
The board changes hands as a whole: the thread aside alone uses it until the block ends.
"""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Iterator
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from beamfall.faults.questions import Listen

# Short, so that who has answered does not wait; and as long as the pauses between, so that a simulated
# board's time passes about as fast as the person's.
_STEP_S = 0.05


@contextlib.contextmanager
def listen_aside(listen: Listen) -> Iterator[None]:
    """Call `listen` again and again until the block ends; what it raised is raised then."""
    done = threading.Event()
    failed: list[BaseException] = []

    def run() -> None:
        try:
            while not done.wait(_STEP_S):
                listen(_STEP_S)
        except BaseException as error:  # it belongs to the thread that owns the board
            failed.append(error)

    thread = threading.Thread(target=run, name="listening", daemon=True)
    thread.start()
    try:
        yield
    finally:
        # Also under Ctrl-C: the code that switches the outputs off next needs the board for itself.
        done.set()
        thread.join()
    if failed:
        raise failed[0]
