"""What workflows have to say, in the words of the terminal."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from beamfall.planning.seek.answer import explain_words
from beamfall.setup.unit_words import format_duration
from beamfall.shots import ShotRecord
from beamfall.text import say_count, show_text
from beamfall.workflows.reading import Reading
from beamfall.workflows.steps import (
    DropsFallen,
    Fired,
    FlashesAhead,
    Pictured,
    PictureLate,
    WhichPicture,
)
from beamfall.workflows.words import DROP_SEEN, LIGHT_SEEN, NO_LIGHT_SEEN, say_much_depends

if TYPE_CHECKING:
    from beamfall.faults.checks import Check
    from beamfall.faults.finder import Step
    from beamfall.photos.arrival import Arrived
    from beamfall.planning.belief import Belief
    from beamfall.workflows.repeat import Difference
    from beamfall.workflows.seek_steps import (
        Answered,
        LookedAgain,
        Misfired,
        SearchStopped,
        Sought,
        WhatIsSeen,
    )
    from beamfall.workflows.service import Dripped, Flashed
    from beamfall.workflows.sweep import StepFired
    from beamfall.workflows.watch import BeamView

FORGETS_SLOTS = "The simulated board forgets its slots when this command ends."


# -- before and after any shot ---------------------------------------------------------------------------------
def say_flashes_ahead(event: FlashesAhead) -> str:
    """The warning before the first flash."""
    what = "flashes are about to fire repeatedly" if event.repeated else "a flash is about to fire"
    return (
        f"{what}. Flashes can trigger photosensitive epilepsy: warn everyone in the room. "
        "Ctrl-C switches all outputs off."
    )


def say_beam(view: BeamView) -> str:
    """A beam that is watched, on one line."""
    dwell = "-" if view.dwell_s is None else format_duration(view.dwell_s)
    longest = "-" if view.dwell_s is None else format_duration(view.longest_s)
    state = "DARK " if view.is_dark else "clear"
    return f"{view.beam.name}  {state}  count {view.count}  last dwell {dwell}  longest {longest}"


def say_dripped(dripped: Dripped) -> str:
    """What one drop did."""
    if dripped.crossed_s is None:
        return "Nothing crossed the beam: `beamfall check` finds out why."
    return f"{DROP_SEEN}."


def say_flashed(flashed: Flashed) -> str:
    """What one flash did; empty if it is unknown."""
    if flashed.lit is None:
        return ""
    return LIGHT_SEEN if flashed.lit else NO_LIGHT_SEEN


def say_end(shots: Sequence[Fired], count: int) -> str:
    """What to do about shots of `count` that did not go as planned; empty if all did."""
    fired = sum(one.record.state == "fired" for one in shots)
    odd = sum(bool(one.remarks) for one in shots)
    cure = "Find out why: `beamfall check`"
    if fired < count:
        failed = (
            "The shot did not fire"
            if count == 1
            else f"{count - fired} of {count} shots did not fire"
        )
        return f"{failed}. {cure}"
    if odd:
        need = "The shot needs a look" if count == 1 else f"{odd} of {count} shots need a look"
        return f"{need}. {cure}"
    return ""


# -- pictures --------------------------------------------------------------------------------------------------
def list_pictured(event: Pictured | PictureLate) -> Iterator[str]:
    """Pictures that came, are missing, or came late; one line each."""
    if isinstance(event, Pictured):
        if event.problem is not None:
            yield f"  no picture: {event.problem}"
        photo = event.fired.photo
        if photo is not None:
            yield f"  picture: {_say_photo(photo)}"
        for remark in event.remarks:
            yield f"  {remark}"
        return
    late = event.late
    if late.arrived is not None:
        yield f"  shot {late.arrived.shot}'s picture came late: {_say_photo(late.arrived)}"
    for file in late.strays:
        yield f"  {show_text(file.name)} belongs to no shot; left unchanged"


def _say_photo(photo: Arrived) -> str:
    settings = "" if photo.exposure is None else photo.exposure.describe()
    return show_text(photo.path.name) + (f" ({show_text(settings)})" if settings else "")


def list_pictures(question: WhichPicture) -> Iterator[str]:
    """The pictures among which a person chooses."""
    yield f"More than one picture could show shot {question.shot}:"
    for number, one in enumerate(question.pictures, 1):
        yield f"  {number}  {show_text(one.file.name)}"


# -- sweep -----------------------------------------------------------------------------------------------------
def say_step(event: StepFired) -> str:
    """A step of a sweep, as it was fired."""
    record = event.fired.record
    odd = "".join(f"; {remark}" for remark in event.fired.remarks)
    return (
        f"step {event.step.index} of {len(event.plan.steps)}: {event.plan.of} "
        f"{event.step.value_s * 1e3:.3f} ms, shot {record.shot} {record.state}{odd}{_say_shown(record)}"
    )


def _say_shown(record: ShotRecord) -> str:
    shown = record.pictures
    return f"; the picture would show: {shown[0]['shows']}" if shown else ""


def say_frame(of: str, value_s: float, fired: Fired) -> str:
    """The caption below a simulated picture on the sheet of a sweep."""
    seen = fired.picture.shows if fired.picture is not None else None
    return f"shot {fired.shot}, {of} {value_s * 1e3:.2f} ms: {seen or fired.record.state}"


def say_sweep_stopped(series: int) -> str:
    """How to resume a sweep that was stopped."""
    return f"stopped; resume with: beamfall sweep --resume {series}"


# -- seek ------------------------------------------------------------------------------------------------------
def say_misfired(event: Misfired) -> str:
    """A shot of a search that did not fire."""
    record = event.fired.record
    return f"shot {record.shot}: {record.state} ({record.cause}); trying again"


def say_asked(question: WhatIsSeen) -> str:
    """The shot that is asked about."""
    aim = question.aim
    if question.said is not None:
        return f"{say_much_depends(question)}. Please look at this picture again ({aim.describe()})"
    return f"shot {question.fired.shot} ({aim.number} of at most {aim.most}): {aim.describe()}"


def say_what_is_seen(question: WhatIsSeen) -> str:
    """The question under a picture."""
    known = f"{', '.join(question.choices)}; ? explains"
    if question.otherwise is None:
        return f"What does the picture show? ({known}) "
    if question.said is not None:
        return f"Press Enter to keep '{question.said.said}', or type what it shows ({known}) "
    return f"Press Enter to agree, or type what it shows ({known}) "


def say_reading(reading: Reading) -> str:
    """What was read in a photograph."""
    return f"  read in the picture: {reading.said}"


def explain_answers(drops: int) -> Iterator[str]:
    """What each answer means, for a shot of that many drops."""
    words = explain_words(drops, ages=True)
    width = max(map(len, words))
    for word, meaning in words.items():
        yield f"  {word.ljust(width)}  {meaning}"


def say_answer(one: Answered) -> str:
    """What a shot of a search showed, in a word or two."""
    return "no information" if one.answer is None else one.answer.said


def say_sought_frame(one: Answered, done: Sought) -> str:
    """The caption below a picture on the sheet of a search; the best picture is marked."""
    best = "best: " if done.found and one is done.best else ""
    times = f"{one.aim.say_openings(1)}flash {one.aim.delay_s * 1e3:.1f} ms"
    return f"{best}shot {one.fired.shot}: {times}: {say_answer(one)}"


def say_answered(one: Answered) -> str:
    """What a shot has taught the search."""
    if not one.teaches:
        outcome = f"gave no information: {one.useless or 'the picture is black'}"
    else:
        outcome = (
            f"{say_answer(one)}; chance that this was the wanted picture: {100 * one.chance:.0f} %"
        )
    return f"shot {one.fired.shot}: {one.aim.describe()}: {outcome}"


def say_looked_again(event: LookedAgain) -> str:
    """What a second look at a picture has changed."""
    one = event.answered
    kept = "stays" if one.answer == event.before else "becomes"
    outcome = f"the answer {kept} '{say_answer(one)}'"
    if one.teaches:
        outcome += f"; chance that this was the wanted picture: {100 * one.chance:.0f} %"
    return f"shot {one.fired.shot}, second look: {outcome}"


def list_sought(done: Sought) -> Iterator[str]:
    """How a search ended, a line each."""
    search, best = done.search, done.best
    count = say_count(search.shots, "shot")
    if search.found and best is not None:
        sure = (
            "you confirmed it"
            if done.by_word
            else f"chance that this is the wanted picture: {100 * search.best_chance:.0f} %"
        )
        aim = best.aim
        which = "" if best is done.shots[-1] else f"shot {best.fired.shot} has the picture: "
        yield f"Found after {count}: {which}{aim.describe()}; {sure}"
        if done.truth is not None and done.truth.error_s is not None:
            error_ms = done.truth.error_s * 1e3
            side = "after" if error_ms >= 0.0 else "before"
            yield f"Simulated truth: {abs(error_ms):.2f} ms {side} the wanted moment"
    else:
        yield f"Not found in {count}; run seek again to continue"
    if done.kept is None:
        yield "No picture gave information, so nothing was saved. Find out why: `beamfall check`"
    else:
        yield from _list_kept(done.kept, done.belief)


def list_search_stopped(event: SearchStopped) -> Iterator[str]:
    """What is saved of a search that Ctrl-C has ended, one line each."""
    said = (
        f"after {say_count(event.answers, 'answer')}"
        if event.answers
        else "before the first answer"
    )
    yield f"Search stopped {said}"
    if event.kept is None:
        yield "Nothing was learned yet. The shots are in the log"
    else:
        yield from _list_kept(event.kept, event.belief)


def _list_kept(kept: Path, belief: Belief | None) -> Iterator[str]:
    yield f"Saved in {show_text(kept)}: `beamfall learned show` lists it, `beamfall learned undo` undoes it"
    if belief is not None and belief.explain_newest():
        yield belief.explain_newest()


# -- calibrate, repeat, check ----------------------------------------------------------------------------------
def say_drops_fallen(event: DropsFallen, port: str) -> str:
    """That all drops of a calibration have fallen."""
    return f"fired {event.count} shots on {port}, series {event.series}\n"


def list_differences(differences: tuple[Difference, ...]) -> list[str]:
    """Everything that differs from that day."""
    lines = [f"{one.what}: {one.then} then, {one.now} now" for one in differences]
    if any(one.what == "clock" for one in differences):
        lines.append("the clocks differ, so times agree only to half a tick of this board's clock")
    return lines


def say_test_ahead(check: Check) -> str:
    """What the board does now, for the waiting user."""
    return f"now: {check.say_what_begins()} ..."


def say_test_made(step: Step) -> str:
    """What a test showed; empty if it showed nothing."""
    if not step.outcomes and not step.trouble:
        return ""
    return f"{'asked' if step.asked else 'board'}  {step.check.what}: {step.describe()}"
