"""Installs the firmware on a board: builds it for that board, verifies it by digest, removes old files, starts it.

The user's own files are never removed or overwritten, see `writing`. A half-installed board never
runs: main.py is removed first and written last. Sequences in the board's slots stay.
"""

from __future__ import annotations

import contextlib
import time
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from beamfall.board import Board
from beamfall.board_tools.bundle import make_bundle
from beamfall.board_tools.errors import InstallError
from beamfall.board_tools.maintenance import ask_for_maintenance
from beamfall.board_tools.prompt import Interpreter, Prompt, load_mpremote, to_json
from beamfall.board_tools.writing import Tell, put_bundle
from beamfall.errors import AtPrompt, BeamfallError, LinkError, PortNotFound, UserError
from beamfall.link import LinkTiming
from beamfall.link.line_levels import (
    LineLevels,
    read_known,
    recall_levels,
    remember_levels,
    write_known,
)
from beamfall.link.port_list import is_same_device, list_ports
from beamfall.link.probing import listen_for_beacon
from beamfall.link.serial_port import BAUDRATE, SerialTransport
from beamfall.link.trace import trace_if_asked, trace_line_if_asked
from beamfall.setup.board_profiles import (
    Profile,
    check_profile,
    find_profile,
    list_profiles,
    read_profile,
)

_SETTLE_S = 0.3
_STARTS = 3
PATIENCE_S = 20.0  # longest time from a board's restart to its first answer
# Chip: sys.platform
_PLATFORMS = {"rp2040": "rp2", "rp2350": "rp2", "esp32": "esp32", "stm32": "pyboard"}
_RP2_CHIPS = ("rp2040", "rp2350")


@dataclass(frozen=True)
class Report:
    """The result of an installation."""

    port: str
    profile: str
    board: str
    interpreter: Interpreter
    compiled: bool
    why: str
    written: list[str]
    unchanged: list[str]
    removed: list[str]
    moved: dict[str, str]  # the user's own files that were in the way: old name -> new name
    kept: list[str]  # the user's own files in the firmware's folders
    bytes_written: int
    verified: int
    unique_id: str | None  # None: not started
    firmware: str | None
    asked_by_wire: bool
    levels: LineLevels  # levels of the port's control lines, from the profile


def install(
    port: str,
    board: str | None = None,
    *,
    source_only: bool = False,
    start: bool = True,
    patience_s: float = PATIENCE_S,
    tell: Tell = lambda text: None,
) -> Report:
    """Install the firmware on the board at a port; return what was done.

    `board` names a profile in firmware/boards or the user's own file; None chooses by the machine that the interpreter
    reports. `patience_s` is the longest time for each of the board's answers and for its restart; an emulated board is
    slower than a real one. `tell` is called with each step as text. Raises InstallError, BoardProfileError,
    MissingExtra, Refused and the errors of ports.
    """
    load_mpremote()  # report a missing library before changing anything
    profile = _read_and_check(board) if board is not None else None
    number = find_serial_number(port)
    asked = ask_by_wire(port, profile, tell)
    prompt = open_prompt(port, profile, number, patience_s)
    try:
        interpreter = prompt.enter()
        _judge(interpreter)
        profile = profile or choose_profile(interpreter)
        check_chip(profile, interpreter)
        tell(
            f"{interpreter.machine}, {interpreter.name} {interpreter.release}; profile {profile.module}"
        )
        bundle = make_bundle(profile, interpreter.mpy, source_only=source_only)
        tell(
            f"{len(bundle.files)} files, {bundle.size} bytes, {'compiled' if bundle.compiled else 'text'}: {bundle.why}"
        )
        done = put_bundle(prompt, interpreter, bundle, tell)
    except BaseException:
        prompt.leave()
        raise
    if start:
        welcome = _start(prompt, port, profile, number, tell, patience_s)
    else:
        prompt.leave()
        welcome = None
    return Report(
        port=port,
        profile=profile.module,
        board=profile.name,
        interpreter=interpreter,
        compiled=bundle.compiled,
        why=bundle.why,
        unique_id=welcome.unique_id.hex() if welcome is not None else None,
        firmware=welcome.firmware if welcome is not None else None,
        asked_by_wire=asked,
        levels=read_levels(profile),
        **done,
    )


def _read_and_check(board: str) -> Profile:
    profile = find_profile(board)
    check_profile(profile)
    if profile.constants["PORT"] == "simulated":
        raise UserError(
            f"the profile {profile.module} is not for a real board; name another with --board"
        )
    return profile


# -- getting in ------------------------------------------------------------------------------------
def read_levels(profile: Profile) -> LineLevels:
    """DTR and RTS from the profile."""
    levels = {"on": True, "off": False, None: None}
    return LineLevels(*(levels[profile.constants.get(name, "on")] for name in ("DTR", "RTS")))


def _choose_levels(port: str, profile: Profile | None) -> LineLevels:
    return recall_levels(port) if profile is None else read_levels(profile)


def ask_by_wire(port: str, profile: Profile | None, tell: Tell) -> bool:
    """If our firmware runs there, restart it for maintenance; return whether it did."""
    levels = _choose_levels(port, profile)
    transport = trace_if_asked(SerialTransport(port, dtr=levels.dtr, rts=levels.rts))
    try:
        digest = listen_for_beacon(transport)
        if digest is None:
            return False
        tell("Beamfall is running there: restarting it for maintenance")
        ask_for_maintenance(transport, digest)
    except LinkError:
        # The port may disappear while the board restarts; if it stays away, opening it fails.
        return True
    finally:
        transport.close()
    return True


def find_only_port() -> str:
    """Return the one port with the USB ids of a board, whatever runs on it; sends nothing to it.

    Raises PortNotFound if there is none or more than one.
    """
    ports = list_ports()
    candidates = [port for port in ports if port.is_candidate]
    if len(candidates) == 1:
        return candidates[0].device
    seen = "; ".join(str(port) for port in ports) or "none"
    what = "several boards are" if candidates else "no board is"
    raise PortNotFound(f"{what} connected (serial ports here: {seen}); name the port with --port")


def find_serial_number(port: str) -> str | None:
    """The serial number of the USB device behind a port: its name may change as the board restarts."""
    return next(
        (seen.serial_number for seen in list_ports() if is_same_device(seen.device, port)), None
    )


def open_prompt(
    port: str,
    profile: Profile | None = None,
    serial_number: str | None = None,
    patience_s: float = PATIENCE_S,
) -> Prompt:
    """Open a port to the interpreter's prompt; wait for one that is restarting.

    `patience_s` is also the longest time the board may take for each command.
    """
    number = serial_number or find_serial_number(port)
    deadline = time.monotonic() + patience_s
    time.sleep(_SETTLE_S)
    while True:
        here = [seen.device for seen in list_ports() if number and seen.serial_number == number]
        try:
            line = _open_line(here[0] if here else port, profile, patience_s)
            return Prompt(line, port, patience_s=patience_s)
        except OSError as error:
            if time.monotonic() >= deadline:
                raise InstallError(f"{port} cannot be opened: {error}; check the cable") from error
            time.sleep(_SETTLE_S)


def _open_line(port: str, profile: Profile | None, patience_s: float) -> Any:
    import serial

    line = serial.serial_for_url(port, do_not_open=True, baudrate=BAUDRATE, timeout=patience_s)
    levels = _choose_levels(port, profile)
    if levels.dtr is not None:
        line.dtr = levels.dtr
    if levels.rts is not None:
        line.rts = levels.rts
    line.open()
    return trace_line_if_asked(line, port)


def _judge(interpreter: Interpreter) -> None:
    if interpreter.name != "micropython":
        raise InstallError(
            f"the board runs {interpreter.name}; Beamfall needs MicroPython: install that first (micropython.org)"
        )
    if interpreter.version < (1, 20):
        raise InstallError(
            f"the board runs MicroPython {interpreter.release}; Beamfall needs 1.20 or later: update it first"
        )


def choose_profile(interpreter: Interpreter) -> Profile:
    """Return the profile whose MACHINE matches the interpreter's; raises UserError if none or several match."""
    fitting = []
    for path in list_profiles():
        profile = read_profile(path)
        if profile.constants.get("MACHINE") == interpreter.machine.removesuffix("-RISCV"):
            fitting.append(profile)
    # A second profile for the same board is for comparison: take the one with the better timing
    if len(fitting) > 1:
        fitting = [profile for profile in fitting if profile.constants["PORT"] == "rp2"] or fitting
    if len(fitting) != 1:
        known = ", ".join(path.stem for path in list_profiles() if path.stem != "simulated")
        what = "no profile is for" if not fitting else "several profiles are for"
        raise UserError(
            f"{what} '{interpreter.machine}'; name one with --board ({known}, or your own file)"
        )
    check_profile(fitting[0])
    return fitting[0]


def check_chip(profile: Profile, interpreter: Interpreter) -> None:
    """Raise UserError if the interpreter runs on another chip than the profile is for, as far as it says which."""
    chip = str(profile.constants.get("CHIP", "")).lower()
    machine = interpreter.machine.lower().removesuffix("-riscv")
    platform = _PLATFORMS.get(chip)
    other = platform is not None and interpreter.platform in ({*_PLATFORMS.values()} - {platform})
    if other or (platform == "rp2" and machine.endswith(_RP2_CHIPS) and not machine.endswith(chip)):
        raise UserError(
            f"the profile {profile.module} is for the chip {chip}, but this board is a '{interpreter.machine}'; "
            "remove --board or name a profile for this board"
        )


# -- starting --------------------------------------------------------------------------------------
def _start(
    prompt: Prompt, port: str, profile: Profile, number: str | None, tell: Tell, patience_s: float
) -> Any:
    """Restart the board and connect to it.

    If it stays at its prompt, restart it again: a byte at a bad moment stops a start.
    """
    for left in reversed(range(_STARTS)):
        try:
            prompt.restart()
        except BaseException:
            prompt.leave()
            raise
        prompt.close()
        try:
            return meet(port, tell, patience_s)
        except AtPrompt as error:
            if not left:
                raise InstallError(
                    f"the files on the board are correct, but it stays at its prompt ({error})"
                ) from error
            tell("it stayed at its prompt: restarting it once more")
        prompt = open_prompt(port, profile, number, patience_s)
        try:
            prompt.enter()
        except BaseException:
            prompt.leave()
            raise
    raise AssertionError("unreachable")


def meet(port: str, tell: Tell, patience_s: float = PATIENCE_S) -> Any:
    """Wait for the board to start and connect to it. Raises AtPrompt if its interpreter answers instead."""
    # Five tries in about half of patience_s.
    timing = LinkTiming(first_s=patience_s / 80, longest_s=patience_s / 10)
    deadline = time.monotonic() + patience_s
    last: BeamfallError | None = None
    prompts = 0
    while time.monotonic() < deadline:
        time.sleep(_SETTLE_S)
        try:
            with Board.connect(port, timing=timing) as board:
                info = board.info
        except AtPrompt:
            prompts += 1
            if prompts > 1:  # a single prompt may be left over from before
                raise
            continue
        except BeamfallError as error:
            last = error
            continue
        tell(f"it answers: {info.name}, firmware {info.firmware}, timing {info.timing.label}")
        return info
    raise InstallError(
        f"the files on the board are correct, but it does not answer after its restart ({last}); "
        "unplug it and plug it in again, then try `beamfall board info`"
    )


@contextlib.contextmanager
def at_prompt(port: str, tell: Tell) -> Iterator[tuple[Prompt, Interpreter]]:
    """A board at its prompt, and the interpreter that answers there; the board starts again at the end."""
    number = find_serial_number(port)
    ask_by_wire(port, None, tell)
    prompt = open_prompt(port, None, number)
    try:
        yield prompt, prompt.enter()
        prompt.restart()
    except BaseException:
        with contextlib.suppress(Exception):
            prompt.restart()
        raise
    finally:
        prompt.close()
    meet(port, tell)


def ask_interpreter(port: str, tell: Tell = lambda text: None) -> Interpreter:
    """Restart a board for maintenance, ask which interpreter it has, and start it again."""
    with at_prompt(port, tell) as (_, interpreter):
        return interpreter


# -- what the wire protocol does not report ---------------------------------------------------------
def remember(report: Report) -> None:
    """Store what an installation found out about board and port; an unwritable folder is not an error."""
    remember_levels(report.port, report.levels)
    if report.unique_id is not None:
        content = {
            "profile": report.profile,
            "firmware": report.firmware,
            "interpreter": to_json(report.interpreter),
        }
        write_known(f"{report.unique_id}.json", content)


def recall_interpreter(unique_id: bytes) -> dict[str, Any] | None:
    """Return what is remembered about a board's interpreter, or None."""
    found = read_known(f"{unique_id.hex()}.json").get("interpreter")
    return found if isinstance(found, dict) else None
