"""A check led over the page, without a browser: somebody who takes their time at the rig."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from page_helpers import Serve, Served

from beamfall.board_session import HOST_TIMEOUT_S
from beamfall.faults.fault_rig import WATCH_ENDED
from beamfall.faults.finder import NO_ANSWER
from beamfall.page.jobs import make_check
from beamfall.page.listening import make_opener
from beamfall.setup.rig import Rig

PACE = 30.0


def test_a_person_slower_than_the_boards_time_out_is_waited_for(serve: Serve) -> None:
    """While the page waits for `Done` the board watches, hears its host, and nothing of it is lost."""
    opened: list[Any] = []

    def opener(rig: Rig | None) -> Any:
        transport, reconnect = make_opener("sim?fault=beam-misaligned", 3)(rig)
        opened.append(transport)
        return transport, reconnect

    served = serve(opener, pace=PACE)
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
        values = [choice["value"] for choice in choices]
        if values[0] == "done" and question["text"].lower().startswith("now"):
            acted += 1
            served.wait(lambda: hub.get("live")["activity"] == "watch")
            # By the board's own time: three time-outs, and one more in which it is asked how it stands.
            until_s = opened[-1].clock() + 4.0 * HOST_TIMEOUT_S
            served.wait(lambda until=until_s: opened[-1].clock() > until)
            assert hub.get("live")["activity"] == "watch", "the board still watches"
        told = question["hint"].removeprefix("On the simulated rig: ")
        fits = [choice["value"] for choice in choices if choice["words"] == told]
        bench.answers.give(question["id"], fits[0] if fits else choices[0]["value"])
    job = hub.get("job")
    assert job["state"] == "ended", job["text"]
    assert acted >= 1
    assert job["result"]["ranked"][0]["name"] == "beam-misaligned"
    assert not [line for line in job["lines"] if WATCH_ENDED in line["showed"]]


def lead(served: Served, answer: Callable[[Any], str]) -> tuple[Any, list[Any]]:
    """Make a check and answer its questions; the job at its end, and all questions."""
    hub, bench = served.hub, served.server.bench
    served.wait(lambda: hub.get("link", {}).get("state") == "up" and hub.get("plan"))
    bench.submit(make_check(False))
    asked: list[Any] = []

    def open_question() -> Any:
        job = hub.get("job")
        if job is None or job["kind"] != "check":
            return None
        if job["state"] != "running":
            return "over"
        question = job["question"]
        seen = asked[-1]["id"] if asked else 0
        return question if question is not None and question["id"] > seen else None

    while (question := served.wait(open_question, 60.0)) != "over":
        asked.append(question)
        bench.answers.give(question["id"], answer(question))
    job = hub.get("job")
    assert job["state"] == "ended", job["text"]
    return job, asked


@pytest.mark.quick
def test_who_cannot_tell_says_so_and_every_caution_is_told_once(serve: Serve) -> None:
    served = serve(make_opener("sim?fault=flash-cable", 3), pace=PACE)

    def never_tell(question: Any) -> str:
        values = [choice["value"] for choice in question["choices"]]
        return "cannot-tell" if "cannot-tell" in values else str(values[0])

    job, asked = lead(served, never_tell)
    assert not job["result"]["settled"]
    assert [line for line in job["lines"] if line["showed"] == NO_ANSWER]
    told = [caution for question in asked for caution in question["cautions"]]
    assert len(told) == len(set(told)) >= 4
    for one in told:  # nor inside another one
        assert sum(one in other for other in told) == 1
    texts = [question["text"] for question in asked]
    assert len(texts) == len(set(texts)), "what could not be told is not asked again"
    assert job["result"]["timings_from"] == {"source": "page"}
