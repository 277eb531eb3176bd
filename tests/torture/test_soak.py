"""A short soak in CI; the long one is a command, see soak.py."""

from __future__ import annotations

import pytest
import soak
from tiers import in_full

from beamfall.sim.firmware_modules import load_firmware


@pytest.mark.parametrize("shots", [150, *in_full(1500)])
def test_no_shot_is_lost_or_doubled_over_a_damaging_line(shots: int) -> None:
    figures = soak.soak(shots, 0.05, seed=3)
    assert figures["shots"] == shots
    assert (figures["lost"], figures["doubled"], figures["unknown"], figures["incomplete"]) == (
        0,
        0,
        0,
        0,
    )
    assert figures["damaged"] > shots / 3 and figures["retransmissions"] > shots / 15, (
        "the line was not bad"
    )
    assert figures["memory_mb"] - figures["memory_early_mb"] < 8


def test_the_soak_finds_a_board_that_shoots_twice(monkeypatch: pytest.MonkeyPatch) -> None:
    controller = load_firmware().board.__init__.__globals__["Controller"]
    original = controller._finish

    def finish_and_drip(self, state: int, cause: int) -> None:  # type: ignore[no-untyped-def]
        original(self, state, cause)
        if self.last_release == 20:
            self._port._drive(1, 1)
            self._port._drive(1, 0)

    monkeypatch.setattr(controller, "_finish", finish_and_drip)
    with pytest.raises(AssertionError, match="openings at the pins"):
        soak.soak(30, 0.05)
