"""What to do about the causes that were found."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from beamfall.faults.catalogue import NOTHING, load_catalogue

AGAIN = "Run the check again and answer every question. If you cannot tell, say so."
MISSED = ("early", "late", "missed")  # pictures that show drops and light, but another moment
_NOTHING = "Fire a shot. If something fails, check again."
_SEEK = (
    "The picture missed the moment: the timing is off. `beamfall seek` finds the timings from your pictures, and "
    "`beamfall sweep` steps through them."
)


def list_advice(causes: Iterable[str], outcomes: Mapping[str, str]) -> list[str]:
    """Return what to do about the causes named, in sentences; `outcomes` by sign are what was seen.

    A caution that several causes share is given once.
    """
    catalogue = load_catalogue()
    missed = outcomes.get("picture") in MISSED
    seek = (_SEEK, catalogue.cautions["strobe"])
    sentences: list[str] = []
    for name in causes:
        if name == NOTHING:
            sentences.extend(seek if missed else (_NOTHING,))
            continue
        cause = catalogue.causes[name]
        sentences.extend((f"{cause.advice}.", *cause.cautions))
        # A button that acted by itself must be fitted, whatever the rig file says.
        if cause.unless and outcomes.get("button-spoke") != "spoke":
            sentences.append(cause.unless)
        if cause.timing and missed:
            sentences.extend(seek)
    return list(dict.fromkeys(sentences))
