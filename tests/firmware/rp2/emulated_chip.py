"""An emulated RP2040 without its CPU: PIO, DMA and GPIO, one system clock at a time.

The emulator is rp2040py used as a library. The port's Python runs here, and each of its register accesses lets
ACCESS_CYCLES pass. Its buffers for DMA lie in the emulated RAM.

What the emulator does not model, and what follows for the figures:
 * the two flip-flops at each PIO input and the cycle of the output register: a signal from one block to the other,
   or from a pin to a block and out again, is 3 or 2 + 1 cycles quicker than on the chip. With Port(sync=EMULATED_SYNC)
   the port allows for what the emulator has, and its errors must be 0; with the chip's value they must be constant.
 * cycles of the DMA (its transfers take none), contention on the bus, FIFO join (never used), the refill of an output
   shift register before the OUT that needs it.
 * currents, voltages, pad delays, the RP2350.
"""

from __future__ import annotations

import heapq
import types
from collections.abc import Callable
from typing import Any

from rp2040py.clock.simulation_clock import SimulationClock
from rp2040py.rp2040 import RP2040

CYCLE_NS = 8.0
ACCESS_CYCLES = 12
STAMPER_TOP = 5  # the stamper's wrap target, where nothing is under way
NEVER = 1 << 50


class Chip:
    """PIO, DMA and GPIO of one RP2040 and the time, in cycles since power-up."""

    def __init__(self) -> None:
        self.clock = SimulationClock()
        self.mcu = RP2040(self.clock)
        # An owner: the PIO must not start a loop of its own.
        self.mcu.simulator = types.SimpleNamespace()
        self.now = 0
        # (cycle, gpio, level) of every change of an output pin.
        self.edges: list[tuple[int, int, int]] = []
        self.inputs: list[tuple[int, int, int]] = []
        self.levels: dict[int, int] = {}
        self.skip = True
        self._driven: set[int] = set()
        self._events: list[tuple[int, int, Callable[[], None]]] = []
        self._sequence = 0
        for pin in self.mcu.gpio:
            pin.add_listener(self._listener(pin))

    # -- pins ------------------------------------------------------------------------------------------------
    def _listener(self, pin: Any) -> Callable[[Any, Any], None]:
        gpio = pin.index

        def changed(state: Any, _last: Any) -> None:
            value = int(state)
            if value < 2:
                if self.levels.get(gpio) != value:
                    self.levels[gpio] = value
                    self.edges.append((self.now, gpio, value))
                if gpio not in self._driven:
                    pin.set_input_value(bool(value))  # an output reads back through its own input
            else:
                self.levels.pop(gpio, None)
                if gpio not in self._driven:
                    pin.release_input()

        return changed

    def drive(self, gpio: int, level: int, cycle: int | None = None) -> None:
        """Put a level on an input pin, now or at a cycle to come."""

        def apply() -> None:
            self._driven.add(gpio)
            self.inputs.append((self.now, gpio, level))
            self.mcu.gpio[gpio].set_input_value(bool(level))

        if cycle is None:
            apply()
        else:
            self.at(cycle, apply)

    def at(self, cycle: int, action: Callable[[], None]) -> None:
        self._sequence += 1
        heapq.heappush(self._events, (cycle, self._sequence, action))

    def pulses(
        self, gpio: int, first: int, period: int, count: int, width: int, high: int = 1
    ) -> None:
        for i in range(count):
            self.drive(gpio, high, first + i * period)
            self.drive(gpio, 1 - high, first + i * period + width)

    def output_edges(self, gpio: int, level: int | None = None) -> list[int]:
        return [t for t, g, v in self.edges if g == gpio and (level is None or v == level)]

    # -- time ------------------------------------------------------------------------------------------------
    def run(self, cycles: int) -> None:
        self.run_until(self.now + cycles)

    def run_until(self, target: int) -> None:
        pios = self.mcu.pio
        while True:
            while self._events and self._events[0][0] <= self.now:
                heapq.heappop(self._events)[2]()
            for pio in pios:
                if not pio.stopped and pio.next_due_fp <= pio.cycle_fp:
                    pio.advance(0)
            self.clock.tick(0)
            if self.now >= target:
                return
            step = self._skippable(target) if self.skip else 0
            if not step:
                following = self._events[0][0] if self._events else NEVER
                due = min(self._due(pio) for pio in pios)
                step = max(1, min(target, following, due) - self.now)
            self.now += step
            for pio in pios:
                pio.cycle_fp += step << 8
            self.clock.tick(step * CYCLE_NS)

    def _due(self, pio: Any) -> int:
        if pio.stopped or pio.next_due_fp >= 1 << 60:
            return NEVER
        return self.now + max(1, -(-(pio.next_due_fp - pio.cycle_fp) // 256))

    def _skippable(self, target: int) -> int:
        """How many cycles can pass at once because every machine waits, counts down, or looks at pins at rest.

        This only saves work: `test_bench.py` compares runs with and without it, edge by edge and word by word.
        """
        limit = target - self.now
        if self._events:
            limit = min(limit, self._events[0][0] - self.now)
        counting: list[tuple[Any, bool]] = []
        stampers: list[Any] = []
        for pio in self.mcu.pio:
            if pio.stopped:
                continue
            for machine in pio.machines:
                if not machine.enabled or machine.waiting:
                    continue
                if machine.next_due_fp != pio.cycle_fp + 256:
                    return 0
                opcode = pio.instructions[machine.pc]
                if opcode & 0xE0FF == 0x40 | machine.pc:
                    counting.append((machine, False))
                    limit = min(limit, machine.x - 1)
                elif machine.pc == STAMPER_TOP and opcode == 0xA027 and pio is self.mcu.pio[1]:
                    seen = (self.mcu.gpio_values >> machine.in_base) & (
                        (1 << (pio.instructions[9] & 31)) - 1
                    )
                    if seen != machine.y:
                        return 0
                    stampers.append(machine)
                else:
                    return 0
        if stampers:
            limit -= limit % 7
        if limit < 14:
            return 0
        for machine, _ in counting:
            machine.x -= limit
            machine.next_due_fp += limit << 8
        for machine in stampers:
            machine.output_shift_reg = (machine.output_shift_reg - limit // 7) & 0xFFFFFFFF
            machine.next_due_fp += limit << 8
        for pio in self.mcu.pio:
            pio.recompute_due()
        return limit


class Registers:
    """machine.mem32: each access goes to the bus, and takes as long as a little Python on the board."""

    def __init__(self, chip: Chip) -> None:
        self._chip = chip
        # False: as rp2040py left alone, a pin set by a stopped machine stays as it was.
        self.shows_at_once = True

    def __getitem__(self, address: int) -> int:
        self._chip.run(ACCESS_CYCLES)
        return int(self._chip.mcu.read_uint32(address))

    def __setitem__(self, address: int, value: int) -> None:
        self._chip.run(ACCESS_CYCLES)
        self._chip.mcu.write_uint32(address, value & 0xFFFFFFFF)
        if self.shows_at_once:
            for pio in self._chip.mcu.pio:
                pio.check_changed_pins()


class Ram:
    """What memory.allocate returns: halves of words in the emulated RAM."""

    def __init__(self, chip: Chip, offset: int) -> None:
        self._sram = chip.mcu.sram
        self._offset = offset

    def __getitem__(self, index: int) -> int:
        at = self._offset + 2 * index
        return self._sram[at] | self._sram[at + 1] << 8

    def __setitem__(self, index: int, value: int) -> None:
        if not 0 <= value <= 0xFFFF:
            raise OverflowError(value)
        at = self._offset + 2 * index
        self._sram[at] = value & 0xFF
        self._sram[at + 1] = value >> 8


class Pointer:
    """What memory.point_to returns: words from an address on, in RAM or in registers."""

    def __init__(self, chip: Chip, address: int) -> None:
        self._chip = chip
        self._address = address

    def __getitem__(self, index: int) -> int:
        self._chip.run(1)
        return int(self._chip.mcu.read_uint32(self._address + 4 * index))


# Bits of a channel's control register (RP2040 datasheet, DMA chapter), the defaults those of MicroPython's rp2.DMA.
_FIELDS = {
    "enable": (0, 1), "high_pri": (1, 1), "size": (2, 2), "inc_read": (4, 1), "inc_write": (5, 1), "ring_size": (6, 4),
    "ring_sel": (10, 1), "chain_to": (11, 4), "treq_sel": (15, 6), "irq_quiet": (21, 1), "bswap": (22, 1),
}  # fmt: skip


def make_dma(chip: Chip) -> type:
    """A double of rp2.DMA that writes the emulated registers as MicroPython's does."""
    taken = iter(range(12))

    class DMA:
        def __init__(self) -> None:
            self.channel = next(taken)
            self._base = 0x50000000 + 0x40 * self.channel

        def pack_ctrl(self, **fields: int) -> int:
            value = 1 << 21 | 0x3F << 15 | 1 << 5 | 1 << 4 | 2 << 2 | 1 | self.channel << 11
            for name, field in fields.items():
                shift, width = _FIELDS[name]
                mask = (1 << width) - 1
                if int(field) & ~mask:
                    raise ValueError("bad field value")
                value = value & ~(mask << shift) | int(field) << shift
            return value

        def config(self, *, read: int, write: int, count: int, ctrl: int, trigger: bool) -> None:
            chip.run(ACCESS_CYCLES)
            chip.mcu.write_uint32(self._base + 0x00, read)
            chip.mcu.write_uint32(self._base + 0x04, write)
            chip.mcu.write_uint32(self._base + 0x08, count)
            chip.mcu.write_uint32(self._base + (0x0C if trigger else 0x10), ctrl)
            chip.run(ACCESS_CYCLES)

        def active(self, on: int) -> None:
            if on:
                raise NotImplementedError
            chip.mcu.write_uint32(0x50000444, 1 << self.channel)

    return DMA
