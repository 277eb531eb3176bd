"""A shot that the board's button releases while the page listens is in its log, and the page says so."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from page_helpers import QUICK_RIG, Serve

from beamfall.page.jobs import make_arm
from beamfall.ports import open_transport
from beamfall.setup.rig import Rig
from beamfall.setup.signals import Signal
from beamfall.shots import ShotLog

BUTTON1 = int(Signal["button1"])


class Button:
    """A simulated board with a button that a test can press."""

    def open(self, rig: Rig | None) -> Any:
        self.inner, _ = open_transport("sim", rig, 3)
        self.rig: Any = self.inner.rig
        self.rig._covers[BUTTON1] = 0
        return self.inner, None

    def press(self) -> None:
        # A little ahead: the page's thread lets time pass meanwhile.
        now_s = self.inner.clock() + 0.5
        self.rig._schedule(now_s, now_s + 0.1, BUTTON1, self.rig._ticks(now_s))


def test_a_press_after_arming_is_a_logged_shot_with_its_plan(serve: Serve, log_path: Path) -> None:
    button = Button()
    served = serve(button.open, rig=QUICK_RIG)
    served.wait(lambda: served.is_connected)
    served.wait(lambda: served.hub.get("plan"))
    served.server.bench.submit(make_arm())
    served.wait(lambda: served.hub.get("armed"))
    served.wait(lambda: served.hub.get("job")["state"] == "ended")
    button.press()
    notice = served.wait(
        lambda: next((n for n in served.hub.get("notices") if "button" in n["text"]), None)
    )
    assert "shot 1 " in notice["text"]
    with ShotLog.open(log_path, read_only=True) as log:
        (series,) = log.list_series()
        assert (series.kind, series.shots) == ("button", 1)
        logged = log.read_shot(1)
    assert logged.line.rig_name == "quick invented rig"
    opened = [e for e in logged.record.edges if (e.what, e.edge) == ("valve1", "on")]
    assert len(opened) == 2 and all(e.planned_ticks == e.ticks for e in opened)
