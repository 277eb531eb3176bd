"""The timing self-test, its files, and `beamfall board` at the command line."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
from matplotlib.figure import Figure

from beamfall.board import Board
from beamfall.board_tools.draw import choose_unit, draw_measurement, list_bins
from beamfall.board_tools.errors import MeasureError
from beamfall.board_tools.measure import Distribution, measure, store_edge_constant
from beamfall.cli import main
from beamfall.errors import FileWriteError, UserError
from beamfall.sim.embedded import JumperRig, SimulatedTransport

VALVE1, BEAM1 = 1, 9
US = 125  # ticks


def connect(rig: Any) -> Board:
    return Board.over(SimulatedTransport(rig, seed=1))


def test_on_the_ideal_port_there_is_no_error_at_all() -> None:
    with connect(JumperRig(VALVE1, BEAM1)) as board:
        found = measure(board, pulses=40, simulated=True)
    assert set(found.loads) == {"low", "high"}
    for result in found.loads.values():
        assert result.flash_error.count == result.stamp_error.count == 40
        assert set(result.flash_error.errors_s) == set(result.stamp_error.errors_s) == {0.0}
        assert (result.edges_lost, result.rows_late, result.spoiled_shots) == (0, 0, 0)
    assert found.loads["low"].questions == 0 and found.loads["high"].questions > 40


def test_what_the_wire_takes_is_what_is_measured() -> None:
    # A wire that takes 3 us: the beam's stamp and the flash that follows it are both that late.
    with connect(JumperRig(VALVE1, BEAM1, delay_ticks=3 * US)) as board:
        found = measure(board, pulses=20, loads=("low",))
    result = found.loads["low"]
    assert result.stamp_error.errors_s == pytest.approx([3e-6] * 20, abs=1e-12)
    assert result.flash_error.errors_s == pytest.approx([3e-6] * 20, abs=1e-12)


@pytest.mark.parametrize("true", [pytest.param(0, marks=pytest.mark.full), 5])
def test_what_an_edge_takes_through_a_pin_is_found_stored_and_used(true: int) -> None:
    with connect(JumperRig(VALVE1, BEAM1, edge_constant=true)) as board:
        found = measure(board, pulses=16, loads=("low",))
        assert found.edge_constant == {"in_use": 3, "expected": 3, "measured": true}
        assert set(found.loads["low"].flash_error.errors_s) == {
            2 * (true - 3) / board.info.clock_hz
        }
        again = store_edge_constant(board, found, print)
        assert again is not None and set(again.loads["low"].flash_error.errors_s) == {0.0}
        assert store_edge_constant(board, again, print) is None, "it is right now"
        board.link.transport.restart_board()  # type: ignore[attr-defined]
        board.link.reopen()
        assert board.edge_constant().ticks == true, "it is kept over a restart"


def test_no_edge_constant_explains_a_slow_wire_and_none_is_stored() -> None:
    with connect(JumperRig(VALVE1, BEAM1, delay_ticks=3 * US)) as board:
        found = measure(board, pulses=20, loads=("low",))
        assert found.edge_constant is not None and found.edge_constant["measured"] is None
        assert store_edge_constant(board, found, print) is None
        assert board.edge_constant().ticks == 3


def test_another_output_may_be_the_source_and_no_signal_that_is_not_there() -> None:
    with connect(JumperRig(8, 10)) as board:
        found = measure(
            board, source="shutter", beam="beam2", flash="flash3", pulses=10, loads=("low",)
        )
        assert found.loads["low"].flash_error.spread_s == 0
        for wrong in (
            {"source": "valve9"},
            {"beam": "valve1"},
            {"source": "flash1"},
            {"flash": "valve2"},
        ):
            with pytest.raises(UserError):
                measure(board, pulses=1, **wrong)  # type: ignore[arg-type]


def test_no_wire_is_named_with_where_it_goes() -> None:
    with connect(JumperRig(VALVE1, 10)) as board, pytest.raises(MeasureError, match="beam1"):
        measure(board, pulses=5)


def test_figures_are_those_of_the_errors() -> None:
    one = Distribution(tuple(float(n) for n in range(1, 201)))
    # Nearest rank: the 198th and the 100th of 200.
    assert (one.quantile(0.99), one.quantile(0.5), one.quantile(1.0), one.quantile(0.0)) == (
        198,
        100,
        200,
        1,
    )
    assert one.spread_s == 199
    assert one.to_dict()["median_s"] == 100.5
    assert choose_unit(3e-8) == (1e9, "ns")
    assert choose_unit(2.5e-6) == (1e6, "µs")
    assert choose_unit(9e-3) == (1e3, "ms")


def test_saved_and_drawn(tmp_path: Path) -> None:
    with connect(JumperRig(VALVE1, BEAM1, delay_ticks=1)) as board:
        found = measure(board, pulses=12, interpreter={"version": "1.28.0"})
    path, picture = tmp_path / "timing.json", tmp_path / "timing.png"
    found.save(path)
    saved = json.loads(path.read_text())
    assert saved["board"]["firmware"] == board.info.firmware
    assert saved["board"]["timing"] == "simulated"
    assert saved["interpreter"]["version"] == "1.28.0"
    assert saved["loads"]["high"]["stamp_error"]["max_s"] == pytest.approx(8e-9)
    assert len(saved["loads"]["low"]["flash_error"]["errors_s"]) == 12
    draw_measurement(found, picture)
    assert picture.read_bytes().startswith(b"\x89PNG") and picture.stat().st_size > 20_000
    with pytest.raises(UserError, match=r"\.png"):
        draw_measurement(found, tmp_path / "timing.nonsense")
    with pytest.raises(FileWriteError):
        found.save(tmp_path)


def draw_to_see(found: Any, path: Path, monkeypatch: pytest.MonkeyPatch) -> list[Any]:
    """The axes of the picture."""
    axes: list[Any] = []
    save = Figure.savefig

    def spy(self: Figure, *arguments: Any, **options: Any) -> None:
        axes.extend(self.axes)
        save(self, *arguments, **options)

    monkeypatch.setattr(Figure, "savefig", spy)
    draw_measurement(found, path)
    return axes


@pytest.mark.full
def test_a_simulated_board_without_errors_draws_no_histogram(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with connect(JumperRig(VALVE1, BEAM1)) as board:
        exact = measure(board, pulses=8, simulated=True)
    with connect(JumperRig(VALVE1, BEAM1, delay_ticks=3)) as board:
        late = measure(board, pulses=8, simulated=True)
    for axes in draw_to_see(exact, tmp_path / "exact.png", monkeypatch):
        assert not axes.collections and any("imulated" in text.get_text() for text in axes.texts)
    for axes in draw_to_see(late, tmp_path / "late.png", monkeypatch):
        assert axes.collections


def test_bins_are_whole_stamps_with_errors_in_their_middle() -> None:
    # 8 ns stamps: errors of 0, 8 and 24 ns each have a bin of their own, with room on both sides.
    stamp = 8e-9
    edges = list_bins({"low": Distribution((0.0, 8e-9, 24e-9))}, stamp)
    assert edges == pytest.approx([stamp * (n - 0.5) for n in range(-2, 7)])
    # A spread of 1,000 stamps is drawn in some 60 bins, each a whole number of stamps wide.
    edges = list_bins({"low": Distribution((0.0, 1000 * stamp))}, stamp)
    assert 50 <= len(edges) <= 62
    assert (edges[1] - edges[0]) / stamp == pytest.approx(round((edges[1] - edges[0]) / stamp))


# -- the command line ------------------------------------------------------------------------------
def test_measure_at_the_command_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "t.json"
    assert main(["board", "measure", "--port", "sim", "--pulses", "8", "--out", str(out)]) == 0
    said = capsys.readouterr().out
    assert "Simulated" in said
    assert [line.split()[:6] for line in said.splitlines() if line.startswith("stamp")] == [
        ["stamp", "low", "8", "0.0", "0.0", "0.0"],
        ["stamp", "high", "8", "0.0", "0.0", "0.0"],
    ]
    assert json.loads(out.read_text())["simulated"] is True
    assert out.with_suffix(".png").exists()
    assert main(["board", "measure", "--port", "sim", "--source", "valve7"]) == 2
    assert "valve7" in capsys.readouterr().err


def test_info_at_the_command_line(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["board", "info", "--port", "sim"]) == 0
    said = dict(
        line.split(None, 1) for line in capsys.readouterr().out.splitlines() if line.strip()
    )
    assert said["clock"] == "125 MHz, edges timed to 8 ns"
    assert said["timing"].startswith("simulated: ")
    assert "valve1" in said["outputs"] and "beam2" in said["inputs"]
    assert main(["board", "info", "--port", "sim", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["board"]["clock_hz"] == 125_000_000
    assert found["status"]["state"] == "idle" and found["status"]["frames_bad"] == 0
    assert found["link"]["frames_good"] >= 2


SEQUENCE = """\
name = "one drop"
tail = "50 ms"
[[row]]
output = "valve1"
delay = "1 ms"
width = "13 ms"
"""


def test_slots_at_the_command_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "one.toml"
    file.write_text(SEQUENCE)
    assert main(["board", "slots", "list", "--port", "sim"]) == 0
    assert re.findall(r"\d+", capsys.readouterr().out) == ["8"]
    assert main(["board", "slots", "save", "3", "--sequence", str(file), "--port", "sim"]) == 0
    assert "slot 3" in capsys.readouterr().out
    # Each command has a simulated board of its own: a slot saved is gone with it.
    assert main(["board", "slots", "load", "3", "--port", "sim"]) == 2
    assert "slots save 3" in capsys.readouterr().err, "the cure"
    assert main(["board", "slots", "save", "3", "--port", "sim"]) == 1
    assert "no-table" in capsys.readouterr().err
    assert main(["board", "slots", "choose", "3", "--port", "sim"]) == 2, "it is empty"
    assert main(["board", "install", "--port", "sim"]) == 2, "nothing to install there"
    assert main(["board", "slots", "choose", "0", "--port", "sim"]) == 0
    assert main(["board", "slots", "erase", "3", "--port", "sim"]) == 0


def test_install_refuses_what_it_cannot_use_before_it_touches_a_port(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["board", "install", "--port", "/dev/does-not-exist", "--board", "toaster"]) == 2
    assert re.search("'toaster'.*pico", capsys.readouterr().err)
    assert main(["board", "install", "--port", "/dev/does-not-exist", "--board", "pico"]) == 2
    assert "/dev/does-not-exist" in capsys.readouterr().err
