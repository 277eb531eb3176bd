"""What several tests of the host need."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

import pytest

from beamfall.link.welcome import Welcome
from beamfall.setup.limits import BoardLimits
from beamfall.setup.signals import Signal
from beamfall.wire import get_definition


@pytest.fixture
def welcome() -> Welcome:
    """The welcome of a board with the limits that BoardLimits has by default."""
    definition = get_definition()
    limits = BoardLimits()
    signals = Signal
    values: dict[str, Any] = {field.name: 0 for field in fields(Welcome)}
    values |= {name: getattr(limits, name) for name in limits.__dataclass_fields__}
    values |= {
        "outputs": sum(1 << signals[name] for name in limits.outputs),
        "inputs": sum(1 << signals[name] for name in limits.inputs),
        "protocol": definition.protocol,
        "definition": definition.digest,
        "firmware_minor": 1,
        "boot_id": 0x5EED,
        "unique_id": b"invented",
        "timing": definition.enum("timing")["simulated"],
        "state": definition.enum("state")["idle"],
        "cause": definition.enum("cause")["none"],
    }
    return Welcome(**values)
