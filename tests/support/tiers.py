"""What the full tier does in addition to the quick one."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import settings

_QUICK_SHARE = 8  # of the examples of the full tier, the quick one tries an eighth


def in_full(*cases: Any) -> list[Any]:
    """These cases of a parametrised test, marked `full`: `[QUICK, *in_full(OTHER, ANOTHER)]`."""
    return [pytest.param(case, marks=pytest.mark.full) for case in cases]


def examples(count: int) -> settings:
    """Settings of a property that the full tier tries with this many examples, the quick tier with an eighth."""
    full = settings().max_examples >= settings.get_profile("full").max_examples
    return settings(max_examples=count if full else count // _QUICK_SHARE)
