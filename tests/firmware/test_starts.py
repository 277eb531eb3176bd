"""How the two ports of real boards start: why the board has restarted, and what the parts get."""

from __future__ import annotations

import importlib
import importlib.util
import sys
from pathlib import Path
from types import ModuleType, SimpleNamespace
from typing import Any

import pytest

from beamfall_board import wire_definition as wire

FIRMWARE = Path(__file__).resolve().parents[2] / "firmware"
# Register REASON in the chapter on the watchdog of the datasheets of RP2040 and RP2350; bit 0 TIMER, bit 1 FORCE.
REASON = {"rp2040": 0x40058008, "rp2350": 0x400D8008}
# SCRATCH0 there.
SCRATCH = {"rp2040": 0x4005800C, "rp2350": 0x400D800C}
# CHIP_ID of SYSINFO there: revision, part, manufacturer.
CHIP_ID = 0x40000000
CHIPS = {"rp2040": 0x2_0002_927, "rp2350": 0x2_0004_927}
POWER_UP, TIMER, FORCED = 0, 1, 2
WDT_RESET, HARD_RESET = 3, 2


class Started(Exception):
    pass


def start(
    monkeypatch: pytest.MonkeyPatch, port: str, chip: str, reason: int, cause: int, scratch: int = 0,
    fitted: str | None = None,
) -> Any:  # fmt: skip
    """Run `ports.<port>.start` up to the main loop; return what the board was made with. `fitted`: the chip that is
    there."""
    for name in [n for n in sys.modules if n.split(".")[0] == "ports"]:
        monkeypatch.delitem(sys.modules, name)
    made = SimpleNamespace(fed=0, off=0, cause=None, room=None, slots=SimpleNamespace())
    registers = {REASON[chip]: reason, SCRATCH[chip]: scratch} if chip in REASON else {}
    registers[CHIP_ID] = CHIPS.get(fitted or chip, 0)
    made.registers = registers
    machine = ModuleType("machine")
    machine.__dict__.update(
        mem32=registers, mem16={}, Pin=None, reset_cause=lambda: cause, WDT_RESET=WDT_RESET
    )
    micropython = ModuleType("micropython")
    micropython.__dict__.update(
        kbd_intr=lambda _: None, alloc_emergency_exception_buf=lambda _: None
    )
    monkeypatch.setitem(sys.modules, "machine", machine)
    monkeypatch.setitem(sys.modules, "micropython", micropython)

    class Console:
        def __init__(self, room: Any = None) -> None:
            made.room = room

    class Port:
        def __init__(self, _profile: Any, console: Any = None) -> None:
            pass

        def start_watchdog(self, timeout_ms: int) -> None:
            assert timeout_ms == 4000

        def feed_watchdog(self) -> None:
            made.fed += 1

        def outputs_off(self) -> None:
            made.off += 1

    class Board:
        def __init__(
            self, _port: Any, _profile: Any, cause: int, folder: str, open_time: Any
        ) -> None:
            made.cause = cause
            made.open_time = open_time
            made.folder = folder
            self.slots = made.slots

        def run(self) -> None:
            raise Started

    for name, content in (
        ("ports.console", {"Console": Console}),
        (f"ports.{port}.port", {"Port": Port}),
        ("beamfall_board.board", {"Board": Board}),
    ):
        module = ModuleType(name)
        module.__dict__.update(content)
        monkeypatch.setitem(sys.modules, name, module)
    profile = SimpleNamespace(
        CHIP=chip, WATCHDOG_MS=4000, INPUTS={}, DUTY_WINDOW_MS=10_000, DUTY_PERCENT=30
    )
    with pytest.raises(Started):
        importlib.import_module(f"ports.{port}.start").run(profile)
    assert made.off == 1
    return made


@pytest.mark.parametrize("chip", ["rp2040", "rp2350"])
@pytest.mark.parametrize("port", ["rp2", "generic"])
def test_a_pico_that_was_told_to_restart_does_not_say_watchdog(
    monkeypatch: pytest.MonkeyPatch, port: str, chip: str
) -> None:
    """machine.reset() uses the watchdog there, and reset_cause() then says WDT_RESET (MicroPython 1.28, ports/rp2,
    modmachine.c): only the register knows."""
    for reason, said, cause in (
        (POWER_UP, HARD_RESET, wire.CAUSE_RESTARTED),
        (FORCED, WDT_RESET, wire.CAUSE_RESTARTED),
        (TIMER, WDT_RESET, wire.CAUSE_WATCHDOG),
    ):
        assert start(monkeypatch, port, chip, reason, said).cause == cause, (reason, said)


@pytest.mark.parametrize("chip", ["rp2040", "rp2350"])
@pytest.mark.parametrize("port", ["rp2", "generic"])
def test_a_profile_for_the_other_chip_is_refused_before_any_register_is_touched(
    monkeypatch: pytest.MonkeyPatch, port: str, chip: str
) -> None:
    other = "rp2350" if chip == "rp2040" else "rp2040"
    with pytest.raises(ValueError, match=chip):
        start(monkeypatch, port, chip, POWER_UP, HARD_RESET, fitted=other)


@pytest.mark.parametrize(
    ("machine", "name"),
    [
        ("Raspberry Pi Pico with RP2040", "pico"),
        ("Raspberry Pi Pico2 with RP2350", "pico2"),
        ("Raspberry Pi Pico2 with RP2350-RISCV", "pico2"),
        ("Raspberry Pi Pico 2 W with RP2350", "pico2_w"),
        ("Somebody's board with RP2350", None),
        ("Somebody's board with RP2040", None),
    ],
)
def test_a_board_is_recognised_by_its_whole_name_or_not_at_all(
    monkeypatch: pytest.MonkeyPatch, machine: str, name: str | None
) -> None:
    spec = importlib.util.spec_from_file_location("main_of_a_board", FIRMWARE / "main.py")
    assert spec is not None and spec.loader is not None
    main = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(main)
    monkeypatch.setattr(sys, "platform", "rp2")
    monkeypatch.setattr("os.uname", lambda: SimpleNamespace(machine=machine))
    if name is None:
        with pytest.raises(ValueError, match="--board"):
            main.board_name()
    else:
        assert main.board_name() == name


@pytest.mark.parametrize("chip", ["stm32", "esp32"])
def test_other_chips_are_asked_by_their_interpreter(
    monkeypatch: pytest.MonkeyPatch, chip: str
) -> None:
    for said, cause in ((HARD_RESET, wire.CAUSE_RESTARTED), (WDT_RESET, wire.CAUSE_WATCHDOG)):
        assert start(monkeypatch, "generic", chip, 0, said).cause == cause


@pytest.mark.parametrize(("port", "chip"), [("rp2", "rp2040"), ("generic", "stm32")])
def test_the_slots_feed_the_watchdog(monkeypatch: pytest.MonkeyPatch, port: str, chip: str) -> None:
    made = start(monkeypatch, port, chip, 0, HARD_RESET)
    made.slots.between_steps()
    assert made.fed == 1


def test_each_chip_writes_as_much_as_its_line_is_known_to_take(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    assert start(monkeypatch, "generic", "rp2040", 0, HARD_RESET).room.__name__ == "usb_room"
    assert start(monkeypatch, "generic", "stm32", 0, HARD_RESET).room() == 64
    assert start(monkeypatch, "generic", "esp32", 0, HARD_RESET).room is None


@pytest.mark.parametrize("chip", ["rp2040", "rp2350"])
@pytest.mark.parametrize("port", ["rp2", "generic"])
def test_a_pico_keeps_how_long_its_valves_were_open_where_a_restart_leaves_it(
    monkeypatch: pytest.MonkeyPatch, port: str, chip: str
) -> None:
    made = start(monkeypatch, port, chip, POWER_UP, HARD_RESET)
    assert made.open_time.before_ms == 0, "the supply was off: the register is 0"
    made.open_time.keep(2_345)
    kept = made.registers[SCRATCH[chip]]
    assert kept < 2**30, "a small integer of the interpreter: keeping it allocates nothing"
    assert start(monkeypatch, port, chip, TIMER, WDT_RESET, kept).open_time.before_ms == 2_345
    made.open_time.keep(200_000)
    assert made.registers[SCRATCH[chip]] == kept >> 16 << 16 | 0xFFFF
    for other in (2_345, 0xFFFFFFFF, 0x6AB73121, 0xB007C0D3):
        again = start(monkeypatch, port, chip, FORCED, WDT_RESET, other)
        assert again.open_time.before_ms == 0, "what some other program has left there"


@pytest.mark.parametrize("chip", ["stm32", "esp32"])
def test_where_nothing_is_kept_the_watchdog_s_restart_takes_the_whole_share_as_used(
    monkeypatch: pytest.MonkeyPatch, chip: str
) -> None:
    assert start(monkeypatch, "generic", chip, 0, HARD_RESET).open_time.before_ms == 0
    late = start(monkeypatch, "generic", chip, 0, WDT_RESET).open_time
    late.keep(7)
    assert late.before_ms == 3_000
