"""The truth about a simulated shot, on the shot's own clock: for `--json` and for judging measurements."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any

from beamfall.link.traits import StampedEdge
from beamfall.setup.signals import SignalKind
from beamfall.sim.rig import SimulatedRig, Splash
from beamfall.sim.scene import make_scene


def take_truth(rig: SimulatedRig, edges: Iterable[StampedEdge]) -> tuple[dict[str, Any], Splash]:
    """Return the truth about the shot that has just ended and about its splash, and forget both.

    `edges` are the shot's own; ticks count from the release.

    `drops`: what fell, in the order of impact; `jet`: when its tip breaks through the surface and when it
    is highest; `contact`: when and how high drop 2 met the jet; `pictures`: what each
    light showed (see `collision.Picture`); `scene`: what the first light showed, to be drawn (see
    `scene.make_scene`). Times that never came are null.
    """
    first_on = rig.first_on
    splash = rig.take_splash()
    zero_s = math.nan
    if first_on is not None:
        signal, ticks = first_on
        seen = [edge.ticks for edge in edges if edge.signal == signal and edge.level]
        if seen:
            zero_s = (ticks - seen[0]) / rig.clock_hz

    def tick(when_s: float) -> int | None:
        return round((when_s - zero_s) * rig.clock_hz) if math.isfinite(when_s - zero_s) else None

    def millimetres(height_m: float | None) -> float | None:
        return None if height_m is None else round(height_m * 1e3, 3)

    truth = {
        "simulated": True,
        "drops": [
            {
                "valve": rig.lines[SignalKind.VALVE][drop.valve - 1],
                "diameter_mm": round(drop.diameter_m * 1e3, 4),
                "left_ticks": tick(drop.left_s),
                "beam_ticks": {
                    SignalKind.BEAM.nth(rig.lines[SignalKind.BEAM][number - 1]).name: [
                        tick(dark),
                        tick(clear),
                    ]
                    for number, (dark, clear) in sorted(drop.dark_s.items())
                },
                "impact_ticks": tick(drop.impact_s),
                "impact_speed_m_s": round(drop.impact_speed_m_s, 4),
            }
            for drop in splash.drops
        ],
        "jet": None
        if splash.jet is None
        else {
            "starts_ticks": tick(splash.jet.starts_s),
            "highest_ticks": tick(splash.jet.starts_s + splash.jet.rise_s),
            "height_mm": millimetres(splash.jet.height_m),
        },
        "contact": None
        if splash.contact is None
        else {
            "ticks": tick(splash.contact.when_s),
            "height_mm": millimetres(splash.contact.height_m),
        },
        "pictures": [
            {
                "flash": rig.lines[SignalKind.FLASH][flash - 1],
                "light_ticks": tick(lit),
                "shows": picture.shows,
                "stage_ms": None if picture.stage_s is None else round(picture.stage_s * 1e3, 4),
                "jet_mm": millimetres(picture.jet_m),
                "drop2_mm": millimetres(picture.drop2_m),
            }
            | (
                {"since_ms": {name: round(at * 1e3, 4) for name, at in picture.since_s.items()}}
                if picture.since_s
                else {}
            )
            for (flash, lit, _), picture in zip(splash.lights, splash.pictures, strict=True)
        ],
        "scene": make_scene(splash, rig.model),
    }
    return truth, splash
