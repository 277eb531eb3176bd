"""What the tests of the page share beyond fixtures."""

from __future__ import annotations

import asyncio
import http.client
import json
import socket
import threading
import time
from collections.abc import Callable, Coroutine
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

from invented_rig import make_rig_text

from beamfall.page.serve import PageServer

LAPTOP = {"width": 1366, "height": 768}
TABLET = {"width": 820, "height": 1180}
TELEPHONE = {"width": 390, "height": 844}
VIEWS = (
    "bench",
    "rig",
    "sweep",
    "seek",
    "check",
    "calibrate",
    "log",
    "repeatability",
    "recipes",
    "table",
)
# Two cores shared with everything else may be slow for a while.
PATIENT_MS = 60_000
# An answer may take 7 s of calculation, ten times as long on a busy machine; the limit only ends a hang.
PATIENT_S = 300.0

QUICK_RIG = make_rig_text("quick invented rig")


def expect(thing: Any) -> Any:
    """Playwright's expect, patient with a busy machine; imported late so that a skip is by name."""
    from playwright.sync_api import expect as checked

    checked.set_options(timeout=PATIENT_MS)
    return checked(thing)


def read_script(name: str) -> str:
    """A function of NAME.js beside this file, as `page.evaluate` takes it: without the formatter's semicolon."""
    text = Path(__file__).with_name(f"{name}.js").read_text(encoding="utf-8")
    return text.rstrip().removesuffix(";")


def arm_and_release(page: Any) -> None:
    """Press keys, as somebody with wet hands would."""
    expect(page.locator("#arm")).to_be_enabled()
    page.keyboard.press("a")
    expect(page.locator("#arm")).to_contain_text("Armed")
    expect(page.locator("#release")).to_be_enabled()
    page.keyboard.press("r")


class Served:
    """A page server on a thread of its own."""

    def __init__(self, server: PageServer) -> None:
        self.server = server
        self.thread = threading.Thread(target=server.run, daemon=True)
        self.thread.start()
        self.origin = server.address.rstrip("/")
        self.hub = server.hub

    @property
    def link(self) -> str:
        """A new link, which opens the page once."""
        return self.server.door.make_link()

    @property
    def is_connected(self) -> bool:
        """Whether the page has its board."""
        return (self.hub.get("link") or {}).get("state") == "up"

    def wait(self, what: Callable[[], Any], seconds: float = 60.0) -> Any:
        """Wait until something holds on the hub."""
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            found = what()
            if found:
                return found
            time.sleep(0.01)
        raise AssertionError(f"it did not come to that; the job: {self.hub.get('job')}")

    def stop(self) -> None:
        self.server.stop()
        self.thread.join(60.0)
        assert not self.thread.is_alive(), "the server did not end"


class Asker:
    """Raw requests, as a browser would never send them."""

    def __init__(self, served: Served) -> None:
        door = served.server.door
        self.port = door.port
        self.host = f"127.0.0.1:{door.port}"
        self.cookie = f"{door.cookie}={door.token}"
        self.door = door

    def enter(self, code: str) -> tuple[int, dict[str, str], bytes]:
        """Try the code of a link, without a cookie."""
        return self.ask("POST", "/enter", json.dumps({"code": code}).encode(), Cookie=None)

    def ask(
        self, method: str, path: str, body: bytes | None = None, **headers: str | None
    ) -> tuple[int, dict[str, str], bytes]:
        sent: dict[str, str | None] = {
            "Host": self.host, "Cookie": self.cookie, "Origin": f"http://{self.host}",
            "Content-Type": "application/json",
        }  # fmt: skip
        sent.update({name.replace("_", "-"): value for name, value in headers.items()})
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=PATIENT_S)
        connection.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
        for name, value in sent.items():
            if value is not None:
                connection.putheader(name, value)
        if body is not None and "Transfer-Encoding" not in sent:
            connection.putheader("Content-Length", str(len(body)))
        connection.endheaders()
        try:
            if body is not None and "Transfer-Encoding" not in sent:
                connection.send(body)
            elif body is not None:
                for start in range(0, len(body), 8192):
                    chunk = body[start : start + 8192]
                    connection.send(f"{len(chunk):x}\r\n".encode() + chunk + b"\r\n")
                connection.send(b"0\r\n\r\n")
            answer = connection.getresponse()
            return answer.status, {k.lower(): v for k, v in answer.getheaders()}, answer.read()
        except (http.client.RemoteDisconnected, ConnectionError):
            return 0, {}, b""
        finally:
            connection.close()


def run_async(work: Coroutine[Any, Any, Any]) -> Any:
    """Run it on a thread of its own: on this one, Playwright's event loop may be running."""
    with ThreadPoolExecutor(1) as thread:
        return thread.submit(asyncio.run, work).result()


Serve = Callable[..., Served]
Open = Callable[..., Any]
OpenReady = Callable[..., tuple[Served, Any]]


def answers(origin: str) -> bool:
    host, _, port = origin.partition("://")[2].rpartition(":")
    with socket.socket() as probe:
        return probe.connect_ex((host, int(port))) == 0


def wait_ready(page: Any) -> None:
    """Wait until the board is there and the plan is made."""
    expect(page.locator("#arm")).to_be_enabled()


def wait_on_page(page: Any, what: str, seconds: float = 60.0) -> None:
    """Wait until something holds for the `state` in a page, in JavaScript, which may lag behind the hub's."""
    end = time.monotonic() + seconds
    look = f"async () => {{ const {{ state }} = await import('/static/net.js'); return Boolean({what}); }}"
    while not page.evaluate(look):
        assert time.monotonic() < end, f"the page does not have it that {what}"
        page.wait_for_timeout(50)


def release_again(page: Any, served: Served, shot: int) -> None:
    """Release what is armed once more, as its `shot`: the key is refused while the surface rests."""
    end = time.monotonic() + 60.0
    while (served.hub.get("shot") or {}).get("shot") != shot:
        assert time.monotonic() < end, f"shot {shot} did not come: {served.hub.get('job')}"
        # By what the page shows, which may be behind the server: it may be refused there, and is asked again.
        expect(page.locator("#release")).to_be_enabled()
        expect(page.locator("#release")).to_have_attribute("data-waits", "false")
        before = served.hub.get("job")["id"]
        page.keyboard.press("r")
        served.wait(lambda b=before: served.hub.get("job")["id"] != b)
        served.wait(lambda: served.hub.get("job")["state"] != "running")


def wait_question(served: Served, after: int = 0, seconds: float = 60.0) -> Any:
    """The next question of the running job after another one; None if the job has ended."""

    def look() -> Any:
        job = served.hub.get("job") or {}
        question = job.get("question")
        if question and question["id"] > after:
            return question
        return "none" if after and job.get("state") != "running" else None

    found = served.wait(look, seconds)
    return None if found == "none" else found


def find_question(page: Any, question: Any) -> Any:
    """A question on the page, once the page shows it in place of an earlier one."""
    return page.locator(f'#question[data-question="{question["id"]}"]')
