"""Each request is refused as its `checks` in messages.toml say, in their order.

For each check there is a way to make it fail. First all checks of a request fail at once: the first must be the
refusal. Then they are put right one by one, and each time the next one must be the refusal; at the end it is `done`.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from scripted import MS, SETTINGS, Bench

from beamfall.wire import get_definition
from beamfall_board import wire_definition as wire

VALVE1, FLASH1, BEAM1 = 1, 4, 9
ROW = (0, 0, VALVE1, 0, MS, 20 * MS)
REQUESTS = {name: m for name, m in get_definition().messages.items() if m.kind == "request"}


class Case:
    """A board on which a request would be `done`, the request's fields, and ways to spoil it."""

    def __init__(self, request: str) -> None:
        self.request = request
        self.bench = Bench()
        self.controller = self.bench.board.controller
        _, self.digest = self.bench.upload(
            [(1, 1, FLASH1, MS, MS)], window_ticks=100 * MS, await1=1
        )
        if request in ("table_rows", "table_commit"):
            _, self.digest = self.bench.upload([ROW[:3] + ROW[4:]])
            self.bench.begin(self.digest, rows=1)
            if request == "table_commit":
                self.bench.ask("table_rows", first=0, rows=[ROW])
        self.fields: dict[str, Any] = {
            "table_begin": {"digest": bytes(16), "rows": 1, **SETTINGS},
            "table_rows": {"first": 0, "rows": [ROW]},
            "release": {
                "boot_id": self.bench.welcome["boot_id"],
                "release": 5,
                "digest": self.digest,
            },
            "watch": {"on": 1},
            "set_host_timeout": {"timeout_ms": 0},
            "edge_constant": {"set": 1, "ticks": 4},
            "readings": {"part": 0},
            "drip": {"output": VALVE1, "width_ticks": 10 * MS},
            "rinse": {"output": VALVE1, "width_ms": 100, "token": 0},
            "test_flash": {"output": FLASH1, "width_ticks": MS},
        }.get(request, {"slot": 1} if request.startswith("slot_") else {})
        if request == "rinse":
            self.fields["token"] = self.bench.ask("rinse", **self.fields)["detail"]
        if request in ("slot_load", "slot_choose"):
            self.bench.ask("slot_save", slot=1)

    def ask(self) -> str:
        """The name of the refusal, or of the answer."""
        answer = self.bench.ask(self.request, **self.fields)
        return str(answer["reason"].name) if answer.name == "refused" else answer.name

    def change(self, **fields: Any) -> Callable[[], None]:
        before = {name: self.fields[name] for name in fields}
        self.fields.update(fields)
        return lambda: self.fields.update(before)

    def put(self, where: Any, name: str, value: Any) -> Callable[[], None]:
        before = getattr(where, name)
        setattr(where, name, value)
        return lambda: setattr(where, name, before)

    def spoil(self, refusal: str) -> Callable[[], None]:
        """Make a check fail; return what puts it right."""
        controller, table = self.controller, self.controller.table
        requests = self.bench.board.requests
        match refusal:
            case "busy":
                return self.put(controller, "activity", wire.ACTIVITY_WATCH)
            case "in_fault":
                return self.put(controller, "state", wire.STATE_FAULT)
            case "wrong_boot":
                return self.change(boot_id=1)
            case "over_limit" if self.request == "release":
                return self.change(release=wire.BUTTON_RELEASE_BASE)
            case "over_limit" if self.request == "edge_constant":
                return self.change(ticks=21)
            case "over_limit":
                name = "width_ms" if self.request == "rinse" else "width_ticks"
                return self.change(**{name: 2**29})
            case "zero_width":
                name = "width_ms" if self.request == "rinse" else "width_ticks"
                return self.change(**{name: 0})
            case "release_used":
                return self.put(controller, "last_release", 5)
            case "no_table":
                return self.put(table, "state", wire.TABLE_EMPTY)
            case "wrong_digest" if self.request == "release":
                return self.change(digest=bytes(16))
            case "wrong_digest":
                return self.put(table, "digest", bytes(16))
            case "table_incomplete":
                return self.put(table, "_got", bytearray(len(table._got)))
            case "a limit":
                names = ("earliest", "earliest_beam")
                undo = [self.put(controller.limits, name, 50 * MS) for name in names]
                return lambda: [one() for one in undo][0]
            case "beam_blocked":
                self.bench.rig.levels[BEAM1] = 1
                return lambda: self.bench.rig.levels.update({BEAM1: 0})
            case "too_soon":
                return self.put(controller.budget, "take", lambda *_: False)
            case "machine_conflict":
                undo = self.put(
                    self.bench.transport._port, "load", lambda _: wire.REFUSAL_MACHINE_CONFLICT
                )
                loaded = self.put(controller, "_loaded", None)
                return lambda: (undo(), loaded(), setattr(controller, "state", wire.STATE_IDLE))[0]
            case "bad_output":
                return self.change(output=BEAM1)
            case "unconfirmed":
                return self.put(requests, "_token_good", False)
            case "too_many_rows":
                return self.change(
                    **({"rows": 65} if self.request == "table_begin" else {"first": 1})
                )
            case "bad_payload" if self.request == "table_begin":
                return self.change(rows=0)
            case "bad_payload" if self.request == "table_rows":
                return self.change(rows=[ROW[:3] + (1,) + ROW[4:]])
            case "bad_payload" if self.request == "watch":
                return self.change(on=2)
            case "bad_payload" if self.request == "edge_constant":
                return self.change(set=2)
            case "storage" if self.request in ("slot_save", "edge_constant"):
                return self.put(self.bench.board.slots, "_folder", None)
            case "storage":
                return self.change(slot=8 if self.request != "slot_erase" else 9)
        raise NotImplementedError(refusal)


@pytest.mark.parametrize("request_name", sorted(set(REQUESTS) - {"hello"}))
def test_the_first_check_that_fails_is_the_refusal(request_name: str) -> None:
    checks = list(dict.fromkeys(reason for reason, _ in REQUESTS[request_name].checks))
    case = Case(request_name)
    # Some cannot fail at once: without a table there is no digest to be wrong, and with `on` 2 nothing else counts.
    alone = (
        {"too_many_rows", "bad_payload"}
        if request_name == "table_begin"
        else {"no_table", "zero_width"}
    )
    for reason in [one for one in checks if one in alone]:
        put_right = case.spoil(reason)
        assert case.ask() == reason
        put_right()
    together = [one for one in checks if one not in alone]
    spoiled = {reason: case.spoil(reason) for reason in together}
    for reason in together:
        found = case.ask()
        expected = {"a limit": "too_early"}.get(reason, reason)
        assert found == expected, f"{request_name}: {together}"
        if reason == "unconfirmed":
            case.fields["token"] = case.bench.board.requests._token
            continue
        spoiled[reason]()
    assert case.ask() in ("done", REQUESTS[request_name].answer)


def test_every_refusal_is_among_the_checks_of_some_request_or_the_links_or_a_limit() -> None:
    listed = {reason for message in REQUESTS.values() for reason, _ in message.checks}
    link = {"unknown_message", "no_session", "protocol_mismatch"}
    limits = {
        "bad_anchor", "width_too_long", "overlap", "duty", "flash_spacing", "too_early", "before_dwell",
        "beyond_horizon", "window_missing", "not_ordered",
    }  # fmt: skip
    known = {member.name for member in get_definition().enum("refusal")}
    assert listed - {"a limit"} | link | limits == known
