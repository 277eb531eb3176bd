"""What all open pages see: one numbered state in named sections. Each change goes to every page.

A page that opens or reconnects gets the whole state, then each changed section and each event. Any thread may
change the state; the event loop's thread serves the pages.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import math
import sys
import threading
import time
import traceback
from collections.abc import Callable, Mapping
from typing import Any

from beamfall.fault_report import describe_for_user
from beamfall.text import show_text

# Messages kept for a page that reads slowly; after that it gets the whole state.
_WAITING_MOST = 500
_NOTICES_MOST = 12


class Subscriber:
    """One open page: what it has not been sent yet."""

    def __init__(self, loop: asyncio.AbstractEventLoop) -> None:
        self._loop = loop
        self.queue: asyncio.Queue[str | None] = asyncio.Queue()

    def put(self, text: str) -> None:
        """Queue a message; from any thread."""
        with contextlib.suppress(RuntimeError):  # the loop has closed: nobody is there to read
            self._loop.call_soon_threadsafe(self._put, text)

    def _put(self, text: str) -> None:
        if self.queue.qsize() >= _WAITING_MOST:
            while not self.queue.empty():
                self.queue.get_nowait()
            self.queue.put_nowait(None)  # None: send the whole state
        else:
            self.queue.put_nowait(text)


class Hub:
    """The state, and the pages that see it."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._sections: dict[str, Any] = {"notices": []}
        self._version = 0
        self._notice = 0
        self._subscribers: set[Subscriber] = set()
        self._faults: dict[str, str] = {}

    def set(self, **sections: Any) -> None:
        """Replace sections; unchanged ones are not sent again."""
        with self._lock:
            self._set(sections)

    def change(self, section: str, change: Callable[[Any], Any]) -> None:
        """Replace a section with what `change` returns for it, so that no other thread's change is lost.

        `change` is quick and does not call the hub.
        """
        with self._lock:
            self._set({section: change(self._sections.get(section))})

    def _set(self, sections: Mapping[str, Any]) -> None:
        changed = {
            name: value
            for name, value in ((name, clean(value)) for name, value in sections.items())
            if name not in self._sections or self._sections[name] != value
        }
        if not changed:
            return
        self._sections.update(changed)
        self._version += 1
        self._tell({"version": self._version, "set": changed})

    def get(self, section: str, default: Any = None) -> Any:
        """The newest value of a section; not to be changed in place."""
        with self._lock:
            return self._sections.get(section, default)

    def tell(self, event: str, **values: Any) -> None:
        """Send an event, which is not kept: `at` is its time of day in ms."""
        with self._lock:
            self._tell({"event": event, "at": time.time() * 1e3, **clean(values)})

    def notice(self, level: str, text: str) -> None:
        """Show a sentence on all pages: level is good, note, caution or error."""
        with self._lock:
            self._notice += 1
            shown = clean(text)
            entry = {"id": self._notice, "level": level, "text": shown, "at": time.time() * 1e3}
            self._sections["notices"] = [*self._sections["notices"], entry][-_NOTICES_MOST:]
            self._version += 1
            self._tell({"version": self._version, "set": {"notices": self._sections["notices"]}})

    def dismiss(self, notice: int) -> None:
        """Remove a notice from all pages."""
        self.change("notices", lambda shown: [one for one in shown if one["id"] != notice])

    def report_fault(self, error: BaseException) -> str:
        """Return what to say about a bug in Beamfall.

        The first of its kind, one class of error at one line, goes to the terminal and into a report file: a page
        that asks again and again fills no disk.
        """
        last = traceback.extract_tb(error.__traceback__)[-1:]
        kind = f"{type(error).__name__} {[(one.filename, one.lineno) for one in last]}"
        with self._lock:
            if kind not in self._faults:
                self._faults[kind] = describe_for_user(error).replace("\n", ". ")
                print(f"beamfall: {show_text(self._faults[kind])}", file=sys.stderr)
            return self._faults[kind]

    def snapshot(self) -> str:
        """The whole state, as a message."""
        with self._lock:
            now_ms = time.time() * 1e3  # times in it are by this clock; a page's clock may differ
            return _dump({"version": self._version, "now": now_ms, "all": self._sections})

    def subscribe(self) -> Subscriber:
        """Start sending to the page that calls this from the event loop's thread."""
        subscriber = Subscriber(asyncio.get_running_loop())
        with self._lock:
            self._subscribers.add(subscriber)
        return subscriber

    def unsubscribe(self, subscriber: Subscriber) -> None:
        """Stop sending to a page that has gone."""
        with self._lock:
            self._subscribers.discard(subscriber)

    @property
    def pages(self) -> int:
        """How many pages are open."""
        with self._lock:
            return len(self._subscribers)

    def _tell(self, message: Mapping[str, Any]) -> None:
        text = _dump(message)
        for subscriber in self._subscribers:
            subscriber.put(text)


def clean(value: Any) -> Any:
    """Plain values for JSON: tuples as lists, NaN and infinities as null, halves of characters as a mark.

    The halves stand for bytes of file names that are not text; a message with one could not be sent.
    """
    if isinstance(value, str):
        return value if value.isascii() else value.encode(errors="replace").decode()
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, Mapping):
        return {str(key): clean(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [clean(item) for item in value]
    return value


def _dump(value: Mapping[str, Any]) -> str:
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"), allow_nan=False)


def mark_shot(hub: Hub, shot: int, **values: Any) -> None:
    """Change what is shown of the newest shot, if it is that one."""
    hub.change(
        "shot",
        lambda shown: shown if shown is None or shown["shot"] != shot else {**shown, **values},
    )
