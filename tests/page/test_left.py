"""A page that is closed leaves nothing running that nobody can see or stop."""

from __future__ import annotations

import contextlib
import json
from collections.abc import Iterator
from typing import Any

import pytest
from page_helpers import QUICK_RIG, Asker, Serve, Served, wait_question
from websockets.sync.client import connect as websocket
from websockets.typing import Origin


@contextlib.contextmanager
def open_live(served: Served) -> Iterator[None]:
    """What a page in a browser keeps open."""
    door = served.server.door
    with websocket(
        served.origin.replace("http", "ws", 1) + "/live", origin=Origin(served.origin), open_timeout=60,
        additional_headers={"cookie": f"{door.cookie}={door.token}"},
    ) as live:  # fmt: skip
        live.recv(timeout=60)
        yield


def begin_rinse(served: Served) -> None:
    """A valve is held open, in time as it passes for people."""
    served.wait(lambda: served.is_connected)
    asker = Asker(served)
    assert asker.ask("POST", "/do/rinse", b'{"valve": 1, "duration": "5 s"}')[0] == 200
    question = wait_question(served)
    answer = json.dumps({"question": question["id"], "value": "yes"}).encode()
    assert asker.ask("POST", "/do/answer", answer)[0] == 200
    served.wait(lambda: served.hub.get("job")["question"] is None)


def end_of(served: Served) -> Any:
    return served.wait(lambda: (j := served.hub.get("job"))["state"] != "running" and j["state"])


def test_when_the_last_page_is_closed_what_is_under_way_ends(serve: Serve) -> None:
    served = serve(rig=QUICK_RIG, pace=1.0)
    with open_live(served), open_live(served):
        begin_rinse(served)
    assert end_of(served) == "aborted"
    title = served.hub.get("job")["title"]
    assert [one["level"] for one in served.hub.get("notices") if title in one["text"]] == [
        "caution"
    ]


@pytest.mark.full
def test_while_a_page_is_open_or_loaded_again_nothing_is_ended(
    serve: Serve, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("beamfall.page.app._LEFT_S", 6.0)  # a busy machine takes long to connect
    served = serve(rig=QUICK_RIG, pace=0.5)
    with open_live(served):
        begin_rinse(served)
    with open_live(served):
        assert end_of(served) == "ended"
