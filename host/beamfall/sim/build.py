"""Makes a simulated rig from a rig file and a seed: draws its truth around the file's values.

The file holds what the photographer believes; the truth differs from that as `beamfall.planning.unknowns`
says. The distance between beams is known from a ruler, better than their heights are, and each beam senses
a drop in its own way, see `beamfall.planning.calibration`. The same file and seed give the same rig.
"""

from __future__ import annotations

import math
import random
from collections.abc import Mapping

from beamfall.physics.coil import Coil
from beamfall.physics.liquids import Liquid
from beamfall.physics.umbrella import SPEED_SPREAD, TIME_SPREAD
from beamfall.planning.setting import compute_flow, make_setting
from beamfall.planning.unknowns import (
    APART,
    GAP_ERROR_M,
    list_scatters,
    list_unknowns,
    make_any_jet_prior,
)
from beamfall.setup.rig import Rig, example_rig
from beamfall.setup.rig_sections import LiquidInRig, Valve
from beamfall.setup.signals import Signal
from beamfall.sim.defects import RigInRoom
from beamfall.sim.faults import make_faulty
from beamfall.sim.look import DYES, GELS, Dye, Look
from beamfall.sim.model import BeamModel, FlashModel, JetModel, RigModel, ValveModel
from beamfall.sim.shutter import make_shutter


def build_rig(rig: Rig | None = None, seed: int = 0, fault: str | None = None) -> RigInRoom:
    """Return the simulated rig of that file and seed; None means the example rig.

    `fault` names its faults, separated by commas. Raises UserError for an unknown fault, with a list of
    the known ones, and PhysicsRangeError for a rig whose values the physics does not cover.
    """
    return make_faulty(draw_model(example_rig() if rig is None else rig, seed), seed, fault)


def draw_model(
    rig: Rig,
    seed: int,
    *,
    spread: float = 1.0,
    shift: Mapping[str, float] | None = None,
    shape: float | None = None,
) -> RigModel:
    """Draw what is true of a rig: the same file and seed give the same model.

    The other arguments test the planner in a world that differs from its assumptions: `spread`
    makes the distributions of `planning.unknowns` broader, `shift` moves them, in standard deviations
    by name, and `shape` gives the jet its second law (see JetModel).
    """
    setting = make_setting(rig)
    prior = make_any_jet_prior(rig, setting)
    draws = random.Random(f"{seed}/truth")

    moved = shift or {}
    unknowns = list_unknowns(rig, setting, prior)
    # From a separate random stream: a rig is the same with and without a second valve.
    others = random.Random(f"{seed}/other valves")
    true = {
        name: unknown.at(
            moved.get(name, 0.0) + spread * (others if name in APART else draws).gauss(0.0, 1.0)
        )
        for name, unknown in unknowns.items()
    }
    # From a separate random stream: a rig is the same with and without a second beam.
    further = random.Random(f"{seed}/further beams")
    errors_m = [true["beam_error_m"]] + [
        true["beam_error_m"] + spread * further.gauss(0.0, GAP_ERROR_M) for _ in rig.beams[1:]
    ]
    senses = [true["beam_sense"]] + [
        unknowns["beam_sense"].at(moved.get("beam_sense", 0.0) + spread * further.gauss(0.0, 1.0))
        for _ in rig.beams[1:]
    ]
    scatter = {
        name: unknown.at(draws.gauss(0.0, 1.0)) for name, unknown in list_scatters(rig).items()
    }
    coils = random.Random(f"{seed}/valve coils")
    sheet = random.Random(f"{seed}/umbrella")  # its own stream, for the same reason
    return RigModel(
        valves=tuple(
            ValveModel(
                nozzle_height_m=valve.height_m
                + true["nozzle_error_m"]
                + own * true["other_nozzle_error_m"],
                flow_m3_s=flow.steady_m3_s
                * true["volume_ratio"]
                * true["other_volume_ratio"] ** own,
                bore_m=valve.bore_m,
                rate_per_s=flow.rate_per_s,
                asymmetry=flow.asymmetry,
                opening_s=valve.opening_s,
                lag_s=valve.lag_s,
                latency_s=max(
                    0.0,
                    valve.latency_s + true["latency_error_s"] + own * true["other_latency_error_s"],
                ),
                latency_scatter_s=scatter["latency_scatter_s"],
                volume_scatter=scatter["volume_scatter"],
                detachment_ratio=true["detachment_ratio"],
                start_speed_ratio=true["start_speed_ratio"],
                offset_m=max((beam.offset_m for beam in rig.beams[:1]), default=0.0),
                place_m=valve.place_m,
                line=Signal.of(valve.output).number,
                coil=_draw_coil(coils, spread),
                liquid=_find_own(rig, valve),
                dye=_find_dye(rig, valve),
            )
            for place, valve in enumerate(rig.valves)
            for flow, own in (
                (compute_flow(valve, make_setting(rig, valve.output)), int(place > 0)),
            )
        ),
        beams=tuple(
            BeamModel(
                beam.height_m + error_m,
                beam.width_m * sense,
                beam.place_m,
                Signal.of(beam.input).number,
            )
            for beam, error_m, sense in zip(rig.beams, errors_m, senses, strict=False)
        ),
        flashes=tuple(
            FlashModel(
                flash.latency_s * true["flash_latency_ratio"],
                flash.duration_s,
                flash.recycle_s,
                Signal.of(flash.output).number,
            )
            for flash in rig.flashes
        ),
        jet=JetModel(
            onset_factor=true["onset_factor"],
            height_factor=true["height_factor"],
            rise_factor=true["rise_factor"],
            fall_factor=true["fall_factor"],
            onset_scatter_s=scatter["onset_scatter_s"],
            height_scatter=scatter["height_scatter"],
            shape=shape,
        ),
        liquid=setting.liquid,
        air=setting.air,
        gravity=setting.gravity,
        dish_depth_m=rig.dish.depth_m,
        frame_width_m=min(
            0.25, max(0.056, 0.04 + 2.0 * max(abs(one.place_m) for one in rig.valves))
        ),
        sheet_speed_factor=math.exp(spread * sheet.gauss(0.0, SPEED_SPREAD)),
        sheet_time_factor=math.exp(spread * sheet.gauss(0.0, TIME_SPREAD)),
        look=make_look(rig, setting.liquid),
        shutter=make_shutter(rig, seed),
    )


def _find_own(rig: Rig, valve: Valve) -> Liquid | None:
    """The liquid of a valve's own bottle."""
    own = rig.find_liquid(valve.output)
    return None if own is rig.liquid else make_setting(rig, valve.output).liquid


def _find_dye(rig: Rig, valve: Valve) -> Dye | None:
    own = rig.find_liquid(valve.output)
    return None if own is rig.liquid else (*DYES[own.colour], _find_cloudiness(own))


def _find_cloudiness(liquid: LiquidInRig) -> float:
    parts = dict(liquid.parts)
    milk = parts.get("milk", 0.0) / sum(parts.values()) if parts else float(liquid.name == "milk")
    return 1.5 * milk


def _draw_coil(draws: random.Random, spread: float) -> Coil:
    """Return a coil near the usual one (spreads are our choice)."""
    usual = Coil()
    return Coil(
        ohm=usual.ohm * math.exp(spread * draws.gauss(0.0, 0.04)),
        closed_h=usual.closed_h * math.exp(spread * draws.gauss(0.0, 0.08)),
        open_h=usual.open_h * math.exp(spread * draws.gauss(0.0, 0.08)),
        pull_a=usual.pull_a * math.exp(spread * draws.gauss(0.0, 0.06)),
        travel_s=usual.travel_s * math.exp(spread * draws.gauss(0.0, 0.08)),
    )


def make_look(rig: Rig, liquid: Liquid) -> Look:
    """Return how pictures of that rig look. The index grows with the density up to pure glycerol's (our rule)."""
    share = (liquid.density_kg_m3 - 998.2) / (1261.0 - 998.2)
    camera = rig.camera
    usual = Look()
    return Look(
        index=min(1.473, max(1.333, 1.333 + 0.14 * share)),
        absorption=DYES[rig.liquid.colour],
        cloudiness=_find_cloudiness(rig.liquid),
        top=GELS[rig.light.top],
        bottom=GELS[rig.light.bottom],
        f_number=usual.f_number if camera is None else camera.aperture,
        magnification=usual.magnification if camera is None else camera.magnification,
        down_deg=usual.down_deg
        if camera is None or camera.looks_down_deg is None
        else camera.looks_down_deg,
        dish_mm=usual.dish_mm if rig.dish.diameter_m is None else 1e3 * rig.dish.diameter_m,
    )
