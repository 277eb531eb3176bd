"""The page as a front end of workflows: puts their steps and questions on the hub, for all open pages."""

from __future__ import annotations

import time
from collections.abc import Mapping
from functools import partial
from typing import Any, TypeVar

from beamfall.page import words
from beamfall.page.hub import mark_shot
from beamfall.page.shown import show_shot
from beamfall.page.work import Work
from beamfall.photos.find import find_drawn
from beamfall.planning.seek.answer import explain_words
from beamfall.planning.sweep.progress import Entry
from beamfall.recipes.words import CORRECT, list_day, say_correction
from beamfall.setup.rig import Rig
from beamfall.workflows.check import (
    CANNOT_TELL,
    DONE,
    READY,
    Agree,
    AtRig,
    DoIt,
    GetReady,
    Look,
    PutBack,
    TestAhead,
    TestMade,
)
from beamfall.workflows.recipe import ApplyCorrection, DayCompared
from beamfall.workflows.run import Runner
from beamfall.workflows.seek_steps import (
    AGREED,
    Answered,
    LookedAgain,
    SearchBegun,
    ShotAhead,
    WhatIsSeen,
)
from beamfall.workflows.series import Shooter
from beamfall.workflows.steps import (
    AwaitingPicture,
    ContainerBelow,
    DropsFallen,
    Event,
    Fired,
    FlashesAhead,
    Pictured,
    PictureLate,
    Progress,
    Question,
    Remarked,
    ShotStopped,
    Waiting,
    WarmingUp,
    WhichPicture,
    Workflow,
)
from beamfall.workflows.sweep import StepAhead, StepFired, SweepBegun, count_fired
from beamfall.workflows.watch import STOP, EnoughSeen
from beamfall.workflows.words import BEGINS_APART, say_container_below, say_warming_up

T = TypeVar("T")


class PageFrontEnd:
    """Implements `workflows.run.FrontEnd` for one job."""

    def __init__(self, work: Work) -> None:
        self._work = work

    def show(self, event: Event) -> None:
        work = self._work
        match event:
            case Fired():
                show_shot(work, event)
                work.bench.tell_line(work.log, event.shot)
            case AwaitingPicture():
                work.tell(text=words.say_awaiting(event))
            case Pictured():
                self._show_picture(event)
            case PictureLate(late=late):
                if late.arrived is not None:
                    work.bench.tell_line(work.log, late.arrived.shot)
                work.hub.notice("note", words.say_late(late))
            case ShotStopped(series=series):
                newest = work.log.list_shots(limit=1, series=series)
                if newest:
                    work.bench.tell_line(work.log, newest[0].shot)
            case Waiting(seconds=seconds):
                now_ms = time.time() * 1e3
                work.tell(rest_until=now_ms + seconds / work.pace * 1e3 if seconds else None)
            case WarmingUp():
                work.tell(text=say_warming_up(event))
            case Progress(done=done, of=of):
                work.tell(done=done, of=of, text=words.say_progress(event))
            case Remarked(shot=shot, text=text):
                mark_shot(work.hub, shot, note=text)
                work.bench.tell_line(work.log, shot)
            case FlashesAhead(flicker=flicker):
                if flicker:  # the page always shows the caution
                    work.hub.notice("caution", flicker)
            case DropsFallen(count=count):
                work.tell(done=count, text=words.CALCULATING)
            case SweepBegun(plan=plan, series=series, entries=entries):
                work.tell(of=len(plan.steps), result={"series": series, "of": plan.of})
                self._show_entries(plan.of, entries)
            case StepAhead():
                work.tell(text=words.say_step_ahead(event))
            case StepFired(plan=plan, entries=entries):
                self._show_entries(plan.of, entries)
            case DayCompared(recipe=recipe, correction=correction):
                for text in list_day(recipe, correction):
                    work.add_line(day=text)
            case ShotAhead(aim=aim):
                work.tell(text=words.say_aim(aim))
            case SearchBegun(begins_apart=True):
                work.tell(note=BEGINS_APART)
            case Answered(aim=aim, chances=chances):
                work.add_line(**words.describe_answered(event))
                lines = words.renew_chances(work.lines, chances)
                work.tell(done=aim.number, lines=lines, note=words.say_fit(event))
            case LookedAgain(answered=one):
                work.tell(lines=words.renew_line(work.lines, one), note=words.say_fit(one))
            case TestAhead(check=check):
                work.tell(text=check.say_what_begins())
            case TestMade(step=step, ranked=ranked):
                work.add_line(
                    test=step.check.what, showed=step.describe(), asked=step.asked,
                    chances=[{"cause": name, "chance": chance} for name, chance in ranked[:4]],
                )  # fmt: skip

    def _show_picture(self, event: Pictured) -> None:
        work, shot = self._work, event.fired.shot
        work.tell(text="")  # nobody waits for it any more
        for text in words.list_problems(event):
            work.hub.notice("caution", text)
        if event.fired.photo is not None:
            mark_shot(work.hub, shot, picture={"simulated": False})
            work.hub.tell("picture", shot=shot)
            work.bench.tell_line(work.log, shot)

    def _show_entries(self, of: str, entries: tuple[Entry, ...]) -> None:
        ordered = sorted(entries, key=lambda one: (one.value_ms, one.repeat, one.shot))
        self._work.tell(
            done=count_fired(entries),
            lines=[
                {
                    "value": f"{of} {entry.value_ms:.3f} ms",
                    "drawn": entry.picture is not None
                    or find_drawn(self._work.log.path, entry.shot).exists(),
                    **entry.to_json(),
                }
                for entry in ordered
            ],
        )

    # -- questions ---------------------------------------------------------------------------------------------
    def ask(self, question: Question[Any], problem: str) -> str:
        ask = self._work.ask
        match question:
            case WhatIsSeen(fired=fired):
                agree = words.list_agreements(question)
                answer = ask(
                    words.WHAT_IS_SEEN if question.said is None else words.LOOK_AGAIN,
                    (*agree, *explain_words(len(question.aim.times_s), ages=True).items()),
                    hint=problem or words.say_what_was_read(question),
                    free=True,
                    shot=fired.shot,
                    measured=None if question.reading is None else question.reading.measured,
                )
                return AGREED if answer == words.AGREE else answer
            case WhichPicture():
                return ask(
                    words.say_which(question),
                    tuple((name, words.say_choice(name)) for name in question.choices),
                    hint=problem,
                )
            case ApplyCorrection(correction=correction):
                return ask(
                    CORRECT, words.CORRECTION_CHOICES, hint=problem or say_correction(correction)
                )
            case ContainerBelow():
                return ask(
                    say_container_below(question),
                    words.CONTAINER_CHOICES,
                    hint=problem,
                    cautions=(words.HOT_COIL,),
                )
            case EnoughSeen(listen=listen):
                return ask(words.EDGES_APPEAR, ((STOP, "Stop watching"),), listen=listen)
            case Agree(cautions=cautions):
                return ask(words.MAY_CHECK, ((READY, "Begin"),), cautions=cautions)
            case PutBack(question=one):
                return ask(one.after, ((DONE, "Done"),))
            case AtRig():
                return self._ask_at_rig(question)
        raise TypeError(f"the page has no words for {question!r}")

    def _ask_at_rig(self, question: AtRig) -> str:
        one, hint, listen = question.question, "", None
        cannot = words.CANNOT_DO
        choices: tuple[tuple[str, str], ...]
        if isinstance(question, GetReady):
            choices = ((READY, "Ready"),)
        elif isinstance(question, DoIt):
            choices, listen = ((DONE, "Done"),), question.listen
        else:
            assert isinstance(question, Look)
            choices, cannot = tuple(one.answers.items()), words.CANNOT_TELL
            if question.simulated is not None:
                hint = f"On the simulated rig: {one.answers[question.simulated]}"
        return self._work.ask(
            question.text, (*choices, (CANNOT_TELL, cannot)), hint=hint, listen=listen,
            cautions=(question.caution,) if question.caution else (),
        )  # fmt: skip


def run_on_page(work: Work, workflow: Workflow[T], *, pictures: bool = False) -> T:
    """Run a workflow on the board, with the page as its front end; return what came of it.

    `pictures`: its shots are photographs, which arrive as chosen on the page.
    """
    arrivals = None
    if pictures:
        arrivals = work.bench.camera.open(work.board, work.desk.rig, work.log.path)
    return Runner(
        work.board, work.log, PageFrontEnd(work), seed=work.seed, waits=work.bench.waits,
        open_series=partial(_open_series, work), arrivals=arrivals,
    ).run(workflow)  # fmt: skip


def _open_series(work: Work, kind: str, rig: Rig | None, settings: Mapping[str, Any]) -> Shooter:
    """The current series for single shots of the same rig; otherwise a new one."""
    current = work.bench.single_shots
    if kind != "shoot":
        work.bench.single_shots = None
    elif current is not None and current.board is work.board and current.rig == rig:
        current.asked_by = work.asked_by
        return current
    shooter = Shooter.begin(work.board, work.log, kind, rig=rig, seed=work.seed, settings=settings)
    shooter.asked_by = work.asked_by
    if kind == "shoot":
        work.bench.single_shots = shooter
    return shooter
