"""What the page writes, for `failing.py`: requests to a page of this process, with what it answers and reports."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

sys.path.append(str(Path(__file__).resolve().parents[1] / "page"))

import uvicorn  # noqa: F401
from page_helpers import Asker, Served, answers

import beamfall.page.app  # noqa: F401 - each try is forked from a process that has loaded everything
from beamfall.page.listening import make_opener
from beamfall.page.serve import PageServer, parse_listen

Request = tuple[str, dict[str, Any]]
_PATIENCE_S = 60.0


def ask_page(requests: tuple[Request, ...], arm: Callable[[], None]) -> int:
    """Start a page of the folder's rig and log, call `arm`, then send the requests one after the other.

    What the page says of errors goes to the standard error. Returns 0 where it carried out everything, else 1.
    """
    server = PageServer(
        make_opener("sim", 0), rig_file=Path("rig.toml"), listen=parse_listen("127.0.0.1:0"),
        pace=100.0, log_path=Path("shots.sqlite3").resolve(),
    )  # fmt: skip
    served = Served(server)
    hub = served.hub
    served.wait(lambda: answers(served.origin))
    served.wait(lambda: (hub.get("link") or {}).get("state") == "up")
    if any(name in _JOBS for name, _ in requests):
        served.wait(lambda: hub.get("plan"))
    before = {one["id"] for one in hub.get("notices")}
    asker = Asker(served)
    arm()
    errors = []
    for name, body in requests:
        earlier = (hub.get("job") or {}).get("id")
        status, _, answer = asker.ask("POST", f"/do/{name}", json.dumps(body).encode())
        if status != 200:
            errors.append(answer.decode())
        elif name in _JOBS:
            served.wait(lambda e=earlier: (hub.get("job") or {}).get("id") != e, _PATIENCE_S)
            served.wait(lambda: hub.get("job")["state"] != "running", _PATIENCE_S)
    errors += [
        one["text"]
        for one in hub.get("notices")
        if one["id"] not in before and one["level"] == "error"
    ]
    print("\n".join(errors), file=sys.stderr)
    return 1 if errors else 0


_JOBS = ("arm", "release")
