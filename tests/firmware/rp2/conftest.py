"""The bench of rp2_bench.py for every test here; without the emulators the tests skip by name."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

sys.path.insert(0, str(Path(__file__).parent))


@pytest.fixture
def make_bench(monkeypatch: pytest.MonkeyPatch) -> Callable[..., Any]:
    from rp2_bench import Bench

    def make(board: str = "pico", **options: Any) -> Any:
        return Bench(monkeypatch, board, **options)

    return make


@pytest.fixture
def bench(make_bench: Callable[..., Any]) -> Any:
    return make_bench()
