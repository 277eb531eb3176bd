"""Turns a `refused` answer into an error."""

from __future__ import annotations

from beamfall.errors import Refused
from beamfall.wire.messages import Message
from beamfall.wire.schema import Definition, WireEnum

NO_ROW = 65535  # in `refused`: no row at fault


def make_refusal(definition: Definition, answer: Message) -> Refused:
    """Return the error for a decoded `refused`, in the definition's words."""
    reason: WireEnum = answer["reason"]
    requested = definition.by_id.get(answer["request"])
    return Refused(
        requested.name if requested is not None else f"message {answer['request']}",
        reason.name,
        row=None if answer["row"] == NO_ROW else answer["row"],
        detail=answer["detail"],
        meaning=reason.meaning,
        cure=reason.cure,
    )
