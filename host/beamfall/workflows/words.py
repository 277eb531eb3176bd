"""Sentences that the terminal and the page share, so that one event has one wording."""

from __future__ import annotations

from typing import TYPE_CHECKING

from beamfall.text import say_count
from beamfall.workflows.steps import ContainerBelow, WarmingUp

if TYPE_CHECKING:
    from beamfall.workflows.seek_steps import WhatIsSeen

CHECK_AHEAD = "The check will release drops and fire the flash several times."
DROP_SEEN = "The beam saw a drop"
LIGHT_SEEN = "The light was seen."
BEGINS_APART = "The first shot may differ from the plan: it teaches the search the most."
MISFIT = (
    "Your answers fit the rig file poorly: check its heights, opening and liquid. "
    "The search now follows your answers."
)
NO_LIGHT_SEEN = "The contact closed, but the flash-seen sensor saw no light. Did you see the flash?"


def say_warming_up(event: WarmingUp) -> str:
    """The drops that fall before a series."""
    fall = "falls" if event.drops == 1 else "fall"
    return f"{say_count(event.drops, 'drop')} {fall} first, without a flash."


def say_much_depends(question: WhatIsSeen) -> str:
    """Why a picture that has been answered is asked about again."""
    assert question.said is not None
    return f"You answered '{question.said.said}' for shot {question.fired.shot}, and a lot depends on it"


def say_container_below(question: ContainerBelow) -> str:
    """The question before a rinse."""
    return f"Valve {question.valve} will stay open for {question.duration_s:g} s. Is a container under it?"
