"""A simulated board behind a socket that misbehaves from some moment on, in one of the ways of `MODES`."""

from __future__ import annotations

import random
import sys
import time
from collections import deque
from collections.abc import Iterable
from pathlib import Path

sys.path[:0] = [str(Path(__file__).resolve().parents[1] / "shots")]

from served_board import ServedBoard  # noqa: E402

from beamfall.wire import Frame, Framer, Message, encode_frame, get_codec  # noqa: E402

_CODEC = get_codec()
_DEFINITION = _CODEC.definition
_ACTING = frozenset({"release", "drip", "rinse", "test_flash"})
_REPORTS_EACH_STEP = 20
_SLOW_S = 0.6
MODES = {
    "well": "does what it should",
    "tired": "has used up its valve's duty, so that it asks for a rest",
    "too soon": "refuses every action with 'too soon' and a detail of its choice",
    "slow": f"answers {_SLOW_S:g} s late",
    "repeating": "says everything twice",
    "flooding": "sends reports without end",
    "silent": "says nothing more",
    "nonsense": "sends random bytes only",
    "gone": "closes the connection for good",
}
DEAF = ("silent", "nonsense", "gone")  # no answer can be heard from these


class OddBoard(ServedBoard):
    """A served board that misbehaves from `turns_s` after it was first heard; `on` are its outputs that are on."""

    def __init__(self, mode: str, turns_s: float, seed: int) -> None:
        super().__init__(seed)
        self._mode = mode
        self._turns_s = turns_s
        self._first_s: float | None = None
        self._random = random.Random(seed)
        self._last = b""
        self._heard, self._said = Framer(_DEFINITION), Framer(_DEFINITION)
        self._session = self._newest = 0
        self._answers: list[bytes] = []
        self._late: deque[tuple[float, bytes]] = deque()
        self.on: set[int] = set()
        drive = self._rig.drive

        def note(output: int, level: int, ticks: int) -> None:
            (self.on.add if level else self.on.discard)(output)
            drive(output, level, ticks)

        self._rig.drive = note  # type: ignore[method-assign]

    @property
    def carries_frames(self) -> bool:
        """Whether what the host sends still arrives and is answered."""
        return self._mode not in DEAF

    @property
    def is_deaf(self) -> bool:
        """Whether the board has fallen silent by now."""
        return not self.carries_frames and self._is_odd

    @property
    def _is_odd(self) -> bool:
        return self._first_s is not None and time.monotonic() - self._first_s >= self._turns_s

    def _hear(self, data: bytes) -> bytes:
        return b"".join(self._take(one) for one in self._heard.feed(data) if isinstance(one, Frame))

    def _take(self, frame: Frame) -> bytes:
        """Note a request; return the part of it that reaches the board."""
        self._session = frame.session or self._session
        request = _DEFINITION.by_id[frame.message]
        if self._mode == "too soon" and self._is_odd and request.name in _ACTING:
            detail = self._random.choice((1, 300, 5000, 2**32 - 1))
            fields = {"request": request.id, "reason": _TOO_SOON, "row": 65535, "detail": detail}
            self._answers.append(self._make("refused", fields, frame.number))
            return b""
        return encode_frame(frame, _DEFINITION)

    def _say(self, data: bytes) -> bytes | None:
        if self._first_s is None and data:
            self._first_s = time.monotonic()
        for one in self._said.feed(data):
            if isinstance(one, Frame) and _DEFINITION.by_id[one.message].kind == "report":
                self._newest = max(self._newest, one.number)
        data += b"".join(self._answers)
        self._answers.clear()
        if data:
            self._last = data
        if not self._is_odd:
            return data
        match self._mode:
            case "silent":
                return b""
            case "nonsense":
                return self._random.randbytes(self._random.randint(0, 300))
            case "repeating":
                return data + self._last
            case "gone":
                return None
            case "flooding":
                return data + b"".join(self._flood())
            case "slow":
                return self._delay(data)
        return data

    def _delay(self, data: bytes) -> bytes:
        now = time.monotonic()
        if data:
            self._late.append((now + _SLOW_S, data))
        due = b""
        while self._late and self._late[0][0] <= now:
            due += self._late.popleft()[1]
        return due

    def _flood(self) -> Iterable[bytes]:
        """Edges of a shot that nobody released, and ends of shots that the button released."""
        for _ in range(_REPORTS_EACH_STEP):
            self._newest += 1
            if self._random.random() < 0.8:
                release = self._random.choice((1, 2, 7))
                edges = [(_BEAM, 3, 1000 + one) for one in range(36)]
                yield self._make(
                    "edges",
                    {"activity": 1, "release": release, "base_ticks": 0, "edges": edges},
                    self._newest,
                )
            else:
                release = _DEFINITION.limits.button_release_base + self._newest
                zeros = {field.name: 0 for field in _DEFINITION.messages["shot_done"].fields}
                done = {**zeros, "activity": 1, "release": release, "state": 2, "digest": bytes(16)}
                yield self._make("shot_done", done, self._newest)

    def _make(self, name: str, fields: dict[str, object], number: int) -> bytes:
        frame = _CODEC.make_frame(Message(name, fields), self._session, number)
        return encode_frame(frame, _DEFINITION)


_TOO_SOON = int(_DEFINITION.enum("refusal")["too_soon"])
_BEAM = int(_DEFINITION.enum("signal")["beam1"])
