"""How fast the bench page is: `python tests/benchmarks/page.py [SHOTS]`. Prints; asserts nothing.

Figures, in a real Chromium (BEAMFALL_CHROMIUM names another than the system's):
1. from a board's event, as it reaches the host, to its word in the page and to the next frame after it;
2. first paint and the live state, in fresh browser contexts;
3. from a press of + at a timing to its effect on the page, and to the picture predicted for it;
4. from a request to its effect at the last of 20 clients, and an abort meanwhile;
5. frame times while a table of SHOTS (10,000 unless said) logged shots scrolls, and its contact sheet.
The shots of the log are one simulated shot, perturbed: invented.
"""

from __future__ import annotations

import http.client
import os
import random
import shutil
import statistics
import sys
import tempfile
import threading
import time
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parent))
from shot_log import make_sequence, perturb

from beamfall.board import Board
from beamfall.page.listening import make_opener
from beamfall.page.serve import PageServer, parse_listen
from beamfall.setup.rig import example_rig
from beamfall.shots import ShotLog
from beamfall.workflows.series import Shooter, describe_link

SHOTS = 12
OPENINGS = 10
FRAMES = 300
STEPS = 20
CLIENTS = 20

# Presses a button, and resolves to the ms until the words about the moment of the flash are others.
STEP = """(label) => new Promise((done) => {
  const words = document.querySelector('.splash-planned .momentwords');
  const chances = document.querySelector('.splash-planned .chances');
  const began = performance.now();
  const watch = new MutationObserver(() => { watch.disconnect(); done(performance.now() - began); });
  for (const one of [words, chances]) watch.observe(one, { childList: true, characterData: true, subtree: true });
  document.querySelector(`button[aria-label="${label}"]`).click();
})"""

# Notes when the state's word changes, and when the frame that shows it is done.
WATCH_STATE = """() => {
  window.seen = [];
  const state = document.getElementById('state');
  new MutationObserver(() => {
    const one = { word: state.textContent, at: performance.timeOrigin + performance.now() };
    window.seen.push(one);
    const note = () => { one.framed = performance.timeOrigin + performance.now(); };
    requestAnimationFrame(() => requestAnimationFrame(note));
  }).observe(state, { childList: true, characterData: true, subtree: true });
}"""

SCROLL = """([frames, step]) => new Promise((done) => {
  const box = document.querySelector('.logscroll');
  const times = [];
  let last = null, n = 0;
  const turn = (now) => {
    if (last !== null) times.push(now - last);
    last = now;
    box.scrollTop += step;
    if (++n > frames) done(times); else requestAnimationFrame(turn);
  };
  requestAnimationFrame(turn);
})"""


def fill(path: Path, shots: int) -> None:
    """A log of `shots` shots in series of 500."""
    draws = random.Random(5)
    rig = example_rig()
    with Board.connect("sim", rig=rig) as board, ShotLog.open(path) as log:
        with ShotLog.open(path.with_suffix(".scratch")) as scratch:
            model = Shooter.begin(board, scratch, "shoot", rig=rig).fire(make_sequence(0.18))
        link = describe_link(board)
        series = 0
        for number in range(shots):
            if number % 500 == 0:
                series = log.begin_series("sweep", rig=rig, name="invented")
            delay_s = 0.15 + 1e-6 * (number % 5000)
            shot = log.begin_shot(
                series, table=make_sequence(delay_s).to_table(board.info.clock_hz), board=board.info,
                port="benchmark", release=number + 1, rig=rig,
                swept={"of": "flash", "step": number + 1, "value_ms": delay_s * 1e3, "repeat": 1},
            )  # fmt: skip
            log.complete_shot(shot, perturb(model, draws), link=link)


class Served:
    """A page server on a thread."""

    def __init__(self, log_path: Path) -> None:
        self.server = PageServer(
            make_opener("sim", 3), listen=parse_listen("127.0.0.1:0"), log_path=log_path
        )
        self.thread = threading.Thread(target=self.server.run, daemon=True)
        self.thread.start()
        self.hub = self.server.hub
        self.wait(
            lambda: (self.hub.get("link") or {}).get("state") == "up" and self.hub.get("plan")
        )

    def wait(self, what: Any, seconds: float = 120.0) -> None:
        end = time.monotonic() + seconds
        while not what():
            if time.monotonic() > end:
                raise SystemExit("the page did not come to that")
            time.sleep(0.01)

    def stop(self) -> None:
        self.server.stop()
        self.thread.join(10.0)


def say(name: str, values: list[float], unit: str = "ms") -> None:
    ordered = sorted(values)
    p95 = ordered[min(len(ordered) - 1, int(0.95 * len(ordered)))]
    print(
        f"  {name}: median {statistics.median(ordered):.1f} {unit}, 95 % below {p95:.1f} {unit}, "
        f"worst {ordered[-1]:.1f} {unit} ({len(ordered)} values)"
    )


def measure_events(served: Served, page: Any) -> None:
    """Host time of each state event against the page's: both are the time of day of this computer."""
    told: list[tuple[str, float]] = []
    tell = served.hub.tell

    def listen(event: str, **values: Any) -> None:
        if event == "state":
            told.append((values["state"], time.time() * 1e3))
        tell(event, **values)

    served.hub.tell = listen  # type: ignore[method-assign]
    page.evaluate(WATCH_STATE)
    page.keyboard.press("a")
    served.wait(lambda: served.hub.get("armed"))
    for _ in range(SHOTS):
        before = (served.hub.get("shot") or {}).get("shot")
        page.wait_for_timeout(100)
        page.keyboard.press("r")
        served.wait(
            lambda was=before: (served.hub.get("shot") or {}).get("shot") not in (None, was)
        )
        served.wait(lambda: served.hub.get("job")["state"] != "running")
        page.wait_for_timeout(600)  # the picture is drawn meanwhile
        served.wait(lambda: not served.hub.get("resting"))  # Release waits for the rig's rest
    served.hub.tell = tell  # type: ignore[method-assign]
    seen = page.evaluate("window.seen")
    to_word, to_frame = [], []
    for word, at in told:
        match = next(
            (one for one in seen if one["word"] == word and -2.0 <= one["at"] - at < 2000.0), None
        )
        if match is not None:
            to_word.append(match["at"] - at)
            to_frame.append(match["framed"] - at)
    print(f"board event to the page, {SHOTS} shots at real pace:")
    say("to its word in the page", to_word)
    say("to the end of the next frame", to_frame)


def measure_paint(served: Served, browser: Any) -> None:
    paints, lives = [], []
    for _ in range(OPENINGS):
        context = browser.new_context(viewport={"width": 1366, "height": 768})
        page = context.new_page()
        page.goto(served.server.door.make_link())
        page.locator(".timing input").first.wait_for()
        lives.append(page.evaluate("performance.now()"))
        paints.append(
            page.evaluate("performance.getEntriesByName('first-contentful-paint')[0].startTime")
        )
        context.close()
    print(f"opening the page, {OPENINGS} fresh contexts:")
    say("first contentful paint", paints)
    say("timings and live state there, at most", lives)


def measure_steps(page: Any) -> None:
    print(f"a press of + at a timing, {STEPS} of each:")
    for name, label in (("flash delay", "Flash delay"), ("spacing", "Spacing of the drops")):
        times = []
        for number in range(STEPS):
            way = "more" if number % 2 else "less"
            times.append(page.evaluate(STEP, f"{label}: 0.5 ms {way}"))
            page.wait_for_timeout(150)
        say(f"{name}: to its effect on the page", times)


def ask(served: Served, command: str, body: str) -> None:
    door = served.server.door
    headers = {
        "Content-Type": "application/json", "Cookie": f"{door.cookie}={door.token}",
        "Origin": f"http://127.0.0.1:{door.port}",
    }  # fmt: skip
    link = http.client.HTTPConnection("127.0.0.1", door.port, timeout=20)
    link.request("POST", f"/do/{command}", body, headers)
    answer = link.getresponse()
    if answer.status != 200:
        raise SystemExit(f"{command}: {answer.read()!r}")
    link.close()


def measure_clients(served: Served) -> None:
    """Clients that only listen: what the server takes, not what 20 browsers on one computer take."""
    from websockets.sync.client import connect

    door = served.server.door
    origin = f"http://127.0.0.1:{door.port}"
    arrived: list[float] = []

    def listen(client: Any, sign: str) -> None:
        while sign not in client.recv(timeout=20.0):
            pass
        arrived.append(time.perf_counter())

    clients = [
        connect(
            f"ws://127.0.0.1:{door.port}/live", origin=origin,
            additional_headers={"Cookie": f"{door.cookie}={door.token}"}, max_size=None,
        )
        for _ in range(CLIENTS)
    ]  # fmt: skip
    for client in clients:
        client.recv(timeout=20.0)
    print(f"{CLIENTS} clients at once:")
    for name, command, body, sign in (
        ("a step of the flash", "step", '{"of": "delay", "by": "0.1 ms"}', '"moment"'),
        ("an abort", "abort", "{}", '"event":"abort"'),
    ):
        times = []
        for _ in range(STEPS):
            arrived.clear()
            threads = [threading.Thread(target=listen, args=(one, sign)) for one in clients]
            for thread in threads:
                thread.start()
            began = time.perf_counter()
            ask(served, command, body)
            for thread in threads:
                thread.join()
            times.append(1e3 * (max(arrived) - began))
        say(f"{name}, to the last of them", times)
    for client in clients:
        client.close()


def measure_predicted(served: Served) -> None:
    """The predicted picture, and an abort while it is being drawn."""
    door = served.server.door
    pictures, aborts = [], []
    for _ in range(6):
        ask(served, "step", '{"of": "delay", "by": "0.1 ms"}')
        link = http.client.HTTPConnection("127.0.0.1", door.port, timeout=20)
        began = time.perf_counter()
        link.request("GET", "/predicted", headers={"Cookie": f"{door.cookie}={door.token}"})
        time.sleep(0.1)
        pressed = time.perf_counter()
        ask(served, "abort", "{}")
        aborts.append(1e3 * (time.perf_counter() - pressed))
        link.getresponse().read()
        pictures.append(1e3 * (time.perf_counter() - began))
        link.close()
    print("the predicted picture:")
    say("drawn", pictures)
    say("an abort meanwhile, answered", aborts)


def measure_scroll(served: Served, page: Any, shots: int) -> None:
    origin = served.server.address
    began = time.perf_counter()
    page.goto(f"{origin}#log")
    page.locator(".logrow").first.wait_for()
    print(f"{shots} shots: the table is there after {(time.perf_counter() - began) * 1e3:.0f} ms")
    for name, step in (("slowly, 60 px a frame", 60), ("fast, 1,200 px a frame", 1200)):
        page.evaluate("document.querySelector('.logscroll').scrollTop = 0")
        say(f"frame while the table scrolls {name}", page.evaluate(SCROLL, [FRAMES, step]))
    page.get_by_role("button", name="Contact sheet").click()
    page.locator(".cell").first.wait_for()
    say("frame while the contact sheet scrolls, 60 px a frame", page.evaluate(SCROLL, [FRAMES, 60]))
    idle = page.evaluate(SCROLL, [FRAMES, 0])
    say("for comparison: frame while nothing moves", idle)


def main() -> None:
    from playwright.sync_api import sync_playwright

    shots = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
    chromium = os.environ.get("BEAMFALL_CHROMIUM") or shutil.which("chromium")
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        os.environ["BEAMFALL_LOG"] = str(Path(folder) / "shots.sqlite3")
        browser = playwright.chromium.launch(
            executable_path=chromium,
            args=["--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"],
        )
        print(
            f"Chromium {browser.version}, headless, no graphics card; load {os.getloadavg()[0]:.1f}"
        )
        served = Served(Path(folder) / "shots.sqlite3")
        page = browser.new_context(viewport={"width": 1366, "height": 768}).new_page()
        page.goto(served.server.door.make_link())
        page.locator("#arm:not([disabled])").wait_for()
        measure_events(served, page)
        measure_steps(page)
        measure_clients(served)
        measure_predicted(served)
        measure_paint(served, browser)
        served.stop()
        large = Path(folder) / "large.sqlite3"
        fill(large, shots)
        served = Served(large)
        page = browser.new_context(viewport={"width": 1366, "height": 768}).new_page()
        page.goto(served.server.door.make_link())
        page.locator("#arm:not([disabled])").wait_for()
        measure_scroll(served, page, shots)
        served.stop()
        browser.close()


if __name__ == "__main__":
    main()
