"""Runs the firmware with its rig at the other end of a socket.

micropython main.py 127.0.0.1 PORT [FOLDER FOR SLOTS]
"""

import sys

from beamfall_board.board import Board
from ports.simulated.channel import ProcessChannel
from ports.simulated.port import SimulatedPort


def run(profile):
    if len(sys.argv) < 3:
        raise SystemExit(
            "usage: main.py ADDRESS PORT (started by the host library for the port sim:micropython)"
        )
    channel = ProcessChannel(sys.argv[1], int(sys.argv[2]))
    port = SimulatedPort(profile, channel)
    port.outputs_off()
    Board(port, profile, folder=sys.argv[3] if len(sys.argv) > 3 else None).run()
