"""What the person is asked, in plain words, and who answers."""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass
from typing import Protocol

Listen = Callable[[float], None]
# Short, so that who has answered does not wait; and as long as the pauses between, so that a simulated
# board's time passes about as fast as the person's.
_STEP_S = 0.05


@dataclass(frozen=True)
class Question:
    """One question. `before` is said first, and only when the person is ready the board acts.

    `text` asks; `answers` are the possible ones with their words. No answers: `text` asks the
    person to do something, and the board sees what comes of it. `after` is said at the end.
    """

    name: str
    text: str
    answers: Mapping[str, str]
    before: str = ""
    after: str = ""
    caution: str = ""


class CannotTell(Exception):  # noqa: N818 - an answer, not an error
    """The person cannot tell, or cannot do what they are asked: this is no evidence."""


class PersonGone(Exception):  # noqa: N818 - an end, not an error
    """Nobody is left to answer, such as at the end of a file of answers."""


class Person(Protocol):
    """The person beside the rig. All but `begin` and `finish` may raise CannotTell; all may raise PersonGone."""

    def begin(self, cautions: tuple[str, ...]) -> None:
        """Hear what is about to happen, and agree."""

    def prepare(self, question: Question) -> None:
        """Do what `before` says and be ready."""

    def act(self, question: Question, listen: Listen) -> None:
        """Do what `text` says, now; the board is watching.

        `listen(seconds)` takes in what the board sees for so long and shows it that this host is
        alive. Whoever waits for the person calls it again and again, from one thread at a time: a
        board that hears nothing for its time-out may end the watch, and one that cannot get rid of
        its reports forgets the oldest.
        """

    def answer(self, question: Question) -> str:
        """Answer with one of the question's answers."""

    def finish(self, question: Question) -> None:
        """Do what `after` says."""


@contextlib.contextmanager
def listen_aside(listen: Listen) -> Iterator[None]:
    """Call `listen` again and again, in a thread aside, until the block ends; what it raised is raised then.

    For while this thread waits for a person at a prompt. A prompt cannot be waited for in the other thread: an
    interpreter that ends would find it still reading. The board changes hands as a whole: the thread aside alone uses
    it until the block ends.
    """
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


def leave_out(caution: str, told: Collection[str]) -> str:
    """The part of a caution that has not been given yet."""
    for one in sorted(told, key=len, reverse=True):
        caution = caution.replace(one, "") if one else caution
    return " ".join(caution.split())
