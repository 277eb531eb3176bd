"""The whole firmware on an emulated board, measured at its pins. Needs an emulator and a MicroPython image, which are
no part of this project: BEAMFALL_EMULATOR and BEAMFALL_IMAGE name them (see DEVELOPERS.md)."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

SPREAD_NS = 16.0  # the aim; 8 ns are the clock's own grain
CROSSING = 3  # cycles from one block of the chip through a pin to another


@pytest.mark.parametrize("load", [False, True], ids=["idle", "load"])
def test_the_flash_follows_the_beam_on_the_whole_board(
    load: bool, emulated: tuple[Path, Path]
) -> None:
    from emulated_board import DROPS, measure

    found = measure(*emulated, shots=1, late_shots=0, load=load)
    assert found["edges_lost"] == 0
    assert set(found["edge_to_flash"]) == {"0.01 ms", "1 ms", "10 ms"}
    cycle_ns = found["cycle_ns"]
    # An emulator may lack the flip-flops of the pins: see firmware/ports/rp2/README.md, Proof.
    lacking_ns = CROSSING * cycle_ns if found["release_rows"][0] < -cycle_ns else 0
    for delay, errors in found["edge_to_flash"].items():
        assert len(errors) == DROPS, delay
        assert max(errors) - min(errors) <= SPREAD_NS, delay
        assert all(abs(error + 2 * lacking_ns) <= cycle_ns for error in errors), delay
    assert all(abs(error + lacking_ns) < 1 for error in found["release_rows"])


def test_the_started_firmware_leaves_room_and_answers_soon_after_power_up(
    emulated: tuple[Path, Path],
) -> None:
    """Both figures are the emulated board's own: they do not depend on the computer."""
    from room import ANSWERED_S, FREE_BYTES, measure_room

    free, answered = measure_room(*emulated)
    assert free >= FREE_BYTES
    assert answered <= ANSWERED_S
