"""Words for what answers in the place of a board."""

from __future__ import annotations

_SHOWN = 60  # bytes of a stranger's talk that a message quotes


def is_prompt(seen: bytes) -> bool:
    """Whether bytes are those of a MicroPython interpreter's prompt, friendly or raw."""
    return any(word in seen for word in (b">>>", b"MicroPython", b"raw REPL"))


def explain_stranger(port: str, seen: bytes, echoed: bool, seconds: float) -> str:
    """Return what is probably wrong when no welcome came from `port` within `seconds`.

    `seen` are the first bytes that came, `echoed` says whether the host's own frames came back.
    """
    if echoed:
        return (
            f"{port} sends back what is sent to it: a loop-back or a device that echoes, "
            "not this controller; check which port the board has"
        )
    if not seen:
        return (
            f"nothing answers on {port} within {seconds:.3g} s; check that it is the board's port, "
            "that the board has power, and that its firmware is installed: `beamfall board install`"
        )
    if is_prompt(seen):
        return (
            f"{port} is a MicroPython board, but this firmware is not running on it; "
            "plug it in anew, and if that does not help install it: `beamfall board install`"
        )
    quoted = repr(seen[:_SHOWN])[1:]
    return (
        f"what answers on {port} is not this controller; it sent {quoted}; "
        "check which port the board has, and on a UART the speed"
    )


def explain_version(board: int, library: int) -> str:
    """Return the message for two different protocol versions."""
    cure = (
        "fetch the newest copy of this library and install it again (`pip install .` in its folder), "
        "or give the board this library's firmware: `beamfall board install`"
        if board > library
        else "update the board: `beamfall board install`"
    )
    return f"the board speaks protocol version {board}, this library version {library}; {cure}"
