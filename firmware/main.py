"""Starts the board: every output off first, then everything else.

`selected_board.py` names the board (`beamfall board install` writes it: NAME = "pico"). Without it, the machine name
that the interpreter reports decides. A board's profile is boards/<name>.py; its PORT names the package in ports/.
"""

import sys

# Only these are recognised: another board with the same chip may have something else at our pins.
PROFILES = {
    "Raspberry Pi Pico": "pico",
    "Raspberry Pi Pico W": "pico_w",
    "Raspberry Pi Pico2": "pico2",
    "Raspberry Pi Pico 2 W": "pico2_w",
    "Generic ESP32 module": "esp32_generic",
    "PYBv1.1": "stm32_generic",
}

PLATFORMS = ("rp2", "esp32", "pyboard")


def board_name():
    try:
        from selected_board import NAME

        return NAME
    except ImportError:
        pass
    if sys.platform not in PLATFORMS:
        return "simulated"
    import os

    machine = os.uname().machine
    name = PROFILES.get(machine.split(" with ")[0])
    if name is None:
        raise ValueError("no profile is for '%s': install with --board" % machine)
    return name


def take_ctrl_c():
    """Stop byte 0x03 from acting as Ctrl-C: on this line it is data, and a host may send it during the imports."""
    try:
        import micropython

        micropython.kbd_intr(-1)  # the interpreter's prompt, for maintenance, restores it
    except (ImportError, AttributeError):
        pass


def search_only_here():
    """Do not search /lib: this firmware has nothing there, and it costs 1 ms for each import of `machine` or `time`."""
    for path in list(sys.path):
        if path.endswith("/lib"):
            sys.path.remove(path)


def main():
    take_ctrl_c()
    if sys.platform in PLATFORMS:
        search_only_here()
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
