"""Before a shot the page shows what the plan would most likely show, drawn for the plan as it is."""

from __future__ import annotations

import io

from page_helpers import QUICK_RIG, Asker, Serve
from PIL import Image


def test_a_changed_timing_changes_the_predicted_picture(serve: Serve) -> None:
    served = serve(rig=QUICK_RIG)
    asker = Asker(served)
    served.wait(lambda: served.hub.get("plan"))
    status, headers, first = asker.ask("GET", "/predicted")
    assert status == 200 and headers["content-type"] == "image/jpeg"
    assert Image.open(io.BytesIO(first)).format == "JPEG"
    assert asker.ask("GET", "/predicted")[2] == first, "the same plan is not drawn twice"
    before = served.hub.get("asked")["number"]
    assert asker.ask("POST", "/do/step", b'{"of": "delay", "by": "4 ms"}')[0] == 200
    served.wait(lambda: served.hub.get("asked")["number"] != before)
    assert asker.ask("GET", "/predicted")[2] != first


def test_without_a_plan_there_is_no_predicted_picture(serve: Serve) -> None:
    served = serve(rig=QUICK_RIG)
    asker = Asker(served)
    served.wait(lambda: served.hub.get("plan"))
    assert asker.ask("POST", "/do/tune", b'{"spacing": "1 ms"}')[0] == 200
    served.wait(lambda: (served.hub.get("plan") or {}).get("problem"))
    assert asker.ask("GET", "/predicted")[0] == 204
