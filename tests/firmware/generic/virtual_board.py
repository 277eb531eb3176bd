"""A whole board with the generic port in virtual time, as a transport: the host's library talks to it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from fake_board import Console, Profile, load_port
from fake_world import MS, World

from beamfall.link.traits import REAL
from beamfall_board.board import Board as Firmware


class VirtualBoard:
    """Follows `beamfall.link.transport.Transport`. `world` is what is connected to the pins."""

    def __init__(
        self, kind: str, folder: Path | None = None, profile: Any = None, **options: Any
    ) -> None:
        self.world = World(kind, **options)
        self.console = Console()
        self.profile = profile or Profile()
        self.port = load_port(self.world)(self.profile, self.console)
        self.port.outputs_off()
        self.firmware = Firmware(self.port, self.profile, folder=str(folder) if folder else None)
        self._writes = 0
        # Soft handlers wait that long, now and then, when the host has asked: a collection.
        self.garbage_ns = 0

    traits = REAL

    @property
    def name(self) -> str:
        return "virtual board"

    def clock(self) -> float:
        return self.world.now / 1e9

    def _run(self, seconds: float, until_output: bool) -> None:
        end = self.world.now + round(seconds * 1e9)
        while True:
            self.firmware.step()
            if (until_output and self.console.to_host) or self.world.now >= end:
                return
            left_ms = max(1, (end - self.world.now) // MS)
            self.port.idle(min(self.firmware.wake_ms(), left_ms))

    def read(self, timeout_s: float) -> bytes:
        self._run(timeout_s, True)
        data = bytes(self.console.to_host)
        self.console.to_host = bytearray()
        return data

    def write(self, data: bytes) -> None:
        self.console.to_board += data
        self._writes += 1
        if self.garbage_ns and self._writes % 12 == 0:
            self.world.blocked_until = self.world.now + self.garbage_ns

    def sleep(self, seconds: float) -> None:
        self._run(seconds, False)

    def close(self) -> None:
        pass
