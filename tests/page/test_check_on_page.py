"""A check led over the page, without a browser: somebody who takes their time at the rig."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

from page_helpers import Served

from beamfall.board import HOST_TIMEOUT_S
from beamfall.page.jobs_find import make_check
from beamfall.page.listening import make_opener

Serve = Callable[..., Served]
PACE = 30.0


def test_a_person_slower_than_the_boards_time_out_is_waited_for(serve: Serve) -> None:
    """While the page waits for `Done` the board watches, hears its host, and nothing of it is lost."""
    served = serve(make_opener("sim?fault=beam-misaligned", 3), pace=PACE)
    hub, bench = served.hub, served.server.bench
    served.wait(lambda: hub.get("link", {}).get("state") == "up" and hub.get("plan"))
    bench.submit(make_check(False))
    answered, acted = 0, 0

    def open_question() -> Any:
        job = hub.get("job")
        if job is None or job["kind"] != "check":
            return None  # it has not begun yet
        if job["state"] != "running":
            return "over"
        question = job["question"]
        return question if question is not None and question["id"] > answered else None

    while (question := served.wait(open_question, 60.0)) != "over":
        answered = question["id"]
        choices = question["choices"]
        if [choice["value"] for choice in choices] == ["done"] and "now" in question["text"]:
            acted += 1
            time.sleep(3.0 * HOST_TIMEOUT_S / PACE)
            assert hub.get("live")["activity"] == "watch", "the board still watches"
        told = question["hint"].removeprefix("At the simulated rig: ")
        fits = [choice["value"] for choice in choices if choice["words"] == told]
        bench.answer(question["id"], fits[0] if fits else choices[0]["value"])
    job = hub.get("job")
    assert job["state"] == "ended", job["text"]
    assert acted >= 1
    assert job["result"]["ranked"][0]["name"] == "beam-misaligned"
    assert not [line for line in job["lines"] if "ended the watch" in line["showed"]]
