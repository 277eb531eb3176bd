"""Messages for when something other than a board answers."""

from __future__ import annotations

from beamfall.errors import ProtocolMismatch

_SHOWN = 60  # bytes from a strange device that a message quotes


def is_prompt(seen: bytes) -> bool:
    """Whether bytes are those of a MicroPython interpreter's prompt, friendly or raw."""
    return any(word in seen for word in (b">>>", b"MicroPython", b"raw REPL"))


def explain_stranger(port: str, seen: bytes, echoed: bool, seconds: float) -> str:
    """Return the probable reason why no welcome came from `port` within `seconds`.

    `seen` holds the first bytes that came; `echoed` says whether the host's own frames came back.
    """
    if echoed:
        return (
            f"{port} echoes everything: it is a loop-back or another device, "
            "not this controller; check which port the board has"
        )
    if not seen:
        return (
            f"nothing answered on {port} within {seconds:.2g} s; check that it is the board's port, "
            "that the board has power, and that its firmware is installed: `beamfall board install`"
        )
    if is_prompt(seen):
        return (
            f"{port} is a MicroPython board, but this firmware is not running on it; "
            "unplug it and plug it in again; if that does not help, run `beamfall board install`"
        )
    quoted = repr(seen[:_SHOWN])[1:]
    return (
        f"{port} has a device that is not this controller; it sent {quoted}; "
        "check which port the board has, and the speed of a UART"
    )


def make_mismatch(board: int, library: int) -> ProtocolMismatch:
    """Return the error for two different protocol versions."""
    cure = (
        "get the newest copy of this library and install it (`pip install .` in its folder), "
        "or give the board this library's firmware: `beamfall board install`"
        if board > library
        else "update the board: `beamfall board install`"
    )
    text = f"the board uses protocol version {board}, this library uses version {library}; {cure}"
    return ProtocolMismatch(text, board=board, library=library)
