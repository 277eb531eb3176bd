"""What workflows have to say, in the words of the terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from beamfall.workflows.service import Dripped, Flashed
    from beamfall.workflows.steps import ContainerBelow, FlashesAhead

LIGHT_SEEN = "The light was seen."
NO_LIGHT_SEEN = "The contact closed, but the flash-seen sensor saw no light. Did you see the flash?"


def say_flashes_ahead(event: FlashesAhead) -> str:
    """Whom to warn before the first flash."""
    what = "flashes are about to repeat" if event.repeated else "a flash is about to fire"
    return (
        f"{what}. Flashes can trigger photosensitive epilepsy: warn everybody in the room. "
        "Ctrl-C puts all outputs off."
    )


def say_container_below(question: ContainerBelow) -> str:
    """What is asked before a rinse."""
    return f"Valve {question.valve} will stay open for {question.duration_s:g} s. Is a container under it?"


def say_dripped(dripped: Dripped) -> str:
    """What one drop did."""
    if dripped.crossed_s is None:
        return "Nothing crossed the beam: `beamfall check` finds out why."
    return "The beam saw a drop."


def say_flashed(flashed: Flashed) -> str:
    """What one flash did; empty where nobody can say."""
    if flashed.lit is None:
        return ""
    return LIGHT_SEEN if flashed.lit else NO_LIGHT_SEEN


def say_end(fired: int, odd: int, count: int) -> str:
    """What to do about shots that did not go as planned; empty where all did."""
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
