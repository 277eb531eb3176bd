"""The command line. `main` runs it: 0 done, 1 a failure, 2 a mistake of the user's, 130 Ctrl-C.

Each command is a file beside this one and is thin: it reads options, calls the library and prints.
What a command needs is imported inside it, so that `beamfall --help` starts at once.
"""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Sequence

_INTERRUPTED = 130  # 128 + SIGINT, as shells have it


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit status; the entry point of `beamfall`.

    No error shows a traceback, unless BEAMFALL_DEBUG is set.
    """
    from beamfall.cli.app import app
    from beamfall.errors import BeamfallError

    for stream in (sys.stdout, sys.stderr):
        # A console that cannot write µ shall show a question mark, not end the program.
        with contextlib.suppress(AttributeError, OSError):
            stream.reconfigure(errors="replace")  # type: ignore[union-attr]
    try:
        status = app(args=arguments, prog_name="beamfall", standalone_mode=False)
        sys.stdout.flush()
        if status == _INTERRUPTED:  # newer versions of Typer turn Ctrl-C into a status
            raise KeyboardInterrupt
        return status if isinstance(status, int) else 0
    except KeyboardInterrupt:
        print("beamfall: interrupted", file=sys.stderr)
        return _INTERRUPTED
    except BrokenPipeError:
        # The reader of a pipe has gone (`| head`); keep Python from flushing into it at the end.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 1
    except BeamfallError as error:
        return _fail(error, str(error), error.exit_status)
    except Exception as error:
        # Typer's own errors (a wrong option, a missing argument) know how to show themselves.
        show = getattr(error, "show", None)
        if callable(show):
            show()
            return int(getattr(error, "exit_code", 2))
        if type(error).__name__ == "Abort":
            print("beamfall: interrupted", file=sys.stderr)
            return _INTERRUPTED
        text = (
            f"unexpected {type(error).__name__}: {error}\n"
            "This is a fault of the program: please report it, with the traceback that "
            "BEAMFALL_DEBUG=1 shows."
        )
        return _fail(error, text, 1)


def _fail(error: BaseException, text: str, status: int) -> int:
    if os.environ.get("BEAMFALL_DEBUG"):
        import traceback

        traceback.print_exception(error)
    print(f"beamfall: {text}", file=sys.stderr)
    return status
