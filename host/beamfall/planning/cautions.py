"""What is doubtful about a plan, in words for the photographer: what is wrong, how much, the cure."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from beamfall.physics.drops import compute_volume, nozzle_drops
from beamfall.physics.impact import (
    DEEP_ENOUGH,
    SHALLOWEST_JET_M,
    Regime,
    classify_impact,
    impact_groups,
)
from beamfall.physics.light import (
    LOWEST_POWER,
    choose_flash_power,
    estimate_flash_duration,
    judge_blur,
)
from beamfall.planning.draws import Draws, find_beam
from beamfall.planning.openings import REFORM_S
from beamfall.planning.result import Caution, CautionKind
from beamfall.planning.setting import Setting, compute_drop, find_opening
from beamfall.setup.rig import Rig
from beamfall.setup.unit_words import format_duration

_NEAR_NOZZLE_M = 0.02
_NEAR_SURFACE_M = 0.03
_AIM_M = 0.0017  # how far two drops of steady nozzles miss each other at most (estimate; as in the simulated rig)
_LONGEST_LIGHT_S = 0.03  # a longer one is not a flash; the formula of the blur ends there


def list_cautions(
    rig: Rig, setting: Setting, rigs: Draws, times_s: tuple[float, ...], chance: float | None
) -> Iterator[Caution]:
    """Yield every caution; `times_s`: the opening of each drop since the first one, which is 0."""
    yield from _about_valves(rigs, times_s)
    yield from _about_drops(rigs)
    yield from _about_places(rigs)
    if rig.aim.kind not in ("crown", "cavity"):
        yield from _about_dish(rig, setting, rigs)
    yield from _about_beams(rig, rigs, times_s)
    yield from _about_light(rig, rigs)
    if len(times_s) > 3:
        yield Caution(
            CautionKind.FOURTH_DROP,
            "drop 4 and later: no model covers them, so the plan times each one to strike the umbrella of the "
            "drop before it; sweep their times",
            values={"drops": len(times_s)},
        )
    if chance is not None and chance < 0.9:
        meeting = "drop 2 meets a jet" if len(times_s) < 3 else "the drops meet"
        yield Caution(
            CautionKind.CHANCE,
            f"{meeting} in only {100 * chance:.0f} % of rigs that fit this file; "
            "find the spacing first: `beamfall seek`",
            values={"chance": chance},
        )


def _about_valves(rigs: Draws, times_s: tuple[float, ...]) -> Iterator[Caution]:
    last: dict[str, tuple[float, float]] = {}  # output -> when it opened last, and for how long
    for number, (valve, at) in enumerate(zip(rigs.valves, times_s, strict=False), 1):
        if valve.output in last:
            before, open_s = last[valve.output]
            if at - before < open_s + REFORM_S:
                yield Caution(
                    CautionKind.FAST_DROPS,
                    f"drops come faster than the valve allows: drop {number} comes {(at - before) * 1e3:.1f} ms "
                    f"after the previous one, but {valve.output} is open for {open_s * 1e3:.1f} ms and "
                    f"needs about {REFORM_S * 1e3:.0f} ms more: shorten the opening, or use a second valve",
                    (valve.output,),
                    {"drop": number, "gap_s": at - before, "open_s": open_s},
                )
        last[valve.output] = at, valve.opening_s


def _about_drops(rigs: Draws) -> Iterator[Caution]:
    settings = {valve: drop.setting for valve, drop in zip(rigs.valves, rigs.drops, strict=True)}
    for valve, setting in settings.items():
        longest_s = find_opening(valve, setting)
        if valve.opening_s > longest_s:
            yield Caution(
                CautionKind.STREAM,
                f"{valve.output}: an opening of {valve.opening_s * 1e3:.3g} ms pours a stream: set at most "
                f"{longest_s * 1e3:.3g} ms for one drop. The plan treats the stream's front as the largest drop, so "
                "its times are less certain: sweep the flash around them",
                (valve.output,),
                {"opening_s": valve.opening_s, "longest_s": longest_s},
            )
            continue
        if valve.outer_diameter_m is None:
            continue
        volume = compute_volume(compute_drop(valve, setting))
        range_ = nozzle_drops(
            valve.bore_m, valve.outer_diameter_m, setting.liquid, gravity=setting.gravity
        )
        # A valve can cut a drop shorter than dripping does, by some third (common practice, no source).
        fits = 0.6 * range_.smallest_m3, 1.1 * range_.largest_m3
        if not fits[0] <= volume <= fits[1]:
            shortest, longest = (find_opening(valve, setting, fit) for fit in fits)
            word = "smaller" if volume < range_.smallest_m3 else "larger"
            yield Caution(
                CautionKind.NOZZLE,
                f"{valve.output}: its opening lets {volume * 1e9:.1f} µL through, {word} than the drops that "
                f"this nozzle releases ({range_.smallest_m3 * 1e9:.1f} to {range_.largest_m3 * 1e9:.1f} µL "
                "when they drip): expect no drop, several drops or satellites. Set its opening between "
                f"{shortest * 1e3:.3g} and {longest * 1e3:.3g} ms",
                (valve.output,),
                {"volume_m3": volume, "shortest_s": shortest, "longest_s": longest},
            )


def _about_places(rigs: Draws) -> Iterator[Caution]:
    first = rigs.valves[0]
    for valve, drop in dict(zip(rigs.valves, rigs.drops, strict=True)).items():
        beside = abs(valve.place_m - first.place_m)
        sure = 0.5 * float(np.median(rigs.first.diameter_m + drop.diameter_m)) - _AIM_M
        if beside > max(0.0, sure):
            yield Caution(
                CautionKind.BESIDE,
                f"the drops of {valve.output} fall {beside * 1e3:.1f} mm beside those of {first.output}; drops of this "
                f"size are sure to meet only if they fall at most {max(0.0, sure) * 1e3:.1f} mm apart: bring the "
                "nozzles closer, or tilt them so that both drops strike one spot",
                (valve.output, first.output),
                {"beside_m": beside, "sure_m": max(0.0, sure)},
            )


def _about_dish(rig: Rig, setting: Setting, rigs: Draws) -> Iterator[Caution]:
    depth = rig.dish.depth_m
    deep = DEEP_ENOUGH * float(np.median(rigs.cavity_m))
    if depth < SHALLOWEST_JET_M:
        yield Caution(
            CautionKind.NO_DEPTH,
            f"the dish is too shallow for a jet: {depth * 1e3:.1f} mm. A jet needs {SHALLOWEST_JET_M * 1e3:.0f} mm "
            f"of liquid, and rises freely at {deep * 1e3:.0f} mm or more: fill the dish",
            ("dish.depth",),
            {"depth_m": depth, "least_m": SHALLOWEST_JET_M},
        )
        return
    if depth < deep:
        yield Caution(
            CautionKind.DEPTH,
            f"the dish is shallow ({depth * 1e3:.1f} mm), so jets stay low; at {deep * 1e3:.0f} mm or more they "
            "rise freely",
            ("dish.depth",),
            {"depth_m": depth, "deep_m": deep},
        )
    groups = impact_groups(
        float(np.median(rigs.first.diameter_m)),
        float(np.median(rigs.first.impact_speed_m_s)),
        setting.liquid,
        gravity=setting.gravity,
    )
    regime = classify_impact(groups, depth)
    if regime in (Regime.BUBBLE, Regime.CAVITY):
        yield Caution(
            CautionKind.REGIME,
            f"the impact makes {regime.value} (We {groups.weber:.0f}, Fr {groups.froude:.0f}): for a thick "
            "jet, raise the nozzle",
            values={"weber": groups.weber, "froude": groups.froude},
        )


def _about_beams(rig: Rig, rigs: Draws, times_s: tuple[float, ...]) -> Iterator[Caution]:
    least = min(np.diff(sorted(times_s)), default=float("inf"))
    if rig.beams and find_beam(rig, rigs.valves[0]) is None:
        yield Caution(
            CautionKind.NO_BEAM,
            f"no beam sees the drops of {rigs.valves[0].output}, so the flash follows the release and scatters more: "
            "put a beam below that nozzle and give both the same place",
            (rigs.valves[0].output,),
        )
    for beam in rig.beams:
        free = float(np.median(rigs.first.start_height_m)) - beam.height_m
        if free < _NEAR_NOZZLE_M:
            yield Caution(
                CautionKind.BEAM_HIGH,
                f"{beam.input} is too near the nozzle: drops come free {max(free, 0.0) * 1e3:.0f} mm above it, and are "
                f"still slow and wobbling there; put it at least {_NEAR_NOZZLE_M * 1e3:.0f} mm below that point",
                (beam.input,),
                {"free_m": free, "least_m": _NEAR_NOZZLE_M},
            )
        top = float(np.percentile(rigs.height_m, 95.0))
        if beam.height_m < max(_NEAR_SURFACE_M, top):
            yield Caution(
                CautionKind.BEAM_LOW,
                f"{beam.input} is too near the surface: at {beam.height_m * 1e3:.0f} mm the jet (up to "
                f"{top * 1e3:.0f} mm) and splashes also interrupt it; put it higher",
                (beam.input,),
                {"height_m": beam.height_m, "jet_m": top},
            )
        if beam.blanking_s > 0.8 * least:
            yield Caution(
                CautionKind.BLANKING,
                f"{beam.input}: blanking of {beam.blanking_s * 1e3:.0f} ms may hide the next drop, "
                f"{least * 1e3:.0f} ms behind; shorten it",
                (beam.input,),
                {"blanking_s": beam.blanking_s, "gap_s": float(least)},
            )


def _about_light(rig: Rig, rigs: Draws) -> Iterator[Caution]:
    for flash in rig.flashes:
        if flash.recycle_s > rig.aim.rest_s:
            yield Caution(
                CautionKind.RECYCLING,
                f"{flash.output} takes {flash.recycle_s:.3g} s to recycle, longer than aim.rest "
                f"({rig.aim.rest_s:.3g} s), so shots wait for the flash; set aim.rest to at least that time",
                (flash.output,),
                {"recycle_s": flash.recycle_s, "rest_s": rig.aim.rest_s},
            )
    yield from _about_blur(rig, rigs)


def _about_blur(rig: Rig, rigs: Draws) -> Iterator[Caution]:
    """One caution for all flashes, and only if a lower power makes the blur shorter."""
    camera = rig.camera
    lowest_s = estimate_flash_duration(LOWEST_POWER)
    # 1.01: durations in a rig file are rounded.
    long = [flash for flash in rig.flashes if flash.duration_s > 1.01 * lowest_s]
    if camera is None or not long:
        return
    longest_s = max(flash.duration_s for flash in long)
    speed = float(np.median(rigs.first.impact_speed_m_s))
    lens = camera.magnification, camera.pixel_m, camera.aperture
    blur = judge_blur(speed, min(longest_s, _LONGEST_LIGHT_S), *lens)
    if not blur.visible:
        return
    power = choose_flash_power(speed, *lens)
    duration_s = estimate_flash_duration(power)
    if duration_s >= longest_s:
        power, duration_s = LOWEST_POWER, lowest_s
    better = judge_blur(speed, duration_s, *lens)
    names = " and ".join(flash.output for flash in long)
    yield Caution(
        CautionKind.BLUR,
        f"{names}: the falling drop will be blurred. While a flash of {format_duration(longest_s)} (t0.5) lights and "
        f"fades, the drop moves {_say_length(blur.length_m)} on the sensor; pixels and lens hide only "
        f"{_say_length(blur.hidden_m)}. At 1/{1 / power:.0f} power most flashes last about "
        f"{format_duration(float(f'{duration_s:.2g}'))}: a blur of {_say_length(better.length_m)}. Set a lower power, "
        "then the flash's duration in the rig file",
        tuple(flash.output for flash in long),
        {
            "blur_m": blur.length_m,
            "hidden_m": blur.hidden_m,
            "power": power,
            "better_m": better.length_m,
        },
    )


def _say_length(metres: float) -> str:
    return f"{metres * 1e3:.2g} mm" if metres >= 1e-3 else f"{metres * 1e6:.0f} µm"
