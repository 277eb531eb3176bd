"""Starts the board: every output off first, then everything else.

`selected_board.py` names the board (written by `beamfall board install`: NAME = "pico"); without it the machine that
the interpreter reports decides. A board's profile is boards/<name>.py; its PORT names the package in ports/.
"""

import sys


def board_name():
    try:
        from selected_board import NAME

        return NAME
    except ImportError:
        pass
    if sys.platform == "rp2":
        import os

        return "pico2" if "RP2350" in os.uname().machine else "pico"
    if sys.platform == "esp32":
        return "esp32_generic"
    if sys.platform == "pyboard":
        return "stm32_generic"
    return "simulated"


def take_ctrl_c():
    """Byte 0x03 is data on this line. A host may speak before all is imported, and would end the start with it."""
    try:
        import micropython

        micropython.kbd_intr(-1)  # the interpreter's prompt, for maintenance, restores it
    except (ImportError, AttributeError):
        pass


def main():
    take_ctrl_c()
    name = board_name()
    profile = getattr(__import__("boards." + name), name)
    if profile.PORT != "simulated":
        from ports.off import outputs_off

        outputs_off(profile)  # before anything that takes time or can fail
    ports = __import__("ports." + profile.PORT + ".start")
    start = getattr(ports, profile.PORT).start
    start.run(profile)


if __name__ == "__main__":
    main()
