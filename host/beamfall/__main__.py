"""The program's start: `beamfall`, or `python -m beamfall` where the script is not on the path."""

# Here and in the package's own first file nothing is imported that takes time, not even `__future__`.
# Plain `signal` loads `enum` first, and a Ctrl-C meanwhile would show a traceback.
import _signal as signal  # type: ignore[import-not-found]
import sys

# A Ctrl-C while the program is still being loaded ends it without a traceback: nothing has been opened yet.
if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
    signal.signal(signal.SIGINT, signal.SIG_DFL)


def run() -> None:
    """Run the command line and end the process with its status."""
    from beamfall.cli import main

    sys.exit(main())


if __name__ == "__main__":
    run()
