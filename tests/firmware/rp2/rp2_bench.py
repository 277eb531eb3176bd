"""A bench: the firmware's rp2 port on an emulated chip, with doubles of the modules that MicroPython would give it."""

from __future__ import annotations

import builtins
import importlib
import sys
import types
import weakref
from pathlib import Path
from typing import Any

from emulated_chip import Chip, Pointer, Ram, Registers, make_dma

FIRMWARE = Path(__file__).resolve().parents[3] / "firmware"
CLOCK_HZ = 125_000_000  # the only system clock rp2040py knows
EMULATED_SYNC = -1
SRAM = 0x20000000


class Bench:
    """A chip, a profile and the port on it. `signals` maps the wire's numbers to GPIOs.

    `open_pin_steps` is what the converter shows of the supply's pin while that is pulled up.
    """

    def __init__(
        self,
        monkeypatch: Any,
        board: str = "pico",
        sync: int = EMULATED_SYNC,
        open_pin_steps: int = 0,
        **changes: Any,
    ) -> None:
        self.chip = chip = Chip()
        for name in [n for n in sys.modules if n.split(".")[0] in ("ports", "boards")]:
            monkeypatch.delitem(sys.modules, name)
        if str(FIRMWARE) not in sys.path:
            monkeypatch.syspath_prepend(str(FIRMWARE))
        self.mem32 = Registers(chip)
        free = [SRAM + 0x1000]
        self.buffers: list[weakref.ref[Ram]] = []  # all that was handed out to DMA

        def allocate(words: int, alignment: int = 4) -> tuple[int, Ram, int]:
            address = -(-free[0] // alignment) * alignment
            free[0] = address + 4 * words
            ram = Ram(chip, address - SRAM)
            self.buffers.append(weakref.ref(ram))
            return address, ram, 0

        micropython = types.ModuleType("micropython")
        micropython.__dict__.update(viper=lambda function: function, const=lambda value: value)
        monkeypatch.setitem(sys.modules, "micropython", micropython)
        for word in ("ptr8", "ptr32"):
            monkeypatch.setattr(builtins, word, Any, raising=False)
        machine = types.ModuleType("machine")
        pin = types.SimpleNamespace(OUT=1)
        machine.__dict__.update(
            mem32=self.mem32, mem16=None, freq=lambda: CLOCK_HZ, unique_id=lambda: bytes(8), Pin=pin
        )
        machine.__dict__["ADC"] = lambda _pin: types.SimpleNamespace(
            read_u16=lambda: self.open_pin_steps
        )
        rp2 = types.ModuleType("rp2")
        rp2.__dict__.update(DMA=make_dma(chip))
        monkeypatch.setitem(sys.modules, "machine", machine)
        monkeypatch.setitem(sys.modules, "rp2", rp2)
        monkeypatch.setitem(sys.modules, "uctypes", types.ModuleType("uctypes"))
        console = types.ModuleType("ports.console")
        console.__dict__["Console"] = lambda _room: None
        monkeypatch.setitem(sys.modules, "ports.console", console)
        monkeypatch.setitem(sys.modules, "ports.maintenance", types.ModuleType("ports.maintenance"))
        memory = importlib.import_module("ports.rp2.memory")
        monkeypatch.setattr(memory, "allocate", allocate)
        monkeypatch.setattr(memory, "point_to", lambda address: Pointer(chip, address))
        monkeypatch.setattr(memory, "read", lambda pointer: pointer[0])
        self.module = importlib.import_module("ports.rp2.port")
        clock = types.SimpleNamespace(
            ticks_us=lambda: chip.now // 125,
            ticks_diff=lambda a, b: a - b,
            ticks_ms=lambda: chip.now // 125000,
        )
        monkeypatch.setattr(self.module, "time", clock)
        self.open_pin_steps = open_pin_steps
        analogue = importlib.import_module("ports.rp2.analogue")
        waiting = types.SimpleNamespace(sleep_us=lambda us: chip.run(125 * us))
        monkeypatch.setattr(analogue, "time", waiting)
        loaded = importlib.import_module(f"boards.{board}")
        self.profile = types.SimpleNamespace(
            **{k: v for k, v in vars(loaded).items() if k.isupper()}
        )
        for key, value in changes.items():
            setattr(self.profile, key, value)
        self.profile.LED = None
        self.pin = {s: e[0] for s, e in {**self.profile.OUTPUTS, **self.profile.INPUTS}.items()}
        for signal in self.profile.INPUTS:
            self.line(signal, 0)
        self.port = self.module.Port(self.profile, sync)

    def level_of(self, signal: int, on: int) -> int:
        """The pin's level for a line that is on, dark (1) or off, clear (0)."""
        _pin, on_high = {**self.profile.OUTPUTS, **self.profile.INPUTS}[signal][:2]
        return on if on_high else 1 - on

    def line(self, signal: int, on: int, cycle: int | None = None) -> None:
        self.chip.drive(self.pin[signal], self.level_of(signal, on), cycle)

    def table(
        self, rows: list[tuple[int, int, int, int, int]], **head: Any
    ) -> types.SimpleNamespace:
        """Rows of (anchor, count, output, delay, width), in ticks, in the shape of beamfall_board/table.py."""
        columns = (
            list(zip(*sorted(rows, key=lambda r: (r[0], r[1], r[3], r[2])), strict=True))
            or [[]] * 5
        )
        awaits = [max([r[1] for r in rows if r[0] == beam], default=0) for beam in (1, 2)]
        values = {
            "window": 0,
            "tail": 0,
            "blanking": 0,
            "dwell": 0,
            "beam_edge": (1, 1),
            "awaits": awaits,
        }
        values.update(head)
        return types.SimpleNamespace(
            rows=len(rows), anchor=columns[0], count=columns[1], output=columns[2], delay=columns[3], width=columns[4],
            **values,
        )  # fmt: skip

    def release(self, rows: list[tuple[int, int, int, int, int]], **head: Any) -> int:
        """Load and start; return the cycle in which the zero rises."""
        assert self.port.load(self.table(rows, **head)) == 0, (
            self.port.fault_row,
            self.port.fault_detail,
        )
        return self.start()

    def start(self) -> int:
        before = len(self.zeros())
        self.port.start()
        assert len(self.zeros()) == before + 1
        return self.zeros()[-1]

    def zeros(self) -> list[int]:
        return self.chip.output_edges(self.profile.ZERO_PIN, 1)

    def on_times(self, signal: int, zero: int = 0) -> list[tuple[int, int]]:
        """(on, off) of every pulse of an output, in cycles after `zero`."""
        high = self.level_of(signal, 1)
        pulses, begun = [], None
        for cycle, gpio, level in self.chip.edges:
            if gpio == self.pin[signal] and cycle >= zero:
                if level == high:
                    begun = cycle - zero
                elif begun is not None:
                    pulses.append((begun, cycle - zero))
                    begun = None
        return pulses

    def stamps(self) -> list[tuple[int, int, int]]:
        """(signal, level, ticks) of every edge waiting."""
        taken = []
        while self.port.next_edge():
            assert self.port.edge_mark & 2
            taken.append((self.port.edge_signal, self.port.edge_mark & 1, self.port.edge_ticks))
        return taken
