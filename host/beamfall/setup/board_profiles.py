"""Profiles of boards: reads a profile file safely, and finds what is wrong with it before a board gets it.

A profile is a Python module of constants (firmware/boards/README.md). It is read here as literals, never run: a
profile from somewhere else can be checked without trusting it.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

from beamfall.errors import BoardProfileError, KeyProblem
from beamfall.resources import find_firmware
from beamfall.setup.signals import INPUTS, OUTPUTS, SignalKind

OUTPUT_NAMES = {int(signal): signal.label for signal in OUTPUTS}
INPUT_NAMES = {int(signal): signal.label for signal in INPUTS}
PORTS = ("rp2", "generic", "simulated")
PULLS = (None, "up", "down")
LINE_LEVELS = ("on", "off", None)
_FLASHES = SignalKind.FLASH.signals
_TIMELINE = (*SignalKind.VALVE.signals, *SignalKind.CAMERA.signals)
ANALOGUE = ("COIL_CURRENT", "SUPPLY_VOLTAGE")
_TIMELINE_SPAN = 5  # firmware/ports/rp2/programs.py, TIMELINE_PINS
_STAMPED_SPAN = 16  # firmware/ports/rp2/pins.py, SPAN_MAX
# name: least, most. The longest time on the wire is 2^30 - 1 ticks, 7.1 s at 150 MHz.
_LIMITS = {
    "ROWS_MAX": (1, 255),
    "VALVE_MAX_US": (1, 2_000_000),
    "VALVE_GAP_US": (0, 10_000_000),
    "DUTY_PERCENT": (1, 100),
    "DUTY_WINDOW_MS": (1, 600_000),
    "RINSE_MAX_MS": (1, 7_000),
    "FLASH_MAX_US": (1, 1_000_000),
    "FLASH_GAP_US": (1, 60_000_000),
    "CAMERA_MAX_MS": (1, 60_000),
    "WINDOW_MAX_MS": (1, 60_000),
}
_SHOT_MAX_MS = (2**30 - 1) // 150_000  # MicroPython's clock on the RP2350
# Pins that are not there or belong to the board itself, and why.
# Pico datasheet, section 2.1; Pico W datasheet, section 2.1; Pico 2 datasheet, section 2.1.
_PICO_RESERVED = {
    23: "it switches the mode of the power supply",
    24: "it senses USB power",
    25: "it is the board's own LED",
    29: "it measures the supply voltage",
}
_PICO_W_RESERVED = dict.fromkeys((23, 24, 25, 29), "it belongs to the radio chip")
# ESP32 datasheet, section 2.2 and 2.4: flash memory, input-only pins; the console of MicroPython is on UART 0.
_ESP32_RESERVED = {
    **dict.fromkeys(range(6, 12), "it belongs to the flash memory"),
    **dict.fromkeys((1, 3), "it is the console"),
    **dict.fromkeys((20, 24, 28, 29, 30, 31), "the chip has no such pin"),
}
_ESP32_INPUT_ONLY = range(34, 40)


@dataclass(frozen=True, slots=True)
class Profile:
    """A profile as read: its file and its constants."""

    path: Path
    constants: Mapping[str, Any]

    @property
    def name(self) -> str:
        """The board's name for people."""
        return str(self.constants.get("NAME", self.path.stem))

    @property
    def module(self) -> str:
        """The name under which the firmware finds it."""
        return self.path.stem


def list_profiles() -> list[Path]:
    """Return the files of the profiles that come with the firmware."""
    folder = find_firmware() / "boards"
    return sorted(path for path in folder.glob("*.py") if not path.stem.startswith("_"))


def find_profile(name: str) -> Profile:
    """Return the profile of that name, or of that file when the name ends in .py.

    Raises BoardProfileError when there is none, naming those there are.
    """
    if name.endswith(".py"):
        return read_profile(Path(name))
    known = {path.stem: path for path in list_profiles()}
    if name not in known:
        raise BoardProfileError(
            f"there is no profile '{name}'; there are {', '.join(known)}, or give the path of your own file"
        )
    return read_profile(known[name])


def read_profile(path: Path) -> Profile:
    """Read a profile's constants without running it. Raises BoardProfileError with file and line."""
    try:
        tree = ast.parse(path.read_text(encoding="utf-8"), str(path))
    except OSError as error:
        raise BoardProfileError(f"{path} cannot be read: {error.strerror}") from error
    except (SyntaxError, ValueError, RecursionError, MemoryError) as error:
        line = getattr(error, "lineno", None)
        raise BoardProfileError(f"{path}:{line or 1}: not Python: {error}") from error
    constants: dict[str, Any] = {}
    for node in tree.body:
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            continue  # a docstring
        if isinstance(node, ast.ImportFrom):
            constants.update(_take_from(path, node))
        else:
            name, value = _read_line(path, node)
            constants[name] = value
    return Profile(path, constants)


def _read_line(path: Path, node: ast.stmt) -> tuple[str, Any]:
    target = node.targets[0] if isinstance(node, ast.Assign) and len(node.targets) == 1 else None
    if not isinstance(node, ast.Assign) or not isinstance(target, ast.Name):
        raise BoardProfileError(
            f"{path}:{node.lineno}: a profile holds only lines like NAME = value, and "
            "`from boards.pico import NAME` for what it shares with another"
        )
    try:
        return target.id, ast.literal_eval(node.value)
    except (ValueError, TypeError, SyntaxError, RecursionError) as error:
        raise BoardProfileError(
            f"{path}:{node.lineno}: {target.id} must be written out as a value, not computed"
        ) from error


def _take_from(path: Path, node: ast.ImportFrom) -> dict[str, Any]:
    """The constants that a profile shares with one that comes with the firmware."""
    known = {f"boards.{other.stem}": other for other in list_profiles() if other.stem != path.stem}
    other = known.get(node.module or "") if node.level == 0 else None
    if other is None or any(alias.asname for alias in node.names):
        raise BoardProfileError(
            f"{path}:{node.lineno}: a profile takes names only from profiles of the firmware: "
            + ", ".join(known)
        )
    shared = read_profile(other).constants
    missing = [alias.name for alias in node.names if alias.name not in shared]
    if missing:
        raise BoardProfileError(f"{path}:{node.lineno}: {node.module} has no {', '.join(missing)}")
    return {alias.name: shared[alias.name] for alias in node.names}


def check_profile(profile: Profile) -> None:
    """Raise BoardProfileError naming everything that is wrong with a profile."""
    problems = list(find_problems(profile))
    if problems:
        raise BoardProfileError(
            f"{profile.path}: " + "; ".join(one.text for one in problems), problems=tuple(problems)
        )


def find_problems(profile: Profile) -> Iterator[KeyProblem]:
    """Yield what is wrong with a profile, each with its cure; nothing when it can be used.

    The key of a pin is its place in the profile: `OUTPUTS[1]`, `MARK_PINS[0]`, `LED`.
    """
    found = profile.constants
    yield from _find_head_problems(found)
    yield from _find_limit_problems(found)
    lines = list(_find_line_problems(found))
    yield from lines
    if lines:
        return  # the pins cannot be told
    used = list(_list_pins(found))
    yield from _find_doubled(used)
    yield from _find_unusable(found, used)
    if found.get("PORT") == "rp2":
        yield from _find_layout_problems(found)


def _miss(key: str, expected: str) -> KeyProblem:
    return KeyProblem(key, None, expected, f"{key} is missing; it must be {expected}")


def _say_value(key: str, found: object, expected: str, *, of: str = "") -> KeyProblem:
    whose = f" ({of})" if of else ""
    return KeyProblem(key, found, expected, f"{key}{whose} is {found!r}; it must be {expected}")


def _find_head_problems(found: Mapping[str, Any]) -> Iterator[KeyProblem]:
    if not isinstance(found.get("NAME"), str) or not found["NAME"]:
        yield _miss("NAME", "a text for people")
    elif len(found["NAME"].encode()) > 96:
        text = "NAME is longer than the 96 bytes that the wire can carry"
        yield KeyProblem("NAME", found["NAME"], "at most 96 bytes", text)
    if found.get("PORT") not in PORTS:
        yield _say_value("PORT", found.get("PORT"), f"one of {', '.join(PORTS)}")
    if found.get("PORT") == "rp2" and found.get("CHIP") not in ("rp2040", "rp2350"):
        text = f"CHIP is {found.get('CHIP')!r}; the rp2 port knows rp2040 and rp2350"
        yield KeyProblem("CHIP", found.get("CHIP"), "rp2040 or rp2350", text)
    for line in ("DTR", "RTS"):
        if line in found and found[line] not in LINE_LEVELS:
            yield _say_value(line, found[line], '"on", "off" or None')


def _find_limit_problems(found: Mapping[str, Any]) -> Iterator[KeyProblem]:
    for name, (least, most) in _LIMITS.items():
        value = found.get(name)
        if name not in found:
            yield _miss(name, f"from {least} to {most}")
        elif isinstance(value, bool) or not isinstance(value, int) or not least <= value <= most:
            yield _say_value(name, value, f"a whole number from {least} to {most}")
    camera = found.get("CAMERA_MAX_MS")
    if found.get("CHIP") == "rp2350" and isinstance(camera, int) and camera > _SHOT_MAX_MS:
        longest = f"at most {_SHOT_MAX_MS} ms"
        text = f"CAMERA_MAX_MS is {camera}; a shot on an rp2350 is {longest} long (2^30 ticks of 150 MHz)"
        yield KeyProblem("CAMERA_MAX_MS", camera, longest, text)
    watchdog = found.get("WATCHDOG_MS", 0)
    if not isinstance(watchdog, int) or not (watchdog == 0 or 1000 <= watchdog <= 8300):
        yield _say_value("WATCHDOG_MS", watchdog, "0 (none) or from 1000 to 8300")


def _is_pin(pin: Any) -> bool:
    return isinstance(pin, str) or (isinstance(pin, int) and not isinstance(pin, bool) and pin >= 0)


def _find_line_problems(found: Mapping[str, Any]) -> Iterator[KeyProblem]:
    """Problems of form: after these have been ruled out, every pin is a pin."""
    for name, signals, size in (("OUTPUTS", OUTPUT_NAMES, 2), ("INPUTS", INPUT_NAMES, 3)):
        lines = found.get(name)
        if not isinstance(lines, dict) or (name == "OUTPUTS" and not lines):
            yield _miss(name, "a dictionary from a signal's number to its pin")
            continue
        for signal, entry in lines.items():
            where = f"{name}[{signal!r}]"
            if signal not in signals:
                known = ", ".join(f"{number} ({text})" for number, text in signals.items())
                text = f"{where}: there is no such signal; there are {known}"
                yield KeyProblem(where, entry, f"one of {known}", text)
            elif not isinstance(entry, tuple) or len(entry) != size or not _is_pin(entry[0]):
                shape = "(pin, active high)" if size == 2 else "(pin, level when dark or on, pull)"
                yield _say_value(where, entry, shape, of=signals[signal])
            elif entry[1] not in (0, 1):
                yield _say_value(where, entry[1], "0 or 1", of=f"level of {signals[signal]}")
            elif size == 3 and entry[2] not in PULLS:
                yield _say_value(
                    where, entry[2], '"up", "down" or None', of=f"pull of {signals[signal]}"
                )
    led = found.get("LED")
    if led is not None and not (isinstance(led, tuple) and len(led) == 2 and _is_pin(led[0])):
        yield _say_value("LED", led, "(pin, active high) or None")
    yield from _find_analogue_problems(found)
    if found.get("PORT") == "rp2":
        if not isinstance(found.get("ZERO_PIN"), int):
            yield _miss("ZERO_PIN", "a GPIO that is left unconnected")
        marks = found.get("MARK_PINS")
        if (
            not isinstance(marks, tuple)
            or len(marks) != 2
            or not all(isinstance(m, int) for m in marks)
        ):
            yield _miss("MARK_PINS", "two GPIOs that are left unconnected, for beam 1 and beam 2")


def _find_analogue_problems(found: Mapping[str, Any]) -> Iterator[KeyProblem]:
    given = [name for name in ANALOGUE if name in found]
    if len(given) == 1:
        both = " and ".join(ANALOGUE)
        text = f"{given[0]} is given alone; give {both}, or neither"
        yield KeyProblem(given[0], found[given[0]], f"{both}, or neither", text)
    for name in given:
        entry = found[name]
        whole = isinstance(entry, tuple) and len(entry) == 2 and all(type(n) is int for n in entry)
        if not whole or not 26 <= entry[0] <= 28 or entry[1] < 1:
            yield _say_value(name, entry, "(pin 26, 27 or 28, µA or µV for one step)")


class _PinUse(NamedTuple):
    """A pin, what it is for, its kind (output, input, internal or led), and where the profile names it."""

    pin: Any
    purpose: str
    kind: str
    key: str

    def is_wrong(self, text: str, expected: str) -> KeyProblem:
        return KeyProblem(self.key, self.pin, expected, text)


def _list_pins(found: Mapping[str, Any]) -> Iterator[_PinUse]:
    for signal, entry in found["OUTPUTS"].items():
        yield _PinUse(entry[0], OUTPUT_NAMES[signal], "output", f"OUTPUTS[{signal}]")
    for signal, entry in found["INPUTS"].items():
        yield _PinUse(entry[0], INPUT_NAMES[signal], "input", f"INPUTS[{signal}]")
    if found.get("PORT") == "rp2":
        yield _PinUse(found["ZERO_PIN"], "the common zero", "internal", "ZERO_PIN")
        for index, pin in enumerate(found["MARK_PINS"]):
            yield _PinUse(pin, f"the mark of beam {index + 1}", "internal", f"MARK_PINS[{index}]")
    for name in ANALOGUE:
        if name in found:
            yield _PinUse(found[name][0], name, "internal", name)
    if found.get("LED") is not None:
        yield _PinUse(found["LED"][0], "the LED", "led", "LED")


def _find_doubled(used: list[_PinUse]) -> Iterator[KeyProblem]:
    first: dict[Any, str] = {}
    for use in used:
        if use.pin in first:
            yield use.is_wrong(
                f"pin {use.pin} is used twice: for {first[use.pin]} and for {use.purpose}; give one of them another",
                f"another pin than {first[use.pin]} has",
            )
        else:
            first[use.pin] = use.purpose


def _find_unusable(found: Mapping[str, Any], used: list[_PinUse]) -> Iterator[KeyProblem]:
    chip = found.get("CHIP")
    radio = " W" in str(found.get("MACHINE", "")) or " W" in str(found.get("NAME", ""))
    for use in used:
        pin, why = use.pin, None
        if chip in ("rp2040", "rp2350"):
            reserved = _PICO_W_RESERVED if radio else _PICO_RESERVED
            if not isinstance(pin, int) or pin > 29:
                why = "GPIOs are numbers from 0 to 29"
            elif not (use.kind == "led" and pin == 25 and not radio):
                why = reserved.get(pin)
        elif chip == "esp32":
            why = _ESP32_RESERVED.get(pin) or (
                "there is no such pin" if not isinstance(pin, int) or pin > 39 else None
            )
            if why is None and use.kind != "input" and pin in _ESP32_INPUT_ONLY:
                why = "it can only be an input"
        if why:
            yield use.is_wrong(f"pin {pin} cannot be used for {use.purpose}: {why}", "another pin")
    if chip == "rp2350":
        for signal, (pin, _, pull) in found["INPUTS"].items():
            if pull == "down":
                text = (
                    f"pin {pin} ({INPUT_NAMES[signal]}) has an internal pull-down, which erratum E9 of the RP2350 "
                    "makes useless: invert the sensor and pull up, or use 8.2 kilohm to ground outside and say None"
                )
                yield KeyProblem(f"INPUTS[{signal}]", pull, '"up" or None', text)


def _find_layout_problems(found: Mapping[str, Any]) -> Iterator[KeyProblem]:
    outputs = {signal: entry[0] for signal, entry in found["OUTPUTS"].items()}
    stamped = {**outputs, **{signal: entry[0] for signal, entry in found["INPUTS"].items()}}
    if not all(isinstance(pin, int) for pin in stamped.values()):
        return
    low, high = min(stamped.values()), max(stamped.values())
    if high - low >= _STAMPED_SPAN:
        within = f"within {_STAMPED_SPAN} in a row"
        text = (
            f"outputs and inputs reach from pin {low} to pin {high}; one state machine stamps them all, "
            f"so they must lie {within}"
        )
        yield KeyProblem("OUTPUTS, INPUTS", (low, high), within, text)
    for use in _list_pins(found):
        if use.kind in ("internal", "led") and low <= use.pin <= high:
            yield use.is_wrong(
                f"pin {use.pin} ({use.purpose}) lies among the stamped pins {low} to {high}; move it outside",
                f"below {low} or above {high}",
            )
    timeline = {signal: outputs[signal] for signal in _TIMELINE if signal in outputs}
    if not timeline:
        return
    base = min(timeline.values())
    for signal, pin in timeline.items():
        if pin - base >= _TIMELINE_SPAN:
            within = f"within {_TIMELINE_SPAN} pins in a row"
            text = (
                f"pin {pin} ({OUTPUT_NAMES[signal]}) is too far from pin {base}: valves and camera contacts must lie "
                f"{within}"
            )
            yield KeyProblem(f"OUTPUTS[{signal}]", pin, within, text)
    for signal in _FLASHES:
        if signal in outputs and 0 <= outputs[signal] - base < _TIMELINE_SPAN:
            last = base + _TIMELINE_SPAN - 1
            text = (
                f"pin {outputs[signal]} ({OUTPUT_NAMES[signal]}) lies among pins {base} to {last}, "
                "which one state machine drives for valves and camera; move it outside"
            )
            yield KeyProblem(
                f"OUTPUTS[{signal}]", outputs[signal], f"below {base} or above {last}", text
            )
