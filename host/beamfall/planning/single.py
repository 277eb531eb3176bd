"""The plan of a one-drop picture: crown, cavity, jet at its highest, or the droplet that falls back."""

from __future__ import annotations

from beamfall.physics.splash import OF_THE_JET
from beamfall.planning.belief import Belief
from beamfall.planning.collision import DRAWS, check_rig, draw_rigs
from beamfall.planning.light import aim_light, build_plan, choose_stage
from beamfall.planning.openings import list_planned
from beamfall.planning.result import Plan
from beamfall.planning.setting import make_setting
from beamfall.setup.rig import Rig


def plan_single(
    rig: Rig,
    *,
    stage_s: float | None = None,
    learned: Belief | None = None,
    draws: int = DRAWS,
    traced: bool = False,
) -> Plan:
    """Plan the picture of one drop that the rig's aim names; the light `stage_s` after its best moment.

    Raises as `plan_collision` does.
    """
    check_rig(rig)
    rigs = draw_rigs(rig, make_setting(rig), draws, learned)
    first, kind = rigs.first, rig.aim.kind
    stage_s = choose_stage(rig, stage_s)
    light = aim_light(rig, rigs, (0.0,), rigs.impact_s + rigs.moments[kind], stage_s)
    flash = light.flash_s
    intervals = {
        "nozzle_to_beam": first.to_edge_s,
        "beam_to_surface": first.to_surface_s - first.to_edge_s,
        "flash_delay": flash,
        "flash_after_first_edge": flash + light.base_s - first.latency_s - first.to_edge_s,
    }
    if kind != "crown":
        intervals["jet_onset"] = rigs.onset_s
    if kind in OF_THE_JET:
        intervals["jet_rise"] = rigs.rise_s
    quantities = {
        "drop_diameter_mm": first.diameter_m,
        "impact_speed_m_s": first.impact_speed_m_s * 1e-3,
    }
    if kind in OF_THE_JET:
        quantities["jet_height_mm"] = rigs.height_m
    return build_plan(
        rig,
        light,
        drops=list_planned(rig, (0.0,), None),
        intervals=intervals,
        quantities=quantities,
        learned=learned,
        traced=traced,
    )
