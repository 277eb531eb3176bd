"""A double of the rig at the pins of an emulated board: a scenario for the emulator that DEVELOPERS.md names.

A valve pulse is answered with a beam that goes dark after a fall and stays so while the drop passes; a flash contact
is answered with light. Times are scattered on purpose, and lie off the grid of the board's clock. What the pins did is
recorded by the emulator, outside the firmware. Arguments (K=V):

    profile   path of the board's profile (firmware/boards/pico.py when not given)
    fall_us   from the valve's opening to the beam, 3000
    scatter_us  standard deviation of that, 50
    dark_us   how long a drop is in the beam, 1500
    seed      of all chance, 1
    stop      path of a file: when it is there, the emulation ends
    ready     path of a file that is made when a host may speak: 0.3 s after power-up
    drops     0: the rig lies still
    hello     bytes in hex that a host sends 0.3 s after power-up and again every 0.1 s until the board speaks; no
              operating system has found a new USB device earlier
    bursts    how many bursts of 200 edges of beam 1 at 50 kHz, 20 ms apart, follow each zero; 0
"""

from __future__ import annotations

import random
import runpy
import sys
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parent))
from scenario_files import watch_files  # noqa: E402

PROFILE = Path(__file__).resolve().parents[2] / "firmware" / "boards" / "pico.py"
VALVES = (1, 2, 3)
FLASHES = (4, 5, 6)
BEAM = 9
LIGHT = 11
INPUTS = (9, 10, 11, 12)
LIGHT_NS = 40_000
HELLO_NS = 300e6


class Rig:
    def __init__(self, board: Any) -> None:
        args = board.args
        profile = runpy.run_path(args.get("profile", str(PROFILE)))
        self.board = board
        self.outputs = {pin: (signal, high) for signal, (pin, high) in profile["OUTPUTS"].items()}
        self.inputs = {
            signal: (pin, bool(level)) for signal, (pin, level, _) in profile["INPUTS"].items()
        }
        self.fall_ns = 1000 * float(args.get("fall_us", 3000))
        self.scatter_ns = 1000 * float(args.get("scatter_us", 50))
        self.dark_ns = 1000 * float(args.get("dark_us", 1500))
        self.drops = args.get("drops", "1") != "0"
        self.bursts = int(args.get("bursts", 0))
        self.zero = profile.get("ZERO_PIN")
        self.first_byte_ns: float | None = None
        self.hello = bytes.fromhex(args.get("hello", ""))
        self.chance = random.Random(int(args.get("seed", 1)))
        for signal in INPUTS:
            self.line(signal, 0, None)
        watch_files(board)
        if self.hello:
            board.at(HELLO_NS, self.say_hello)

    def line(self, signal: int, on: int, at_ns: float | None) -> None:
        pin, on_high = self.inputs[signal]
        self.board.drive(pin, on if on_high else 1 - on, at_ns)

    def say_hello(self) -> None:
        if self.first_byte_ns is None:
            self.board.send(self.hello)
            self.board.at(self.board.now + 100e6, self.say_hello)

    def make_bursts(self, begin_ns: float, left: int) -> None:
        """Make 200 edges, and plan the next burst only then: the emulator is slow with many alarms at once."""
        for pulse in range(100):
            dark = begin_ns + pulse * 40e3
            self.line(BEAM, 1, dark)
            self.line(BEAM, 0, dark + 20e3)
        if left > 1:
            self.board.at(begin_ns + 23e6, lambda: self.make_bursts(begin_ns + 24e6, left - 1))

    def output_changed(self, pin: int, level: int, t_ns: float) -> None:
        if pin == self.zero and level and self.bursts:
            self.make_bursts(t_ns + 5e6 + 3, self.bursts)
        if pin not in self.outputs:
            return
        signal, on_high = self.outputs[pin]
        if bool(level) != bool(on_high):
            return
        if signal in VALVES and self.drops:
            dark = t_ns + max(10_000.0, self.chance.gauss(self.fall_ns, self.scatter_ns))
            self.line(BEAM, 1, dark)
            self.line(BEAM, 0, dark + self.dark_ns)
        elif signal in FLASHES:
            self.line(LIGHT, 1, t_ns + 1000)
            self.line(LIGHT, 0, t_ns + 1000 + LIGHT_NS)


_rig: list[Rig] = []


def setup(board: Any) -> None:
    _rig.append(Rig(board))


def on_edge(gpio: int, level: int, t_ns: float, board: Any) -> None:
    if _rig:
        _rig[0].output_changed(gpio, level, t_ns)


def on_console(data: bytes, t_ns: float, board: Any) -> None:
    if _rig and _rig[0].first_byte_ns is None:
        _rig[0].first_byte_ns = t_ns


def finish(board: Any) -> dict[str, Any]:
    rig = _rig[0]
    return {
        "first_byte_ns": rig.first_byte_ns,
        "outputs": {str(pin): signal for pin, (signal, _) in rig.outputs.items()},
        "inputs": {str(pin): signal for signal, (pin, _) in rig.inputs.items()},
    }
