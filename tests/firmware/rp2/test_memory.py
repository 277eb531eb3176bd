"""What DMA reads and writes: aligned as asked, never two things in one place, and with little waste."""

from __future__ import annotations

import importlib
import sys
import types
from pathlib import Path
from typing import Any

import pytest

FIRMWARE = Path(__file__).resolve().parents[3] / "firmware"


@pytest.mark.parametrize("skip", [0, 16, 2048, 4080])
def test_what_alignment_leaves_over_is_used(monkeypatch: pytest.MonkeyPatch, skip: int) -> None:
    places: list[tuple[Any, int]] = []  # arrays and where they lie

    def place(halves: Any) -> int:
        for known, address in places:
            if known is halves:
                return address
        places.append((halves, 0x2000_0000 + 0x4000 * len(places) + 4096 - skip))
        return places[-1][1]

    for name in [name for name in sys.modules if name.split(".")[0] == "ports"]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.syspath_prepend(str(FIRMWARE))
    for name, content in (
        ("uctypes", {"addressof": place}),
        ("micropython", {"const": lambda value: value}),
        ("machine", {"mem32": {}}),
        ("rp2", {}),
    ):
        module = types.ModuleType(name)
        module.__dict__.update(content)
        monkeypatch.setitem(sys.modules, name, module)
    memory = importlib.import_module("ports.rp2.memory")
    monkeypatch.setattr(memory, "_spare", [])
    asked = [(1024, 4096), (448, 4), (448, 4), (30, 4), (448, 4)]
    given = [memory.allocate(*one) for one in asked]
    spans = sorted(
        (address, address + 4 * words)
        for (words, _), (address, _, _) in zip(asked, given, strict=True)
    )
    assert given[0][0] % 4096 == 0
    assert all(end <= begin for (_, end), (begin, _) in zip(spans, spans[1:], strict=False))
    for (words, _), (address, halves, first) in zip(asked, given, strict=True):
        assert address == place(halves) + 2 * first and address % 4 == 0
        assert first + 2 * words <= len(halves)
    assert len(places) <= 2, "two of the three large ones lie beside the ring"
