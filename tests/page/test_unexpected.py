"""After a bug in Beamfall itself, no page may look alive that no longer controls its board."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable
from typing import Any

import pytest
from page_helpers import Asker, Serve, Served

from beamfall.errors import BeamfallError
from beamfall.fault_report import BUG
from beamfall.page.jobs import make_arm, make_drip, make_release
from beamfall.page.words import ANOTHER_BOARD, OPENED_AGAIN
from beamfall.ports import open_transport
from beamfall.setup.rig import Rig


class Opener:
    """Opens `sim`; reading from it fails as long as `error` is set."""

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


def read_reports(served: Served) -> list[str]:
    """The reports of faults, which are beside the log."""
    folder = served.server.bench.log_path.parent / "faults"
    return [file.read_text("utf-8") for file in sorted(folder.glob("fault-*.txt"))]


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
    (report,) = read_reports(served)
    assert "OSError: [Errno 5] what no transport" in report and "test_unexpected.py" in report
    said = capfd.readouterr().err
    assert "fault-" in said and "Traceback" not in said, "where the report is, once"
    with pytest.raises(BeamfallError, match="cable"):
        bench.submit(make_drip(1, "13 ms"))
    opener.error = None
    served.wait(lambda: link_of(served) == "up")
    bench.submit(make_drip(1, "13 ms"))
    served.wait(lambda: (served.hub.get("job") or {}).get("state") == "ended")


def test_what_is_on_when_it_happens_goes_off(serve: Serve) -> None:
    """The error comes once, while a valve is held open: the outputs go off before the port is closed."""
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


def test_a_fault_in_a_request_or_a_job_writes_one_report_of_its_kind_and_the_page_goes_on(
    serve: Serve, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    def fail(*_: object, **__: object) -> None:
        raise ZeroDivisionError("deliberate")

    served = serve(Opener())
    served.wait(lambda: link_of(served) == "up")
    asker = Asker(served)
    with monkeypatch.context() as patch:
        patch.setattr("beamfall.page.review.list_series", fail)
        for _ in range(3):
            status, _, body = asker.ask("GET", "/series")
            assert status == 500 and BUG.encode() in body and b"fault-" in body
    assert len(read_reports(served)) == 1 and "ZeroDivisionError" in read_reports(served)[0]
    assert asker.ask("GET", "/series")[0] == 200
    job = make_drip(1, "13 ms")
    job.run = fail
    served.server.bench.submit(job)
    served.wait(lambda: (served.hub.get("job") or {}).get("state") == "failed")
    assert BUG in errors_of(served)[-1]
    served.server.bench.submit(make_drip(1, "13 ms"))
    served.wait(lambda: (served.hub.get("job") or {}).get("state") == "ended")
    assert "Traceback" not in capfd.readouterr().err


@pytest.mark.parametrize(("seed", "noticed"), [(3, False), (4, True)])
def test_what_was_armed_is_not_armed_on_another_board(
    serve: Serve, seed: int, noticed: bool
) -> None:
    """Seed 3 is a board that looks the same in all its ids and has no table; seed 4 has an id of its own."""
    transports: list[Any] = []

    def open_port(rig: Rig | None) -> Any:
        def plug_in() -> Any:
            transport, _ = open_transport("sim", rig, seed if transports else 3)
            transports.append(transport)
            return transport

        return plug_in(), plug_in

    served = serve(open_port)
    served.wait(lambda: link_of(served) == "up" and served.hub.get("plan"))
    served.server.bench.submit(make_arm())
    served.wait(lambda: served.hub.get("armed"))
    served.wait(lambda: served.hub.get("job")["state"] == "ended")
    first = served.hub.get("board")["unique_id"]
    transports[0].close()  # the plug is pulled
    served.wait(lambda: not served.hub.get("armed"))
    served.wait(lambda: link_of(served) == "up")
    assert (served.hub.get("board")["unique_id"] != first) is noticed
    cautions = [one["text"] for one in served.hub.get("notices") if one["level"] == "caution"]
    assert (ANOTHER_BOARD in cautions) is noticed
    served.server.bench.submit(make_arm())
    served.wait(lambda: served.hub.get("armed"))
    served.wait(lambda: served.hub.get("job")["state"] == "ended")
    served.server.bench.submit(make_release(1))
    served.wait(lambda: (served.hub.get("shot") or {}).get("state") == "fired")


def test_a_killed_interpreter_is_told_with_the_cure_and_started_again(serve: Serve) -> None:
    transports: list[Any] = []

    def open_port(rig: Rig | None) -> Any:
        transport, reconnect = open_transport("sim:micropython", rig, 3)
        transports.append(transport)
        return transport, reconnect

    served = serve(open_port)
    served.wait(lambda: link_of(served) == "up")
    os.kill(transports[0]._process.pid, signal.SIGKILL)
    served.wait(lambda: len(transports) > 1 and link_of(served) == "up")
    (told,) = [one["text"] for one in served.hub.get("notices") if one["level"] == "caution"]
    assert "SIGKILL" in told and "--port sim" in told and OPENED_AGAIN in told


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
    """Nothing of ours ends it; if something does, nobody may believe that abort still works."""
    opener = Opener()
    served = serve(opener)
    bench = served.server.bench
    served.wait(lambda: link_of(served) == "up")
    opener.error = SystemExit(3)
    served.wait(lambda: not bench._thread.is_alive())
    served.wait(lambda: link_of(served) == "none")
    for act in (lambda: bench.submit(make_drip(1, "13 ms")), bench.abort):
        with pytest.raises(BeamfallError, match="beamfall page.*Ctrl-C"):
            act()
    bench.close()
