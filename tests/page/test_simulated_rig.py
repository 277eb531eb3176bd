"""The simulated rig at a page's port is the one on the page, also after somebody has described another."""

from __future__ import annotations

from pathlib import Path

from page_helpers import QUICK_RIG, Serve, Served

from beamfall.page.jobs import make_arm, make_release
from beamfall.shots import ShotLog

PAST_NOZZLE_M = 0.6 - 0.47  # how far the drops of QUICK_RIG have fallen at its beam


def fire(served: Served, shot: int) -> None:
    bench = served.server.bench
    for job in (make_arm(), make_release(1)):
        served.wait(lambda: (served.hub.get("job") or {}).get("state") != "running")
        before = (served.hub.get("job") or {}).get("id")
        bench.submit(job)
        served.wait(lambda b=before: (served.hub.get("job") or {}).get("id") != b)
        served.wait(lambda: served.hub.get("job")["state"] != "running")
    served.wait(lambda: (served.hub.get("shot") or {}).get("shot") == shot)


def find_fall_s(log_path: Path, shot: int) -> float:
    """From opening 1 to the first dark edge, as measured."""
    with ShotLog.open(log_path, read_only=True) as log:
        record = log.read_shot(shot).record
    ticks = {
        (edge.what, edge.edge): edge.ticks
        for edge in reversed(record.edges)
        if edge.ticks is not None
    }
    return (ticks["beam1", "dark"] - ticks["valve1", "on"]) / record.clock_hz


def test_drops_fall_as_in_the_rig_that_the_page_shows_now(serve: Serve, log_path: Path) -> None:
    served = serve(rig=QUICK_RIG, pace=100.0)
    served.wait(lambda: served.hub.get("plan") and served.is_connected)
    fire(served, 1)
    served.server.desk.edit("beam[1].height", "20 cm")
    served.server.desk.wait(60.0)
    fire(served, 2)
    first, second = find_fall_s(log_path, 1), find_fall_s(log_path, 2)
    # Free fall (air and the drop's start matter little): t = sqrt(2 h / g).
    longer = (2 * (PAST_NOZZLE_M + 0.27) / 9.81) ** 0.5 - (2 * PAST_NOZZLE_M / 9.81) ** 0.5
    assert abs(second - first - longer) < 0.02, (first, second, longer)
    assert served.hub.get("board")["simulated"]
