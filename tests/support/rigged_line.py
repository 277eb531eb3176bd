"""A board with the real firmware, a line that can be made bad, and a link: for tests of delivery."""

from __future__ import annotations

import random
from collections.abc import Callable

from beamfall.errors import LinkLost
from beamfall.link import Link, Report
from beamfall.sim.embedded import SimulatedTransport
from beamfall.wire import Frame, Framer, Message, TableMessages, get_codec, make_table_messages

CODEC = get_codec()
HZ = 125_000_000
VALVE1, FLASH1 = 1, 4
ROWS = [(0, 0, VALVE1, 0, HZ // 1000, HZ // 100), (0, 0, FLASH1, 0, HZ // 5, HZ // 1000)]
REST_S = 0.1  # more than the flash's least spacing
SETTINGS = {
    "window_ticks": 0, "tail_ticks": 1000, "blanking_ticks": 0, "dwell_ticks": 0,
    "beam1_edge": 1, "beam2_edge": 1, "await1": 0, "await2": 0,
}  # fmt: skip
TABLE = make_table_messages(CODEC, SETTINGS, ROWS)


class QuietRig:
    """No rig: it only records what the board drives."""

    clock_hz = HZ

    def __init__(self) -> None:
        self.driven: list[tuple[int, int]] = []

    def drive(self, signal: int, level: int, ticks: int) -> None:
        self.driven.append((signal, level))

    def next_edge(self, until: int) -> None:
        return None

    def level(self, signal: int) -> int:
        return 0

    def restart(self) -> None:
        self.driven.append((0, 0))

    def count_openings(self, signal: int) -> int:
        return self.driven.count((signal, 1))


class Line:
    """A transport with something in between: `to_board` and `to_host` may change what passes."""

    def __init__(self, inner: SimulatedTransport) -> None:
        self.inner = inner
        self.traits = inner.traits
        self.to_board: Callable[[bytes], bytes] = bytes
        self.to_host: Callable[[bytes], bytes] = bytes
        self.most = 10_000  # bytes in one read
        self._held = b""
        self.broken = False

    name = "line"

    def read(self, timeout_s: float) -> bytes:
        if self.broken:
            raise LinkLost("the line is cut")
        if not self._held:
            self._held = self.to_host(self.inner.read(timeout_s))
        data, self._held = self._held[: self.most], self._held[self.most :]
        return data

    def write(self, data: bytes) -> None:
        if self.broken:
            raise LinkLost("the line is cut")
        self.inner.write(self.to_board(data))

    def clock(self) -> float:
        return self.inner.clock()

    def sleep(self, seconds: float) -> None:
        self.inner.sleep(seconds)

    def close(self) -> None:
        pass  # the board behind goes on, as when only the cable is pulled


class Rigged:
    """A board, a line and a link to it."""

    def __init__(self, **options: object) -> None:
        self.rig = QuietRig()
        self.line = Line(SimulatedTransport(self.rig, seed=1))
        self.link = Link(self.line, **options)

    def upload(self, table: TableMessages = TABLE) -> None:
        for request in table.requests:
            self.link.request(request)

    def release(self, number: int) -> Message:
        boot_id = self.link.welcome.boot_id
        fields = {"boot_id": boot_id, "release": number, "digest": TABLE.digest}
        return self.link.request(Message("release", fields))

    def pump_until(self, name: str, seconds: float = 60.0) -> list[Report]:
        reports: list[Report] = []
        end = self.line.clock() + seconds
        while self.line.clock() < end:
            reports += self.link.pump(0.5)
            if any(report.name == name for report in reports):
                return reports
        raise AssertionError(f"no {name} in {reports}")


def lose_frames(*names: str, times: int = 1) -> Callable[[bytes], bytes]:
    """Lose whole frames of these messages, that many in all."""
    left = times
    framer = Framer(CODEC.definition)

    def lose(data: bytes) -> bytes:
        nonlocal left
        kept = b""
        for part in data.split(b"\0")[:-1]:
            for item in framer.feed(part + b"\0"):
                named = isinstance(item, Frame) and CODEC.definition.by_id[item.message].name
                if named in names and left:
                    left -= 1
                else:
                    kept += part + b"\0"
        return kept

    return lose


def damage(draw: random.Random, share: float) -> Callable[[bytes], bytes]:
    """Lose, change or add bytes in that share of all transfers."""

    def spoil(data: bytes) -> bytes:
        if not data or draw.random() > share:
            return data
        at = draw.randrange(len(data))
        kind = draw.randrange(4)
        if kind == 0:
            return b""
        if kind == 1:
            return data[:at] + data[at + 1 :]
        if kind == 2:
            return data[:at] + bytes([data[at] ^ 1 << draw.randrange(8)]) + data[at + 1 :]
        return data[:at] + draw.randbytes(draw.randrange(1, 300)) + data[at:]

    return spoil
