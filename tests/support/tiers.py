"""Cases of a test that only the full tier runs."""

from __future__ import annotations

from typing import Any

import pytest


def in_full(*cases: Any) -> list[Any]:
    """These cases of a parametrised test, marked `full`: `[QUICK, *in_full(OTHER, ANOTHER)]`."""
    return [pytest.param(case, marks=pytest.mark.full) for case in cases]
