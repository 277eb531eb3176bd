"""Each workflow writes the same into the log, whether it is led from the terminal or from the page."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from beamfall.page.jobs import make_arm, make_release
from beamfall.shots import ShotLog

# What each series draws anew where the board is a real one, and where the port is told apart.
_OWN = ("rest_seed", "port")


def read_log(path: Path) -> list[dict[str, Any]]:
    """What reached the log, series by series, without times of day and measured edges."""
    with ShotLog.open(path, read_only=True) as log:
        return [
            {
                "kind": series.kind,
                "settings": {k: v for k, v in series.settings.items() if k not in _OWN},
                "seed": series.seed,
                "rig": series.rig_name,
                "shots": [_read_shot(log, line.shot) for line in log.list_shots(limit=None, series=series.series)],
            }
            for series in log.list_series(limit=None)
        ]  # fmt: skip


def _read_shot(log: ShotLog, shot: int) -> dict[str, Any]:
    logged = log.read_shot(shot)
    return {
        "state": logged.line.shown_state,
        "cause": logged.line.cause,
        "sequence": logged.table,
        "swept": logged.record.swept,
        "note": logged.line.note,
        "rig": logged.rig,
    }


def test_shoot(use_log: Any, at_terminal: Any, on_page: Any) -> None:
    terminal, paged = use_log("terminal"), use_log("page")
    use_log("terminal")
    assert at_terminal("shoot", "--count", "3") == 0
    use_log("page")
    page = on_page(paged)
    assert page.do(make_arm())["state"] == "ended"
    assert page.do(make_release(3))["state"] == "ended"
    logged = read_log(paged)
    assert logged == read_log(terminal)
    assert [shot["swept"] for shot in logged[0]["shots"]] == [{"warm_up": 1}, None, None, None]
