"""A simulated port is a port like any other: named in the registry, and loaded only when it is opened."""

from __future__ import annotations

import subprocess
import sys
import time

import pytest

from beamfall.board import Board
from beamfall.errors import PortNotFound, PortSyntaxError
from beamfall.link.traits import REAL
from beamfall.page.paced import PacedTransport
from beamfall.ports import KINDS, brings_rig, open_transport


def test_a_real_port_loads_nothing_of_the_simulation() -> None:
    code = (
        "import sys\n"
        "from beamfall.board import Board\n"
        "from beamfall.errors import PortNotFound\n"
        "try: Board.connect('/dev/there-is-no-such-port')\n"
        "except PortNotFound: print(*[name for name in sys.modules if name.startswith('beamfall.sim')])\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert (done.returncode, done.stdout.strip()) == (0, ""), done.stderr


@pytest.mark.parametrize("name", ["sim", "sim?seed=7", "sim:micropython?fault=flash-off"])
def test_simulated_ports_bring_their_rig(name: str) -> None:
    assert brings_rig(name)


@pytest.mark.parametrize("name", ["/dev/ttyACM0", "COM3", "socket://localhost:4000", None])
def test_real_ports_do_not_bring_a_rig(name: str | None) -> None:
    assert not brings_rig(name)


def test_a_simulation_that_does_not_exist_is_not_taken_for_a_serial_port() -> None:
    with pytest.raises(PortSyntaxError):
        open_transport("sim:elsewhere")
    with pytest.raises(PortNotFound):
        open_transport("simulated")


def test_a_new_kind_of_port_takes_one_entry(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(KINDS, "other", "beamfall.sim.ports")
    assert brings_rig("other?seed=1")


def test_a_virtual_clock_advances_only_while_the_host_waits() -> None:
    with Board.connect("sim", seed=3) as board:
        traits = board.traits
        assert traits.is_virtual_time and traits.seed == 3
        before_us = traits.time_of_day_us()
        assert traits.time_of_day_us() == before_us
        board.sleep(7.0)
        assert traits.time_of_day_us() - before_us == pytest.approx(7e6, rel=1e-6)


def test_a_virtual_clock_can_be_put_forward_and_never_back() -> None:
    later_us = time.time_ns() // 1000 + 3_600_000_000
    with Board.connect("sim", seed=3) as board:
        assert board.traits.time_of_day_us(not_before_us=later_us) == later_us
        assert board.traits.time_of_day_us(not_before_us=0) == later_us
    assert REAL.time_of_day_us(not_before_us=later_us) < later_us


def test_a_wrapped_port_keeps_its_traits() -> None:
    with Board.connect("sim?fault=usb-dropping-out", seed=3) as board:
        assert board.traits.studio is not None and board.traits.brings_rig
        assert brings_rig(board.name)
        paced = PacedTransport(board.transport, lambda: None, pace=1e6)
        assert paced.traits is board.traits


def test_a_port_with_a_wire_for_a_rig_has_no_camera() -> None:
    from beamfall.board_tools.measure import open_for_self_test

    with open_for_self_test("sim", "valve1", "beam1") as board:
        assert board.traits.is_virtual_time and board.traits.studio is None
        assert board.traits.take_shot(()) is None
