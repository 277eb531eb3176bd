"""The command line. `main` runs it: 0 done, 1 a failure, 2 a mistake of the user's, 130 Ctrl-C.

What stops a program from outside is treated like Ctrl-C, with outputs off and the log true; the status is then 128 and
the signal's number, as shells have it: 143 for SIGTERM, 129 for SIGHUP (the terminal's window was closed). On Windows
SIGBREAK (Ctrl-Break, a closed console) takes its place: 149.

Each command is a file beside this one and is thin: it reads options, calls the library and prints.
What a command needs is imported inside it, so that `beamfall --help` starts at once.
"""

from __future__ import annotations

import contextlib
import errno
import os
import re
import sys
import traceback
from collections.abc import Sequence

from beamfall.errors import BeamfallError
from beamfall.files import say_cure
from beamfall.interrupts import StopSignals
from beamfall.text import show_text

# What writing to a full or broken stdout gives.
_OUTPUT_LOST = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO, errno.EBADF)
_INTERRUPTED = 130  # 128 + SIGINT, as shells have it
# Options of the program, not of a command, with what follows them.
_BEFORE_COMMAND = {"--trace": "--trace t.pcapng", "--verbose": "--verbose"}
_DIGITS_MOST = 18  # digits of a number that certainly fits into 64 bits, with its sign


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit status; the entry point of `beamfall`.

    No error shows a traceback, unless BEAMFALL_DEBUG is set.
    """
    with StopSignals() as stop:
        try:
            status = _run(arguments, stop)
        except Exception:
            # While a module is loaded Python may wrap the interrupt in another error; and the terminal may be gone.
            if not stop.signal:
                raise
        except KeyboardInterrupt:
            if not stop.signal:
                raise
        if not stop.signal:
            return status
        _drop_lost_output()
        return stop.status


def _run(arguments: Sequence[str] | None, stop: StopSignals) -> int:
    from beamfall.cli.app import app

    _replace_closed_streams()
    for stream in (sys.stdout, sys.stderr):
        # A console that cannot write µ shows a question mark instead of ending the program.
        with contextlib.suppress(AttributeError, OSError):
            stream.reconfigure(errors="replace")  # type: ignore[union-attr]
    try:
        status = app(args=arguments, prog_name="beamfall", standalone_mode=False)
        sys.stdout.flush()
        if status == _INTERRUPTED:  # newer versions of Typer turn Ctrl-C into a status
            raise stop.asked
        return status if isinstance(status, int) else 0
    except KeyboardInterrupt as error:
        print("\n".join(["beamfall: interrupted", *_notes(error)]), file=sys.stderr)
        return _INTERRUPTED
    except BrokenPipeError:
        # The reader of a pipe has gone (`| head`); keep Python from flushing into it at the end.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 1
    except BeamfallError as error:
        return _fail(error, str(error), error.exit_status)
    except OSError as error:
        if error.filename is not None or error.errno not in _OUTPUT_LOST:
            return _fail_unexpected(error, arguments)
        _drop_lost_output()
        return _fail(error, f"the output cannot be written; {say_cure(error)}", 1)
    except Exception as error:
        # Typer's own errors (a wrong option, a missing argument) know how to show themselves.
        show = getattr(error, "show", None)
        if callable(show):
            show()
            misplaced = _BEFORE_COMMAND.get(getattr(error, "option_name", ""))
            if misplaced:
                print(
                    f"Put it before the command: beamfall {misplaced} shoot",
                    file=sys.stderr,
                )
            return int(getattr(error, "exit_code", 2))
        # Click has its own exception for Ctrl-C, and Python wraps one that comes while a class is made.
        if stop.signal or type(error).__name__ == "Abort":
            print("\n".join(["beamfall: interrupted", *_notes(stop.asked)]), file=sys.stderr)
            return _INTERRUPTED
        return _fail_unexpected(error, arguments)


def _drop_lost_output() -> None:
    """Discard output that is still waiting if the terminal or the pipe is gone, instead of raising an error."""
    for stream, number in ((sys.stdout, 1), (sys.stderr, 2)):
        try:
            stream.flush()
        except (OSError, ValueError):
            with contextlib.suppress(OSError):
                os.dup2(os.open(os.devnull, os.O_WRONLY), number)


def _replace_closed_streams() -> None:
    """Discard what is printed to a stream that was closed before the start, as by `>&-`."""
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))  # noqa: SIM115


def _fail_unexpected(error: Exception, arguments: Sequence[str] | None) -> int:
    unfit = _name_unfit(error, sys.argv[1:] if arguments is None else arguments)
    if unfit:
        return _fail(error, unfit, 2)
    from beamfall.fault_report import describe_for_user

    return _fail(error, describe_for_user(error, arguments), 1)


def _name_unfit(error: Exception, arguments: Sequence[str]) -> str:
    """What was given that no file or log can hold, in words; empty if the error comes from something else."""
    if isinstance(error, OverflowError):
        for argument in arguments:
            number = argument.rpartition("=")[2]
            if re.fullmatch(r"[+-]?[0-9]+", number) and len(number.lstrip("+-0")) > _DIGITS_MOST:
                return (
                    f"{number}: this number has {len(number.lstrip('+-0'))} digits and is too large"
                )
    elif isinstance(error, UnicodeError):
        for argument in arguments:
            try:
                argument.encode()
            except UnicodeEncodeError:
                return f"{argument!a}: this is not valid UTF-8 text; type it again"
    return ""


def _fail(error: BaseException, text: str, status: int) -> int:
    if os.environ.get("BEAMFALL_DEBUG"):
        traceback.print_exception(error)
    said = "\n".join([f"beamfall: {text}", *_notes(error)])
    print(show_text(said, keep_lines=True), file=sys.stderr)
    return status


def _notes(error: BaseException) -> list[str]:
    """The notes added to an error, such as that outputs may still be on."""
    return [f"beamfall: {note}" for note in getattr(error, "__notes__", ())]
