"""A board in memory that says whatever an input tells it to: well formed and absurd, in and out of turn."""

from __future__ import annotations

import functools
from typing import Any

from virtual_clock import VirtualClock

from beamfall.board import Board
from beamfall.link.traits import REAL
from beamfall.wire import Frame, Framer, Message, encode_frame, get_codec
from beamfall.wire.framing import DELIMITER
from beamfall.wire.schema import Field

CODEC = get_codec()
DEFINITION = CODEC.definition
_REPORTS = ("state_changed", "edges", "shot_done", "forgotten", "trouble")
_TEXTS = ("", "Pico", "\x1b[2J\u202e=1+1<b>$\\frac$", "\x00", "a" * 96, "\u2028\n\r")
_SPENT = 0  # what a script says once its bytes are used up: nothing odd
_LEVELS = (
    0,
    1,
    2,
    3,
    7,
    36,
    255,
    1000,
    65535,
    10**6,
    2**29 + 1,
    2**30 - 1,
    2**31,
    2**32 - 1,
    2**63,
)


class Script:
    """The bytes of an input, one choice after the other."""

    def __init__(self, data: bytes) -> None:
        self._data = data
        self._at = 0

    @property
    def is_spent(self) -> bool:
        return self._at >= len(self._data)

    def byte(self) -> int:
        self._at += 1
        return _SPENT if self._at > len(self._data) else self._data[self._at - 1]

    def take(self, count: int) -> bytes:
        start = self._at
        self._at += count
        return self._data[start : self._at].ljust(count, bytes([_SPENT]))

    def rest(self) -> bytes:
        """All bytes that are left."""
        return self.take(max(0, len(self._data) - self._at))

    def choose(self, choices: Any) -> Any:
        return choices[self.byte() % len(choices)]


def make_value(script: Script, field: Field) -> Any:
    """A value of a field that fits its type; of an enum also one that is not defined."""
    if field.base == "text":
        return script.choose(_TEXTS)
    if field.base == "bytes":
        return script.take(field.size)
    if field.base == "list":
        parts = DEFINITION.records[field.of or ""].fields
        count = min(script.byte() % 40, field.max or 36)
        return [tuple(make_value(script, part) for part in parts) for _ in range(count)]
    if field.base == "enum":
        return script.choose(_list_members(field.of or ""))
    most = (1 << 8 * field.size) - 1
    level = script.choose(_LEVELS)
    return level if level <= most else most


@functools.cache
def _list_members(enum: str) -> list[int]:
    return sorted(int(one) for one in DEFINITION.enum(enum))


def make_fields(script: Script, name: str, base: dict[str, Any]) -> dict[str, Any]:
    """Fields of a message: those of `base`, with as many replaced as the script says."""
    fields = DEFINITION.messages[name].fields
    values = {one.name: base.get(one.name) for one in fields}
    every = script.byte() % 4 == 3
    for one in fields:
        if values[one.name] is None or every:
            values[one.name] = make_value(script, one)
    for _ in range(0 if every else script.byte() % 4):
        one = script.choose(fields)
        values[one.name] = make_value(script, one)
    return values


class HostileLine(VirtualClock):
    """A transport. Its time passes while the host waits; `said` counts the frames it has given."""

    name = "hostile"
    traits = REAL

    def __init__(self, script: Script, welcome: dict[str, Any]) -> None:
        self._script = script
        self._welcome = welcome
        self._framer = Framer(DEFINITION)
        self._out = b""
        self._session = self._report = self._release = 0
        self._digest = bytes(16)
        self.said = 0

    # -- what a transport does -----------------------------------------------------------------------------------
    def read(self, timeout_s: float) -> bytes:
        self.now += max(timeout_s, 1e-4)
        if not self._script.is_spent:
            for _ in range(self._script.byte() % 4):
                self._say_report()
        data, self._out = self._out, b""
        return data

    def write(self, data: bytes) -> None:
        for one in self._framer.feed(data):
            if isinstance(one, Frame):
                self._answer(one)

    # -- what it says --------------------------------------------------------------------------------------------
    def _answer(self, frame: Frame) -> None:
        request = DEFINITION.by_id[frame.message]
        if request.kind != "request":
            return
        script = self._script
        if request.name == "hello":
            self._session = frame.session
        if request.name == "release":
            message = CODEC.decode_frame(frame)
            self._release, self._digest = message["release"], message["digest"]
        way = script.byte() % 8
        name = (
            request.answer
            if way < 5
            else script.choose(("refused", "done", "welcome", "status_is"))
        )
        if way == 7:
            self._out += script.take(script.byte() % 60) + DELIMITER
            return
        self._say(name, make_fields(script, name, self._find_base(name, request.id)), frame.number)
        if request.name in ("release", "drip", "rinse", "test_flash") and way < 4:
            self._end(request.name, self._release if request.name == "release" else 0)

    def _find_base(self, name: str, request: int) -> dict[str, Any]:
        if name == "welcome":
            return self._welcome
        fields = DEFINITION.messages[name].fields
        zeros = {one.name: 0 for one in fields if one.base in ("u8", "u16", "u32", "u64", "enum")}
        lists = {one.name: [] for one in fields if one.base == "list"}
        known = {"boot_id": self._welcome["boot_id"], "request": request, "row": 65535}
        named = {one.name for one in fields}
        digest = {"digest": self._digest} if "digest" in named else {}
        return {**zeros, **lists, **digest, **{key: known[key] for key in known if key in named}}

    def _say_report(self) -> None:
        script = self._script
        name = script.choose(_REPORTS)
        base = self._find_base(name, 0)
        if "release" in base:
            base["release"] = self._release
        if "activity" in base:
            base["activity"] = 1
        self._say(name, make_fields(script, name, base), self._number())

    def _end(self, activity: str, release: int) -> None:
        kind = {"release": 1, "drip": 2, "rinse": 3, "test_flash": 4}[activity]
        base = {**self._find_base("shot_done", 0), "activity": kind, "release": release, "state": 2}
        self._say("shot_done", make_fields(self._script, "shot_done", base), self._number())

    def _number(self) -> int:
        self._report += 1
        way = self._script.byte() % 8
        if way == 7:
            return int(self._script.choose(_LEVELS[:-1])) & 0xFFFFFFFF
        return self._welcome["oldest_report"] - 1 + self._report

    def _say(self, name: str, fields: dict[str, Any], number: int) -> None:
        self.said += 1
        frame = CODEC.make_frame(Message(name, fields), self._session, number)
        self._out += encode_frame(frame, DEFINITION)


def read_welcome() -> dict[str, Any]:
    """The welcome of a board that behaves."""
    with Board.connect("sim", seed=1) as board:
        info = board.info
        return {
            field.name: getattr(info, field.name) for field in DEFINITION.messages["welcome"].fields
        }
