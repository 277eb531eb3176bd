"""The page as a front end of workflows: puts their steps and questions on the hub, for all open pages."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING, Any

from beamfall.page import words
from beamfall.page.shown import mark_shot, show_shot
from beamfall.workflows.steps import (
    ContainerBelow,
    Event,
    Fired,
    FlashesAhead,
    Progress,
    Question,
    Remarked,
    ShotStopped,
    Waiting,
    WarmingUp,
)

if TYPE_CHECKING:
    from beamfall.page.jobs import Work


class PageFrontEnd:
    """Obeys `workflows.run.FrontEnd` for one job."""

    def __init__(self, work: Work) -> None:
        self._work = work

    def show(self, event: Event) -> None:
        work = self._work
        match event:
            case Fired():
                show_shot(work, event)
                work.bench.tell_line(work.log, event.shot)
            case ShotStopped(series=series):
                newest = work.log.list_shots(limit=1, series=series)
                if newest:
                    work.bench.tell_line(work.log, newest[0].shot)
            case Waiting(seconds=seconds):
                now_ms = time.time() * 1e3
                work.tell(rest_until=now_ms + seconds / work.pace * 1e3 if seconds else None)
            case WarmingUp():
                work.tell(text=words.say_warming_up(event))
            case Progress(done=done, of=of):
                work.tell(done=done, of=of, text=words.say_progress(event))
            case Remarked(shot=shot, text=text):
                mark_shot(work.hub, shot, note=text)
                work.bench.tell_line(work.log, shot)
            case FlashesAhead(flicker=flicker):
                if flicker:  # whom to warn is on the page all along
                    work.hub.notice("caution", flicker)

    def ask(self, question: Question[Any], problem: str) -> str:
        assert isinstance(question, ContainerBelow)
        return self._work.ask(
            words.say_container_below(question),
            words.CONTAINER_CHOICES,
            hint=problem,
            cautions=(words.HOT_COIL,),
        )
