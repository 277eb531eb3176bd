"""Fixtures that spare what tests of pages and workflows would do twice or for nobody. A conftest imports them."""

from __future__ import annotations

import contextlib
import pickle
import queue
import sys
from collections.abc import Iterator
from typing import Any

import pytest

from beamfall.planning import collision
from beamfall.planning.result import Plan
from beamfall.setup.rig import Rig


@pytest.fixture(autouse=True, scope="package")
def plans_made_once() -> Iterator[None]:
    """Pages and commands get the plan that the planner has made of the same rig before.

    `tests/plan` asks the planner itself: it also shows that a rig's plan is the same every time.
    """
    plan_collision = collision.plan_collision
    made: dict[bytes, Plan] = {}

    def plan_once(rig: Rig, **options: Any) -> Plan:
        key = pickle.dumps((rig, sorted(options.items())))
        if key not in made:
            made[key] = plan_collision(rig, **options)
        return made[key]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(collision, "plan_collision", plan_once)
        yield


@pytest.fixture(autouse=True)
def nothing_left_to_draw() -> Iterator[None]:
    """Pictures that wait to be drawn when a test is over are not: nobody would look at them."""
    yield
    pictures = sys.modules.get("beamfall.page.pictures")
    if pictures is not None:
        with contextlib.suppress(queue.Empty):
            while True:
                pictures._painter._waiting.get_nowait()
