"""What follows from an answer, in figures a photographer can picture, and what is doubtful about a rig."""

from __future__ import annotations

import shlex
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from beamfall.errors import BeamfallError, RigFileError
from beamfall.physics.drops import compute_volume, dripping_volume
from beamfall.physics.fall import FallResult, fall
from beamfall.physics.liquids import WATER, Liquid
from beamfall.planning.learned import find_file, load_learned
from beamfall.planning.make import make_plan
from beamfall.planning.setting import Setting, compute_drop, compute_flow, make_setting
from beamfall.setup.rig import Rig, parse_rig
from beamfall.setup.toml_file import read_toml
from beamfall.setup.unit_words import format_duration, format_ms

_LOW_NOZZLE_M = 0.3  # lower nozzles make low jets (common practice, no source)
_USUAL_OPENING_S = 0.04  # a longer opening pours a stream (common practice, no source)

# Keys that a file may leave out, and what that costs.
_GUESSED = {
    "valve.outer_diameter": "missing, so it is unknown whether the nozzle can release such drops; measure its mouth",
    "flash.duration": "missing; a shoe flash at 1/64 power is assumed. Enter the duration that the flash's manual "
    "gives for your power",
    "camera.pixel": "missing; 4 µm is assumed. Divide the sensor's width by the pixels across it",
    "camera.magnification": "missing; half life size is assumed. Photograph a ruler and count the pixels it covers",
}


@dataclass(frozen=True)
class Doubt:
    """Something missing or doubtful in a rig file. `key` and `line` say where; line 0: it is not in the file."""

    key: str
    text: str
    wrong: bool = False
    line: int = 0


def describe_answer(key: str, rig: Rig) -> list[str]:
    """Return what follows from the answer to a question, for the rig so far; empty if nothing is worth saying."""
    try:
        return list(_describe(key, rig, make_setting(rig)))
    except BeamfallError as error:
        return [str(error)]


def _describe(key: str, rig: Rig, setting: Setting) -> Iterator[str]:
    valve = rig.valves[0]
    flow = compute_flow(valve, setting)
    if key == "valve[1].height":
        end = _fall_by(rig, setting, valve.height_m)
        yield f"A drop falls this far in {end.time_s * 1e3:.0f} ms and strikes at {end.speed_m_s:.1f} m/s."
        if valve.height_m < _LOW_NOZZLE_M:
            yield "This is low: jets stay small. 40 to 70 cm gives taller ones."
    elif key == "valve[1].head":
        volume = dripping_volume(0.5 * valve.bore_m, setting.liquid, gravity=setting.gravity)
        yield (
            f"A {valve.bore_m * 1e3:g} mm bore under {valve.head_m * 100:g} cm of liquid pours "
            f"{flow.steady_m3_s * 1e6:.1f} µL per millisecond once it flows: one drop takes "
            f"{format_duration(round(flow.find_opening(volume), 4))}."
        )
    elif key == "valve[1].opening":
        diameter = compute_drop(valve, setting)
        yield f"That makes a drop of {compute_volume(diameter) * 1e9:.3g} µL, {diameter * 1e3:.1f} mm across."
        if valve.opening_s > _USUAL_OPENING_S:
            yield "This is long for one drop: expect a stream. A wider bore or more head needs less time."
    elif key == "beam[1].height":
        beam = rig.beams[0]
        end = _fall_by(rig, setting, valve.height_m - beam.height_m)
        diameter = compute_drop(valve, setting)
        dark_s = (diameter + beam.width_m) / end.speed_m_s
        yield (
            f"The drop reaches the beam {end.time_s * 1e3:.0f} ms after it comes free, at {end.speed_m_s:.1f} m/s, "
            f"and blocks it for {dark_s * 1e3:.1f} ms."
        )
    elif key == "flash[1].duration":
        flash = rig.flashes[0]
        end = _fall_by(rig, setting, valve.height_m)
        moved = end.speed_m_s * flash.duration_s
        yield f"In {format_duration(flash.duration_s)} the drop falls {moved * 1e3:.2g} mm."
    elif key == "liquid":
        yield from _describe_liquid(setting.liquid)
    elif key == "camera.magnification" and rig.camera is not None:
        seen_m = rig.camera.pixel_m / rig.camera.magnification
        yield f"One pixel is {seen_m * 1e6:.0f} µm of the scene."


def _describe_liquid(liquid: Liquid) -> Iterator[str]:
    if liquid == WATER:
        return
    thick, pull = liquid.viscosity_pa_s * 1e3, liquid.surface_tension_n_m * 1e3
    yield (
        f"{liquid.name[:1].upper()}{liquid.name[1:]}: viscosity {thick:.2g} mPa·s (water: 1), "
        f"surface tension {pull:.0f} mN/m (water: 73)."
    )
    if liquid.unknown:
        yield "Some of these are typical values, so the plan is less certain. A search still finds the picture."


def _fall_by(rig: Rig, setting: Setting, height_m: float) -> FallResult:
    return fall(height_m, compute_drop(rig.valves[0], setting), setting.conditions)


def check_file(path: Path) -> list[Doubt]:
    """Return everything wrong, missing or doubtful in a rig file, what is wrong first.

    Raises RigFileError for a file that cannot be read as TOML.
    """
    content = read_toml(path, "rig file", RigFileError)
    lines = path.read_text(encoding="utf-8").splitlines()
    try:
        rig = parse_rig(content, str(path), default_name=path.stem)
    except RigFileError as error:
        return [
            Doubt(problem.key, problem.text, wrong=True, line=find_line(lines, problem.key))
            for problem in error.problems
        ]
    return [
        Doubt(one.key, one.text, one.wrong, find_line(lines, one.key))
        for one in list_doubts(rig, content, path)
    ]


def list_doubts(rig: Rig, content: Mapping[str, Any], path: Path | None = None) -> list[Doubt]:
    """Return what the plan warns of, and what the file leaves to guesses; `content` is what it holds."""
    try:
        learned = load_learned(find_file(path))
        plan = make_plan(rig, learned=learned)
    except BeamfallError as error:
        return [Doubt(getattr(error, "key", "") or "", str(error), wrong=True)]
    doubts = [Doubt("", caution.text) for caution in plan.warnings]
    file = "" if path is None else str(path)
    return doubts + list(_list_guesses(rig, content, file, calibrated=learned is not None))


def _list_guesses(
    rig: Rig, content: Mapping[str, Any], file: str, *, calibrated: bool
) -> Iterator[Doubt]:
    command = shlex.join(["beamfall", "calibrate", *([file] if file else [])])
    for number, valve in enumerate(rig.valves, 1):
        if valve.latency_s < valve.opening_s:
            latency, opening = format_ms(valve.latency_s, 1), format_ms(valve.opening_s, 1)
            yield Doubt(
                f"valve[{number}].latency",
                f"{latency} is shorter than the opening of {opening}, but a drop comes free only after its valve has "
                f"closed, so plans use {opening}: measure it with `{command}`, or enter a few milliseconds more than "
                "the opening",
            )
        elif number == 1 and not calibrated:
            yield Doubt(
                "valve[1].latency",
                f"the valve's latency is a guess until you measure it: `{command}`",
            )
    if not rig.beams:
        yield Doubt(
            "beam",
            "the rig has no beam, so the flash follows the release and scatters more; add a [[beam]]",
        )
    if not rig.flashes:
        yield Doubt("flash", "the rig has no flash, so nothing lights the splash; add a [[flash]]")
    for key, text in _GUESSED.items():
        table, _, name = key.partition(".")
        entries = content.get(table, [])
        for number, entry in enumerate([entries] if isinstance(entries, Mapping) else entries, 1):
            if name not in entry:
                yield Doubt(f"{table}[{number}].{name}" if isinstance(entries, list) else key, text)


def find_line(lines: list[str], key: str) -> int:
    """Return the number of the line that sets `key` (valve[2].height), else of its table; 0 if neither is there."""
    table, _, name = key.partition(".")
    wanted, _, number = table.rstrip("]").partition("[")
    seen, inside, header = 0, False, 0
    for place, line in enumerate(lines, 1):
        text = line.split("#")[0].strip()
        if text.startswith("["):
            seen += text.strip("[] ") == wanted
            inside = text.strip("[] ") == wanted and seen == int(number or 1)
            header = place if inside else header
            continue
        assigned = text.partition("=")[0].strip()
        if assigned and (
            inside and assigned == name or not name and not seen and assigned == wanted
        ):
            return place
    return header
