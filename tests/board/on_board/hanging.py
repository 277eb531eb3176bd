"""The firmware, whose main loop hangs once, in the middle of the first drip: an output is on and nobody looks.

It leaves a file behind, so that the start after that is an ordinary one. The watchdog is set to 2 s: the profile's 8 s
take an emulator several minutes. And of ten seconds a valve may be open for 0.3, so that one opening is most of it.
"""

import os
import time

import main_plain

from beamfall_board import wire_definition as wire
from beamfall_board.controller import Controller

_HUNG = "/hung.once"
_profile = getattr(__import__("boards." + main_plain.board_name()), main_plain.board_name())
_profile.WATCHDOG_MS = 2000
_profile.DUTY_PERCENT = 3


def _hang_once(step=Controller.step):
    def hang(self):
        step(self)
        if self.activity == wire.ACTIVITY_DRIP:
            with open(_HUNG, "wb") as file:
                file.write(b"1")
            while True:
                time.sleep_ms(100)  # as good as an empty loop, and quicker to emulate

    Controller.step = hang


try:
    os.stat(_HUNG)
except OSError:
    _hang_once()
main_plain.main()
