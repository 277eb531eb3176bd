"""The simulated board in its own process: what the host sees when that process ends."""

from __future__ import annotations

import os
import signal
import sys
import time

import pytest

from beamfall.board import Board
from beamfall.errors import LinkLost
from beamfall.interrupts import hold_interrupts
from beamfall.setup.rig import example_rig
from beamfall.sim.build import build_rig
from beamfall.sim.interpreter import MicroPythonTransport

pytestmark = pytest.mark.skipif(
    sys.platform == "win32", reason="needs pseudo-terminals, which Windows lacks"
)


@pytest.mark.parametrize("way", ["read", "write", "long write", "sleep"])
def test_an_interpreter_that_ends_is_a_lost_link(way: str) -> None:
    transport = MicroPythonTransport(build_rig(example_rig(), 1, None), seed=1)
    try:
        transport.read(0.1)
        os.kill(transport._process.pid, signal.SIGKILL)
        transport._process._process.wait()
        time.sleep(0.05)
        with pytest.raises(LinkLost):
            for _ in range(100):  # what the pseudo-terminal still takes is not known to be lost
                if way == "sleep":
                    transport.sleep(1.0)
                elif way == "read":
                    transport.read(0.1)
                else:
                    transport.write(bytes(100 if way == "write" else 9000))
        with pytest.raises(LinkLost):
            transport.read(0.1)
    finally:
        transport.close()


def test_a_board_whose_interpreter_ends_says_so_in_its_own_words() -> None:
    with pytest.raises(LinkLost), Board.connect("sim:micropython", rig=example_rig()) as board:
        os.kill(board.transport._process.pid, signal.SIGKILL)  # type: ignore[attr-defined]
        while True:
            board.status()


def test_ctrl_c_waits_for_the_end_of_a_step_and_a_second_one_does_not() -> None:
    reached = []
    with pytest.raises(KeyboardInterrupt):  # noqa: PT012 - what runs before it is the subject
        with hold_interrupts():
            os.kill(os.getpid(), signal.SIGINT)
            reached.append("the end of the step")
        reached.append("behind it")
    assert reached == ["the end of the step"]
    with pytest.raises(KeyboardInterrupt), hold_interrupts():  # noqa: PT012
        os.kill(os.getpid(), signal.SIGINT)
        reached.append("a step that hangs")
        os.kill(os.getpid(), signal.SIGINT)
        reached.append("never")
    assert reached[1:] == ["a step that hangs"]
    assert signal.getsignal(signal.SIGINT) is signal.default_int_handler


@pytest.fixture(autouse=True)
def _heed_ctrl_c():  # type: ignore[no-untyped-def]
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    signal.signal(signal.SIGINT, before)
