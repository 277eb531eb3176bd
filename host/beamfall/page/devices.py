"""Who does what: each device with an open page has a name, and the last action is shown with it."""

from __future__ import annotations

import time
from collections import Counter
from contextvars import ContextVar
from threading import Lock
from urllib.parse import unquote

from beamfall.page.hub import Hub
from beamfall.page.words import ACTS
from beamfall.text import show_text

#: The device whose request is carried out in this thread; empty: no page's, or one without a name.
ACTING: ContextVar[str] = ContextVar("acting", default="")
HEADER = "beamfall-device"  # percent-encoded UTF-8: a header holds no other letters
NAME_MOST = 30


def read_name(text: str) -> str:
    """A device's name as it came in a header or a message, safe to show; empty if it says nothing."""
    return " ".join(show_text(unquote(text, errors="replace")).split())[:NAME_MOST]


class Devices:
    """The devices whose pages are open, and the last action of any of them. Any thread may call."""

    def __init__(self, hub: Hub) -> None:
        self._hub = hub
        self._lock = Lock()
        self._open: Counter[str] = Counter()
        hub.set(devices=[], acted=None)

    def rename(self, old: str, new: str) -> None:
        """A page has come (`old` empty), has another name, or has gone (`new` empty)."""
        with self._lock:
            self._open[old] -= 1
            self._open[new] += 1
            self._open = +self._open  # without the names that nobody has any more
            names = sorted(name for name in self._open.elements() if name)  # two phones are two
            self._hub.set(devices=names)

    def note(self, name: str, command: str) -> None:
        """Note an action of a device; actions that do not concern the others are left out."""
        if name and command in ACTS:
            self._hub.set(acted={"who": name, "did": ACTS[command], "at": time.time() * 1e3})
