"""A fault of the program itself must not leave a page that looks alive and has no hold of its board."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from page_helpers import Served

from beamfall.errors import BeamfallError
from beamfall.page.jobs import make_drip
from beamfall.ports import open_transport
from beamfall.setup.rig import Rig

Serve = Callable[..., Served]


class Opener:
    """Opens `sim`; what is read of it goes wrong as long as `error` is set."""

    def __init__(self) -> None:
        self.error: BaseException | None = None
        self.transports: list[Any] = []
        self.opened = 0

    def __call__(self, rig: Rig | None) -> Any:
        transport, reconnect = open_transport("sim", rig, 3)
        self.transports.append(transport)
        self.opened += 1
        read = transport.read

        def read_or_fail(timeout_s: float) -> bytes:
            if self.error is not None:
                raise self.error
            return read(timeout_s)

        transport.read = read_or_fail  # type: ignore[method-assign]
        return transport, reconnect


def link_of(served: Served) -> Any:
    return served.hub.get("link", {}).get("state")


def errors_of(served: Served) -> list[str]:
    return [entry["text"] for entry in served.hub.get("notices") if entry["level"] == "error"]


def test_an_unexpected_error_is_told_and_the_board_is_taken_up_again(
    serve: Serve, capfd: pytest.CaptureFixture[str]
) -> None:
    opener = Opener()
    served = serve(opener)
    bench = served.server.bench
    served.wait(lambda: link_of(served) == "up")
    opener.error = OSError(5, "what no transport should let out")
    served.wait(lambda: link_of(served) == "none")
    opened = opener.opened
    served.wait(lambda: opener.opened >= opened + 2)
    assert "what no transport should let out" in served.hub.get("link")["text"]
    told = errors_of(served)
    assert len(told) == 1 and "OSError" in told[0], "told once, however often it is tried"
    assert "Traceback" in capfd.readouterr().err, "whoever reports it needs the place"
    with pytest.raises(BeamfallError, match="no board is connected"):
        bench.submit(make_drip(1, "13 ms"))
    opener.error = None
    served.wait(lambda: link_of(served) == "up")
    bench.submit(make_drip(1, "13 ms"))
    served.wait(lambda: (served.hub.get("job") or {}).get("state") == "ended")


def test_what_is_on_when_it_happens_goes_off(serve: Serve) -> None:
    """The error comes once, while a valve is held open: the outputs are put off before the board is let go of."""
    opener = Opener()
    served = serve(opener, pace=1.0)
    served.wait(lambda: link_of(served) == "up")
    transport = opener.transports[-1]
    bench = served.server.bench
    aborted: list[bool] = []
    controller = transport._board.controller
    abort = controller.abort
    controller.abort = lambda: (aborted.append(True), abort())
    bench._idle = _raise_once(bench._idle)  # type: ignore[method-assign]
    served.wait(lambda: errors_of(served))
    assert aborted
    served.wait(lambda: link_of(served) == "up")


def _raise_once(act: Callable[..., None]) -> Callable[..., None]:
    calls: list[int] = []

    def raising(*arguments: Any) -> None:
        calls.append(1)
        if len(calls) == 1:
            raise ZeroDivisionError("once")
        act(*arguments)

    return raising


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_a_page_without_its_thread_says_so(serve: Serve) -> None:
    """Nothing of ours ends it; where something does, nobody may believe that abort still works."""
    opener = Opener()
    served = serve(opener)
    bench = served.server.bench
    served.wait(lambda: link_of(served) == "up")
    opener.error = SystemExit(3)
    served.wait(lambda: not bench._thread.is_alive())
    served.wait(lambda: link_of(served) == "none")
    for act in (lambda: bench.submit(make_drip(1, "13 ms")), bench.abort):
        with pytest.raises(BeamfallError, match="start it again"):
            act()
    bench.close()
