"""A board with the real firmware in virtual time, and a script in place of a rig. For the tests of the core."""

from __future__ import annotations

import heapq
from typing import Any

from beamfall.sim.embedded import SimulatedTransport
from beamfall.wire import Frame, Framer, Message, encode_frame, get_codec, make_table_messages

HZ = 125_000_000
MS = HZ // 1000
VALVES, FLASHES, CAMERA = range(1, 4), range(4, 7), range(7, 9)
BEAM1, BEAM2, LIGHT1 = 9, 10, 11

SETTINGS = {
    "window_ticks": 0, "tail_ticks": 5 * MS, "blanking_ticks": 0, "dwell_ticks": 0,
    "beam1_edge": 1, "beam2_edge": 1, "await1": 0, "await2": 0,
}  # fmt: skip

TWO_DROPS = [(0, 0, 1, 1 * MS, 20 * MS), (0, 0, 1, 80 * MS, 20 * MS), (1, 2, 4, 30 * MS, 1 * MS)]
WAITING = {"window_ticks": 1000 * MS, "await1": 2}


class ScriptedRig:
    """Input edges at times counted from the moment an output first went on after `script` was called."""

    clock_hz = HZ

    def __init__(self) -> None:
        self.outputs: list[tuple[int, int, int]] = []  # ticks over all lives, signal, level
        self.past = 0  # ticks of the lives before
        self.levels: dict[int, int] = {}
        self._events: list[tuple[int, int, int]] = []

    def at(self, ticks: int, signal: int, level: int) -> None:
        heapq.heappush(self._events, (ticks, signal, level))

    def drive(self, signal: int, level: int, ticks: int) -> None:
        self.outputs.append((self.past + ticks, signal, level))

    def next_edge(self, until: int) -> tuple[int, int, int] | None:
        if self._events and self._events[0][0] <= until:
            edge = heapq.heappop(self._events)
            self.levels[edge[1]] = edge[2]
            return edge
        return None

    def level(self, signal: int) -> int:
        return self.levels.get(signal, 0)

    def restart(self) -> None:
        self._events.clear()
        self.levels.clear()

    def pulses(self, signal: int) -> list[tuple[int, int]]:
        """(on, off) ticks of every pulse of an output; one still on has off = -1."""
        found: list[tuple[int, int]] = []
        for ticks, which, level in self.outputs:
            if which == signal:
                if level:
                    found.append((ticks, -1))
                else:
                    found[-1] = (found[-1][0], ticks)
        return found


class Bench:
    """Exchanges frames with the firmware, with no link layer in between."""

    def __init__(self, session: int = 7) -> None:
        self.codec = get_codec()
        self.rig = ScriptedRig()
        self.transport = SimulatedTransport(self.rig, seed=1)
        self.framer = Framer(self.codec.definition)
        self.session = session
        self.number = 0
        self.reports: list[tuple[int, Message]] = []
        self.answers: dict[int, Message] = {}
        self.welcome = self.ask("hello", definition=self.codec.definition.digest)

    @property
    def now(self) -> int:
        return self.transport._channel.now

    @property
    def board(self) -> Any:
        return self.transport._board

    def frame(self, name: str, number: int, session: int | None = None, **fields: Any) -> bytes:
        message = Message(name, fields)
        session = self.session if session is None else session
        return encode_frame(self.codec.make_frame(message, session, number), self.codec.definition)

    def send(self, data: bytes) -> None:
        self.transport.write(data)

    def listen(self, seconds: float = 0.0) -> None:
        data = self.transport.read(seconds)
        for found in self.framer.feed(data):
            assert isinstance(found, Frame), found
            message = self.codec.decode_frame(found)
            if self.codec.definition.messages[message.name].kind == "report":
                if not self.reports or found.number > self.reports[-1][0]:  # else a repeat
                    self.reports.append((found.number, message))
            else:
                self.answers[found.number] = message

    def ask(self, name: str, **fields: Any) -> Message:
        self.number += 1
        self.send(self.frame(name, self.number, **fields))
        self.listen()
        return self.answers[self.number]

    def run(self, seconds: float) -> None:
        """Let virtual time pass, listening and acknowledging."""
        end = self.now + round(seconds * HZ)
        while self.now < end:
            self.listen((end - self.now) / HZ)
            if self.reports:
                self.send(self.frame("acknowledge", 0, through=self.reports[-1][0]))

    def restart(self) -> None:
        """Restart the board with its supply on; what was on goes off."""
        for signal in {signal for _, signal, _ in self.rig.outputs}:
            if self.rig.pulses(signal)[-1][1] < 0:
                self.rig.drive(signal, 0, self.now)
        self.rig.past += self.now
        self.transport.restart_board()
        self.framer = Framer(self.codec.definition)
        self.number = 0
        self.reports.clear()
        self.answers.clear()
        self.welcome = self.ask("hello", definition=self.codec.definition.digest)

    def upload(self, rows: list[tuple[int, ...]], **settings: int) -> tuple[Message, bytes]:
        """Upload a table of (anchor, count, output, delay, width); return the answer to the commit."""
        full = {**SETTINGS, **settings}
        records = [
            (anchor, count, output, 0, delay, width) for anchor, count, output, delay, width in rows
        ]
        table = make_table_messages(self.codec, full, records)
        answer = Message("none", {})
        for request in table.requests:
            answer = self.ask(request.name, **request.fields)
            if answer.name == "refused":
                break
        return answer, table.digest

    def begin(self, digest: bytes, rows: int, **settings: int) -> Message:
        return self.ask("table_begin", digest=digest, rows=rows, **{**SETTINGS, **settings})

    def release(
        self, digest: bytes, release: int = 1, changes: dict[str, Any] | None = None
    ) -> Message:
        fields = {"boot_id": self.welcome["boot_id"], "release": release, "digest": digest}
        return self.ask("release", **(fields | (changes or {})))

    def named(self, name: str) -> list[Message]:
        return [message for _, message in self.reports if message.name == name]

    def edges(self) -> list[tuple[int, int, int]]:
        """(ticks, signal, level) of all edges reported so far."""
        return [
            (edge.ticks, int(edge.signal), edge.mark & 1)
            for message in self.named("edges")
            for edge in message["edges"]
        ]


def drop_edges(bench: Bench, *offsets_ms: float, dwell_ms: float = 2.5) -> None:
    """Drops that darken beam 1, counted from now."""
    for offset in offsets_ms:
        start = bench.now + round(offset * MS)
        bench.rig.at(start, BEAM1, 1)
        bench.rig.at(start + round(dwell_ms * MS), BEAM1, 0)
