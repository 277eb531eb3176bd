"""A request is carried out as it was sent, or refused: defaults never replace what could not be read."""

from __future__ import annotations

import http.client

from page_helpers import QUICK_RIG, Serve, Served

UNREADABLE = {
    "cut short": b'{"valve": 3, "opening": "1 ms"',
    "a value is missing": b'{"count": ',
    "no JSON": b"not json at all",
    "empty": b"",
    "a list": b"[]",
    "a number": b"1",
    "null": b"null",
    "a name given twice": b'{"valve": 3, "valve": 1}',
    "too deep": b"[" * 30_000,
    "not UTF-8": b'{"valve": 3, "opening": "\xff"}',
}


COMMANDS = ("drip", "flash", "release", "arm", "rinse", "seek", "sweep", "calibrate")


def test_what_cannot_be_read_moves_nothing(serve: Serve) -> None:
    served = serve(rig=QUICK_RIG)
    served.wait(lambda: served.is_connected)
    for command in COMMANDS:
        for name, body in UNREADABLE.items():
            assert _post(served, command, body) == 400, (command, name)
            assert served.hub.get("job") is None, f"{command} was begun by a body that is {name}"


def test_a_whole_request_is_carried_out(serve: Serve) -> None:
    served = serve(rig=QUICK_RIG)
    served.wait(lambda: served.is_connected)
    assert _post(served, "drip", b'{"valve": 1, "opening": "12 ms"}') == 200
    assert served.wait(lambda: served.hub.get("job"))["kind"] == "drip"


def _post(served: Served, command: str, body: bytes) -> int:
    door = served.server.door
    connection = http.client.HTTPConnection("127.0.0.1", door.port, timeout=30)
    connection.request(
        "POST",
        f"/do/{command}",
        body,
        {
            "content-type": "application/json",
            "origin": served.origin,
            "cookie": f"{door.cookie}={door.token}",
        },
    )
    answer = connection.getresponse()
    answer.read()
    return answer.status
