"""Pictures that arrive for shots fired on the page, as chosen there."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from beamfall.errors import UserError
from beamfall.page.jobs import make_arm, make_release, make_seek
from beamfall.page.words import AGREE
from beamfall.shots import ShotLog


def test_without_the_camera_that_was_chosen_nothing_is_fired(use_log: Any, on_page: Any) -> None:
    path = use_log("log")
    page = on_page(path)
    assert page.hub.get("pictures")["kinds"] == ["none", "camera", "sim"], "no folder from a page"
    with pytest.raises(UserError):
        page.bench.camera.choose("folder", "")

    page.bench.camera.choose("camera", "no such camera")
    page.do(make_arm())
    failed = page.do(make_release(1))
    assert failed["state"] == "failed" and page.hub.get("pictures")["state"] == failed["text"]
    with ShotLog.open(path, read_only=True) as log:
        assert log.count_shots() == 0, "no shot without the camera that was chosen"


@pytest.mark.full
def test_the_chosen_camera_delivers_the_picture_of_a_release(use_log: Any, on_page: Any) -> None:
    path = use_log("log")
    page = on_page(path)
    page.bench.camera.choose("sim", "")
    page.do(make_arm())
    assert page.do(make_release(1))["state"] == "ended"
    with ShotLog.open(path, read_only=True) as log:
        (line,) = log.list_shots(limit=None)
    assert Path(line.picture).is_file()
    assert page.hub.get("shot")["picture"] == {"simulated": False}


@pytest.mark.full
def test_a_dragged_mark_is_shown_before_the_search_learns_from_it(
    use_log: Any, on_page: Any
) -> None:
    page = on_page(use_log("log"))
    page.bench.camera.choose("sim", "")
    asked: list[Any] = []

    def answer(question: Any) -> str:
        asked.append(question)
        assert page.hub.get("job")["text"] == "", "its picture is no longer waited for"
        if question["shot"] != asked[0]["shot"]:
            return "found"
        if len(asked) == 1:
            return f"surface {question['measured']['marks']['surface']['row'] - 30.0:.1f}"
        assert page.hub.get("job_seek")["done"] == 0, "nothing was learned from it yet"
        agrees = any(choice["value"] == AGREE for choice in question["choices"])
        return AGREE if agrees else "found"

    page.do(make_seek("", 2, True, False), answer)
    first, second = (one["measured"]["marks"]["surface"] for one in asked[:2])
    assert asked[0]["shot"] == asked[1]["shot"], "the same picture, asked about again"
    assert second["by_hand"] and second["row"] == pytest.approx(first["row"] - 30.0, abs=0.2)
