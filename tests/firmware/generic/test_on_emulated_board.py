"""Real MicroPython on an emulated RP2040: installing for real, and the generic port's figures from outside.

Needs BEAMFALL_EMULATOR and BEAMFALL_IMAGE (DEVELOPERS.md); without them every test here skips by name. Slow: an
emulated second takes 10 to 50 real ones.
"""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from emulated import emulated_board, measure  # noqa: E402

JUMPER = Path(__file__).with_name("jumper_scenario.py")


def test_install_onto_an_empty_board_and_again_over_running_firmware(
    tmp_path: Path, emulated: tuple[Path, Path]
) -> None:
    from beamfall.board import Board
    from beamfall.board_tools.install import install
    from beamfall.link.session import LinkTiming

    files = tmp_path / "files"
    files.mkdir()
    (files / "main.py").write_text("print('a program of my own')\n")
    with emulated_board(*emulated, files=files, scenario=JUMPER) as board_at:
        url = board_at.url
        first = install(url, "pico_generic", patience_s=300)
        assert not first.asked_by_wire and first.compiled and first.interpreter.platform == "rp2"
        assert first.verified == len(first.written) and "main.py" in first.moved
        assert first.firmware is not None
        # By the wire this time, and by what the interpreter says it is.
        second = install(url, patience_s=300)
        assert second.asked_by_wire and second.profile == "pico"
        assert "ports/generic/port.mpy" in second.removed and "ports/rp2/port.mpy" in second.written
        assert "beamfall_board/board.mpy" in second.unchanged
        with Board.connect(url, timing=LinkTiming(first_s=10, longest_s=30)) as board:
            assert board.info.timing.name == "hardware"


def test_the_self_test_over_a_jumper_wire(emulated: tuple[Path, Path]) -> None:
    from beamfall.board import Board
    from beamfall.board_tools import measure as tools
    from beamfall.link.session import LinkTiming

    with (
        emulated_board(*emulated, profile="pico_generic", scenario=JUMPER) as board_at,
        Board.connect(board_at.url, timing=LinkTiming(first_s=10, longest_s=30)) as board,
    ):
        found = tools.measure(board, pulses=16)
        print(found.to_dict()["loads"])
    for load, result in found.loads.items():
        assert result.flash_error.count == 16
        # The wire's far end is stamped right after the output's own interrupt: it has waited behind that.
        assert 0 <= result.stamp_error.quantile(0.5) < 400e-6, load
        assert result.flash_error.spread_s < 400e-6, load


@pytest.mark.parametrize("load", [False, True])
def test_edge_to_flash_from_outside(load: bool, emulated: tuple[Path, Path]) -> None:
    found = measure(*emulated, shots=2, load=load, quiet_s=8)
    for name, errors in found["errors"].items():
        # At most 15 us in 48 pulses: see firmware/ports/generic/README.md.
        assert min(errors) > -50 and max(errors) < 100, name
    assert found["edges_lost"] == 0
    # What the firmware reports as its worst is not less than what is seen from outside, but for the drive itself.
    worst = max(max(errors) for name, errors in found["errors"].items() if name.startswith("edge"))
    assert max(found["worst_late"]) >= worst - 25
