"""Putting the firmware on a board: made for that board, verified there by digest, old files removed, and started.

Files of the user's own are never removed nor overwritten, see `own_files`. The board is never left half new and
running: main.py is taken away first and comes back last. Sequences in the board's slots stay.
"""

from __future__ import annotations

import contextlib
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from beamfall.board import Board
from beamfall.board_tools.bundle import FOLDERS, LIST, MAIN, SELECTED, Bundle, make_bundle
from beamfall.board_tools.maintenance import ask_for_maintenance, find_firmware_on
from beamfall.board_tools.own_files import move_aside, plan_clearing, write_list
from beamfall.board_tools.prompt import BoardFile, Interpreter, Prompt, load_mpremote
from beamfall.errors import (
    AtPrompt,
    BeamfallError,
    InstallError,
    LinkError,
    PortNotFound,
    UserError,
)
from beamfall.link import LinkTiming
from beamfall.link.line_levels import LineLevels, recall_levels
from beamfall.link.port_list import is_same_device, list_ports
from beamfall.link.serial_port import BAUDRATE, SerialTransport
from beamfall.setup.board_profiles import (
    Profile,
    check_profile,
    find_profile,
    list_profiles,
    read_profile,
)

_SETTLE_S = 0.3
_STARTS = 3
PATIENCE_S = 20.0  # how long a board may take from its restart to its first answer
_MARGIN_BYTES = 16 * 1024  # of the file system, for slots
_BLOCK = 4096

Tell = Callable[[str], None]


@dataclass(frozen=True)
class Report:
    """What an installation did."""

    port: str
    profile: str
    board: str
    interpreter: Interpreter
    compiled: bool
    why: str
    written: list[str]
    unchanged: list[str]
    removed: list[str]
    moved: dict[str, str]  # the user's own files that were in the way -> their new names
    kept: list[str]  # the user's own files in the firmware's folders
    bytes_written: int
    verified: int
    unique_id: str | None  # None: not started
    firmware: str | None
    asked_by_wire: bool
    levels: LineLevels  # of the port's control lines, as the profile wants them


def install(
    port: str,
    board: str | None = None,
    *,
    source_only: bool = False,
    start: bool = True,
    patience_s: float = PATIENCE_S,
    tell: Tell = lambda text: None,
) -> Report:
    """Put the firmware on the board at a port; return what was done.

    `board` names a profile of firmware/boards or a file of the user's own; None: by what the interpreter says it runs
    on. `patience_s` is how long it may take from its restart to its first answer; an emulated board takes longer than
    life. `tell` is called with each step in words. Raises InstallError, BoardProfileError, MissingExtra, Refused and
    the errors of ports.
    """
    load_mpremote()  # say what is missing before anything is touched
    profile = _read_and_check(board) if board is not None else None
    number = find_serial_number(port)
    asked = _ask_by_wire(port, profile, tell)
    prompt = open_prompt(port, profile, number)
    try:
        interpreter = prompt.enter()
        _judge(interpreter)
        profile = profile or choose_profile(interpreter)
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
        raise UserError(f"the profile {profile.module} is for no board; name another with --board")
    return profile


# -- the way in ------------------------------------------------------------------------------------
def read_levels(profile: Profile) -> LineLevels:
    """DTR and RTS as the profile wants them."""
    levels = {"on": True, "off": False, None: None}
    return LineLevels(*(levels[profile.constants.get(name, "on")] for name in ("DTR", "RTS")))


def _choose_levels(port: str, profile: Profile | None) -> LineLevels:
    return recall_levels(port) if profile is None else read_levels(profile)


def _ask_by_wire(port: str, profile: Profile | None, tell: Tell) -> bool:
    """Where our firmware runs, have it restart for maintenance; True when it was there."""
    levels = _choose_levels(port, profile)
    transport = SerialTransport(port, dtr=levels.dtr, rts=levels.rts)
    try:
        digest = find_firmware_on(transport)
        if digest is None:
            return False
        tell("Beamfall runs there: asking it to restart for maintenance")
        ask_for_maintenance(transport, digest)
    except LinkError:
        # The port may vanish as the board restarts; if it does not come back, opening it says so.
        return True
    finally:
        transport.close()
    return True


def find_only_port() -> str:
    """Return the one port that has the USB ids of a board, whatever runs on it; nothing is sent to it.

    Raises PortNotFound for none and for several.
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
    """Open a port for the interpreter's prompt, waiting for one that is just restarting.

    `patience_s` is also how long the board may take for each thing it is asked to do.
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
    return line


def _judge(interpreter: Interpreter) -> None:
    if interpreter.name != "micropython":
        raise InstallError(
            f"the board runs {interpreter.name}; Beamfall needs MicroPython: put that on it first (micropython.org)"
        )
    if interpreter.version < (1, 20):
        raise InstallError(
            f"the board runs MicroPython {interpreter.release}; Beamfall needs 1.20 or later: update it first"
        )


def choose_profile(interpreter: Interpreter) -> Profile:
    """Return the profile whose MACHINE is what the interpreter says; raises UserError where none or several fit."""
    fitting = []
    for path in list_profiles():
        profile = read_profile(path)
        if profile.constants.get("MACHINE") == interpreter.machine:
            fitting.append(profile)
    if (
        len(fitting) > 1
    ):  # a second profile of a board is for comparison: the one with the better timing is meant
        fitting = [profile for profile in fitting if profile.constants["PORT"] == "rp2"] or fitting
    if len(fitting) != 1:
        known = ", ".join(path.stem for path in list_profiles() if path.stem != "simulated")
        what = "no profile is for" if not fitting else "several profiles are for"
        raise UserError(
            f"{what} '{interpreter.machine}'; name one with --board ({known}, or a file of your own)"
        )
    check_profile(fitting[0])
    return fitting[0]


# -- putting ---------------------------------------------------------------------------------------
def put_bundle(
    prompt: Prompt, interpreter: Interpreter, bundle: Bundle, tell: Tell
) -> dict[str, Any]:
    home = interpreter.home
    before = prompt.survey(home, FOLDERS, [MAIN, SELECTED, LIST])
    plan = plan_clearing(prompt, home, bundle, before)
    written = sorted(
        path
        for path in bundle.files
        if path not in before or before[path].sha256 != bundle.digest(path) or path == MAIN
    )
    replaced = {*plan.remove, *bundle.files} - set(plan.move)
    _check_room(interpreter, bundle, [before[path] for path in replaced & before.keys()], written)
    moved = {}
    for path in plan.move:
        moved[path] = move_aside(prompt, home, path)
        tell(f"your own {path} is now {moved[path]}")
    # From here on nothing is there that the list does not name, also if the cable is pulled.
    write_list(prompt, home, bundle, plan.listed)
    main = [MAIN] if MAIN in before and MAIN not in moved else []
    prompt.remove([f"{home}/{path}" for path in main + plan.remove])
    prompt.make_folders(home, bundle.folders)
    for number, path in enumerate([*(p for p in written if p != MAIN), MAIN], 1):
        if path == MAIN:
            # Everything else is there and right before the board can start with it.
            _verify(prompt, home, bundle, [p for p in bundle.files if p != MAIN], plan.remove)
            write_list(prompt, home, bundle)
        tell(f"{number} of {len(written)}: {path}, {len(bundle.files[path])} bytes")
        prompt.write_file(f"{home}/{path}", bundle.files[path])
    _verify(prompt, home, bundle, list(bundle.files), plan.remove)
    tell(f"all {len(bundle.files)} files read back on the board: their SHA-256 digests are right")
    return {
        "written": written,
        "unchanged": sorted(set(bundle.files) - set(written)),
        "removed": sorted(path for path in plan.remove if not before[path].is_folder),
        "moved": moved,
        "kept": sorted(plan.keep),
        "bytes_written": sum(len(bundle.files[path]) for path in written),
        "verified": len(bundle.files),
    }


def _check_room(
    interpreter: Interpreter, bundle: Bundle, replaced: list[BoardFile], written: list[str]
) -> None:
    if interpreter.free_bytes < 0:
        return

    def blocks(size: int) -> int:
        return -(-max(size, 1) // _BLOCK) * _BLOCK

    need = sum(blocks(len(bundle.files[path])) for path in written) + _MARGIN_BYTES
    gained = sum(blocks(file.size) for file in replaced if not file.is_folder)
    if need > interpreter.free_bytes + gained:
        raise InstallError(
            f"the board's file system has {interpreter.free_bytes // 1024} KiB free, {need // 1024} KiB are needed; "
            "remove files of your own from it"
        )


def _verify(
    prompt: Prompt, home: str, bundle: Bundle, paths: list[str], removed: list[str]
) -> None:
    """Have the board read its files back and compare their digests; what was removed must be gone."""
    alone = [path for path in paths if path.split("/")[0] not in FOLDERS]
    found = prompt.survey(home, FOLDERS, alone)
    wrong = [
        path for path in paths if path not in found or found[path].sha256 != bundle.digest(path)
    ]
    if wrong:
        raise InstallError(
            f"{len(wrong)} of {len(paths)} files on the board are not what was sent, first {wrong[0]}; the board will "
            "not start with them; run it again, and erase the board's flash if it comes back"
        )
    strange = [path for path in removed if path in found and not found[path].is_folder]
    if strange:
        raise InstallError(
            f"old files are still on the board, first {strange[0]}: remove it and try again"
        )


# -- and then --------------------------------------------------------------------------------------
def _start(
    prompt: Prompt, port: str, profile: Profile, number: str | None, tell: Tell, patience_s: float
) -> Any:
    """Restart the board and meet it.

    One that stays at its prompt is restarted again: a byte at a bad moment stops a start.
    """
    for left in reversed(range(_STARTS)):
        try:
            prompt.restart()
        except BaseException:
            prompt.leave()
            raise
        prompt.close()
        try:
            return _meet(port, tell, patience_s)
        except AtPrompt as error:
            if not left:
                raise InstallError(
                    f"the files are on the board and right, but it stays at its prompt ({error})"
                ) from error
            tell("it stayed at its prompt: restarting it once more")
        prompt = open_prompt(port, profile, number)
        try:
            prompt.enter()
        except BaseException:
            prompt.leave()
            raise
    raise AssertionError("unreachable")


def _meet(port: str, tell: Tell, patience_s: float = PATIENCE_S) -> Any:
    """Wait for the board to start and shake hands with it. Raises AtPrompt where its interpreter answers instead."""

    # Five tries in about half the patience, whatever that is.
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
            if prompts > 1:  # once may be what was still on its way
                raise
            continue
        except BeamfallError as error:
            last = error
            continue
        tell(f"it answers: {info.name}, firmware {info.firmware}, timing {info.timing.label}")
        return info
    raise InstallError(
        f"the files are on the board and right, but it does not answer after its restart ({last}); "
        "unplug it and plug it in again, then try `beamfall board info`"
    )


def ask_interpreter(port: str, tell: Tell = lambda text: None) -> Interpreter:
    """Restart a board for maintenance, ask what interpreter it has, and start it again."""
    _ask_by_wire(port, None, tell)
    prompt = open_prompt(port)
    try:
        interpreter = prompt.enter()
        prompt.restart()
    finally:
        with contextlib.suppress(Exception):
            prompt.close()
    _meet(port, tell)
    return interpreter
