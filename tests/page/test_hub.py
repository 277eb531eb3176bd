"""The hub: what a page gets, when it comes late, reads slowly or while two threads change it."""

from __future__ import annotations

import asyncio
import json
import sys
import threading
import time
from collections.abc import Iterator
from typing import Any

import pytest
from page_helpers import run_async

from beamfall.page.hub import Hub, clean, mark_shot


def test_a_page_that_comes_late_gets_the_whole_and_then_each_change_once() -> None:
    async def run() -> list[dict[str, Any]]:
        hub = Hub()
        hub.set(one=1)
        subscriber = hub.subscribe()
        whole = json.loads(hub.snapshot())
        thread = threading.Thread(
            target=lambda: (
                hub.set(one=1),
                hub.set(one=2, two=[float("nan")]),
                hub.tell("edge", ms=3),
            )
        )
        thread.start()
        thread.join()
        texts = [await asyncio.wait_for(subscriber.queue.get(), 20.0) for _ in range(2)]
        assert subscriber.queue.empty(), "what does not change is not told"
        return [whole, *(json.loads(text or "") for text in texts)]

    whole, change, event = run_async(run())
    assert whole["all"]["one"] == 1
    assert change == {"version": whole["version"] + 1, "set": {"one": 2, "two": [None]}}
    assert (
        event["event"] == "edge" and event["ms"] == 3 and abs(event["at"] / 1e3 - time.time()) < 60
    )


def test_a_page_that_does_not_read_gets_the_whole_state_in_the_place_of_a_heap() -> None:
    async def run() -> tuple[int, Any]:
        hub = Hub()
        subscriber = hub.subscribe()
        for number in range(1200):
            hub.set(count=number)
        await asyncio.sleep(0.05)
        size = subscriber.queue.qsize()
        found = None
        while not subscriber.queue.empty():
            text = subscriber.queue.get_nowait()
            found = text if text is None else found
            if text is None:
                return size, None
        return size, "no whole state"

    size, found = run_async(run())
    assert size <= 500 and found is None


@pytest.fixture
def switching() -> Iterator[None]:
    """Threads take turns as often as can be."""
    before = sys.getswitchinterval()
    sys.setswitchinterval(1e-6)
    yield
    sys.setswitchinterval(before)


@pytest.mark.usefixtures("switching")
def test_what_two_threads_change_at_once_is_kept_of_both() -> None:
    """A rating is announced while the picture arrives, and an error while a notice is removed."""
    hub = Hub()
    hub.set(shot={"shot": 1})
    lost: list[str] = []

    def rate() -> None:
        for number in range(1000):
            mark_shot(hub, 1, rating=number)
            if hub.get("shot")["rating"] != number:
                lost.append(f"rating {number}")
            hub.notice("error", f"error {number}")
            if not any(one["text"] == f"error {number}" for one in hub.get("notices")):
                lost.append(f"error {number}")

    def mark() -> None:
        for number in range(1000):
            mark_shot(hub, 1, picture=number)
            hub.notice("note", f"note {number}")
            for one in hub.get("notices"):
                if one["level"] == "note":
                    hub.dismiss(one["id"])

    threads = [threading.Thread(target=target) for target in (rate, mark)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert lost == []
    assert hub.get("shot") == {"shot": 1, "rating": 999, "picture": 999}


def test_nobody_gets_in_between_a_value_and_what_is_made_of_it() -> None:
    hub = Hub()
    hub.set(shot={"shot": 1})
    other = threading.Thread(target=mark_shot, args=(hub, 1), kwargs={"rating": 5})

    def add_picture(shown: dict[str, Any]) -> dict[str, Any]:
        other.start()
        other.join(0.2)  # it has to wait until this is done
        return {**shown, "picture": True}

    hub.change("shot", add_picture)
    other.join()
    assert hub.get("shot") == {"shot": 1, "rating": 5, "picture": True}


def test_json_never_holds_what_json_cannot() -> None:
    assert clean({"a": (1.0, float("inf")), 2: {"b": float("nan")}}) == {
        "a": [1.0, None],
        "2": {"b": None},
    }
