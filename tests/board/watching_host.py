"""A host in the emulator's own time, which watches a beam whose edges come at one rate after another: a scenario.

It answers after 1 ms, as a computer on USB does. Arguments (K=V):

    rates     edges a second, one watch after another: 2000,4000
    for_ms    how long each watch gets edges, 300
    settle_ms not counted at the start of each, 100: buffers fill meanwhile
"""

from __future__ import annotations

import runpy
from pathlib import Path
from typing import Any

from beamfall.wire import Frame, Framer, Message, encode_frame, get_codec

PROFILE = Path(__file__).resolve().parents[2] / "firmware" / "boards" / "pico.py"
BEAM = 9
SESSION = 0x0505
ANSWER_NS = 1e6
START_NS = 300e6


class WatchingHost:
    def __init__(self, board: Any) -> None:
        self.board = board
        profile = runpy.run_path(str(PROFILE))
        pin, level, _ = profile["INPUTS"][BEAM]
        self.pin, self.clear = pin, 1 - level
        self.rates = [int(rate) for rate in board.args["rates"].split(",")]
        self.for_ns = 1e6 * float(board.args.get("for_ms", 300))
        self.settle_ns = 1e6 * float(board.args.get("settle_ms", 100))
        self.codec = get_codec()
        self.framer = Framer(self.codec.definition)
        self.sent = 0
        self.answered = 0
        self.next_report = 0
        self.acknowledging = False
        self.begun_ns = 0.0
        self.edges = 0
        self.carried = 0
        self.found: list[dict[str, Any]] = []
        for signal in (9, 10, 11, 12):
            number, high, _ = profile["INPUTS"][signal]
            board.drive(number, 1 - high)
        board.at(START_NS, self.hello)

    def send(self, message: Message, number: int) -> None:
        frame = self.codec.make_frame(message, session=SESSION, number=number)
        self.board.send(b"\0" + encode_frame(frame, self.codec.definition))

    def request(self, name: str, **fields: Any) -> None:
        self.sent += 1
        self.send(Message(name, fields), self.sent)

    def hello(self) -> None:
        if not self.answered:
            self.sent = 0
            self.request("hello", definition=self.codec.definition.digest)
            self.board.at(self.board.now + 100e6, self.hello)

    def heard(self, data: bytes) -> None:
        for found in self.framer.feed(data):
            if isinstance(found, Frame) and found.session == SESSION:
                self.take(found, self.codec.decode_frame(found))

    def take(self, frame: Frame, message: Any) -> None:
        name = message.name
        if name == "welcome" and not self.answered:
            self.next_report = message.fields["oldest_report"]
            self.begin()
        if frame.number == self.sent and frame.message < 0x80:
            self.answered = self.sent
        if frame.message < 0x80 or (frame.number != self.next_report and name != "forgotten"):
            return
        self.next_report = frame.number + 1
        if not self.acknowledging:
            self.acknowledging = True
            self.board.at(self.board.now + ANSWER_NS, self.acknowledge)
        if name == "edges":
            self.edges += len(message.fields["edges"])
            passed = self.board.now - self.begun_ns
            if self.settle_ns <= passed <= self.for_ns:
                self.carried += len(message.fields["edges"])
        elif name == "forgotten":
            self.found_now["reports_forgotten"] = message.fields["reports"]
        elif name == "shot_done":
            self.found_now |= {
                "arrived": self.edges, "lost_by_hardware": message.fields["edges_lost"],
                "carried_a_second": round(self.carried / (self.for_ns - self.settle_ns) * 1e9),
            }  # fmt: skip
            self.found.append(self.found_now)
            self.begin()

    def acknowledge(self) -> None:
        """Send one notice for everything that has arrived, as the library does."""
        self.acknowledging = False
        self.send(Message("acknowledge", {"through": self.next_report - 1}), 0)

    def begin(self) -> None:
        if not self.rates:
            self.board.stop()
            return
        self.edges = self.carried = 0
        self.found_now = {"rate": self.rates.pop(0), "sent": 0}
        self.board.at(self.board.now + ANSWER_NS, lambda: self.request("watch", on=1))
        self.begun_ns = self.board.now + 10e6
        self.board.at(self.begun_ns, self.next_edge)

    def next_edge(self) -> None:
        now = self.board.now
        rate = self.found_now["rate"]
        if now - self.begun_ns >= self.for_ns and self.found_now["sent"] % 2 == 0:
            self.board.at(now + 400e6, lambda: self.request("watch", on=0))
            return
        self.found_now["sent"] += 1
        self.board.drive(self.pin, self.clear ^ self.found_now["sent"] & 1)
        self.board.at(now + 1e9 / rate, self.next_edge)


_host: list[WatchingHost] = []


def setup(board: Any) -> None:
    _host.append(WatchingHost(board))


def on_console(data: bytes, t_ns: float, board: Any) -> None:
    _host[0].heard(data)


def finish(board: Any) -> dict[str, Any]:
    return {"watches": _host[0].found, "clock_ns": board.now}
