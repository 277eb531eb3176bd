"""What no log, no file and no message can hold is refused with a clear line, and leaves the page as it was."""

from __future__ import annotations

import asyncio
import contextlib
import json
import sqlite3
from pathlib import Path

import pytest
from page_helpers import QUICK_RIG, Asker, Serve, Served, run_async

from beamfall.page.hub import clean
from beamfall.page.jobs import make_arm, make_release

HUGE = "99999999999999999999"  # more than the 64 bits of SQLite's numbers
HALF = "\\ud800"  # JSON's way to write half a character (RFC 8259, section 8.2)


@pytest.fixture
def served(serve: Serve) -> Served:
    served = serve(rig=QUICK_RIG)
    served.wait(lambda: served.hub.get("plan") and served.is_connected)
    served.server.bench.submit(make_arm())
    served.wait(lambda: served.hub.get("armed"))
    served.wait(lambda: served.hub.get("job")["state"] == "ended")
    served.server.bench.submit(make_release(1))
    served.wait(lambda: served.hub.get("shot"))
    served.wait(lambda: served.hub.get("job")["state"] == "ended")
    return served


def read_state(served: Served) -> dict[str, object]:
    """The first message that a page gets."""
    from websockets.asyncio.client import connect

    door = served.server.door

    async def read() -> str:
        async with connect(
            f"ws://127.0.0.1:{door.port}/live",
            additional_headers={"Cookie": f"{door.cookie}={door.token}"},
            origin=served.origin,  # type: ignore[arg-type]
        ) as socket:
            return str(await asyncio.wait_for(socket.recv(), 30.0))

    state: dict[str, object] = json.loads(run_async(read()))["all"]
    return state


def test_numbers_and_names_beyond_all_files(served: Served) -> None:
    asker = Asker(served)
    for path in (f"/shots/{HUGE}", f"/shots/{HUGE}/picture", f"/compare/1/{HUGE}", f"/compare/{HUGE}/1",
                 f"/series/{HUGE}"):  # fmt: skip
        status, _, body = asker.ask("GET", path)
        assert status == 404 and HUGE in json.loads(body)["error"], path
    for path in (
        "/static/%00",
        "/static/main.js%00.css",
        "/static/" + "x" * 1500,
        "/static/" + "a/" * 700,
    ):
        assert asker.ask("GET", path)[0] == 404, path
    for command, body in (
        ("rate", f'{{"shot": 1{"0" * 30}, "rating": 1}}'),
        ("rate", f'{{"shot": 1, "rating": {HUGE}}}'),
        ("note", f'{{"shot": -{HUGE}, "text": "x"}}'),
        ("sweep_resume", f'{{"series": {HUGE}}}'),
        ("dismiss", f'{{"notice": {HUGE}}}'),
    ):
        status, _, answer = asker.ask("POST", f"/do/{command}", body.encode())
        assert status == 422, command
        assert json.loads(answer)["error"].startswith(f"{command}: ")
    assert asker.ask("POST", "/do/step", b'{"of": "opening", "by": "1 ms"}')[0] == 422


def test_a_damaged_shot_is_named_by_whatever_asks_for_it(served: Served, log_path: Path) -> None:
    with contextlib.closing(sqlite3.connect(log_path, isolation_level=None)) as connection:
        connection.execute("UPDATE shot SET record = '{'")
    asker = Asker(served)
    for path in ("/shots/1", "/shots/1/picture", "/shots/1/picture?small", "/compare/1/1"):
        status, _, body = asker.ask("GET", path)
        assert status == 404 and "shot 1" in json.loads(body)["error"], path
    assert not [one for one in served.hub.get("notices") if one["level"] == "error"]


def test_halves_of_characters(served: Served) -> None:
    asker = Asker(served)
    before = read_state(served)
    for command, body in (
        ("note", f'{{"shot": 1, "text": "a{HALF}"}}'),
        ("edit", f'{{"path": "name", "text": "{HALF}x"}}'),
        ("edit", f'{{"path": "{HALF}", "text": "x"}}'),
        ("tune", f'{{"delay": "{HALF}"}}'),
        ("arm", f'{{"{HALF}": 1}}'),
    ):
        status, _, answer = asker.ask("POST", f"/do/{command}", body.encode())
        assert status == 422, command
        assert "d800" in json.loads(answer)["error"], answer
    status, _, _ = asker.ask("POST", "/enter", f'{{"code": "{HALF}"}}'.encode(), Cookie=None)
    assert status == 403
    after = read_state(served)
    assert after["rig"] == before["rig"]
    # A whole pair is a character as any other.
    pair = b'{"shot": 1, "text": "\\ud83d\\udca7"}'
    assert asker.ask("POST", "/do/note", pair)[0] == 200
    assert b"\xf0\x9f\x92\xa7" in asker.ask("GET", "/shots")[2]


def test_a_rig_file_with_a_name_that_is_no_text_is_served(tmp_path: Path) -> None:
    """File names are bytes; one that is no UTF-8 is read with halves of characters (PEP 383)."""
    from beamfall.page.hub import Hub

    hub = Hub()
    hub.set(rig={"file": "r\udcff.toml", "list": ["\udcff", "µ"]})
    hub.notice("error", "r\udcff.toml cannot be read")
    assert hub.snapshot().encode()
    assert clean({"a": ["µ", "\ud83d"]}) == {"a": ["µ", "?"]}
