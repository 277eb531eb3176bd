"""What to do about the causes that were found."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from beamfall.faults.catalogue import NOTHING, load_catalogue

AGAIN = "Check again, and answer to the end. Where you cannot tell, say so."
MISSED = ("early", "late", "missed")  # pictures that show drops and light, at another moment
_NOTHING = "Fire a shot with `beamfall shoot`. Check again if something fails."
_SEEK = (
    "The picture missed the moment: that is a matter of timing. `beamfall seek` finds the timings from what your "
    "pictures show, and `beamfall sweep` walks through them."
)


def list_advice(causes: Iterable[str], outcomes: Mapping[str, str]) -> list[str]:
    """Return what to do about the causes named, in sentences; `outcomes` by sign are what was seen."""
    catalogue = load_catalogue()
    missed = outcomes.get("picture") in MISSED
    seek = f"{_SEEK} {catalogue.cautions['strobe']}"
    sentences = []
    for name in causes:
        if name == NOTHING:
            sentences.append(seek if missed else _NOTHING)
            continue
        cause = catalogue.causes[name]
        sentences.append(cause.remedy)
        # A button that acted by itself is fitted, whatever the rig file says.
        if cause.unless and outcomes.get("button-spoke") != "spoke":
            sentences.append(cause.unless)
        if cause.timing and missed:
            sentences.append(seek)
    return sentences
