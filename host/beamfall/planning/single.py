"""The plan of a one-drop picture: crown, cavity, jet at its highest, or the droplet that falls back."""

from __future__ import annotations

import numpy as np

from beamfall.physics.splash import OF_THE_JET
from beamfall.planning.anchors import judge_anchors
from beamfall.planning.belief import Belief
from beamfall.planning.cautions import list_cautions
from beamfall.planning.collision import DRAWS, check_rig, draw_rigs, find_base, list_assumptions
from beamfall.planning.openings import list_planned
from beamfall.planning.result import Plan, make_intervals
from beamfall.planning.rows import build_sequence, build_warm_up, find_flash, warn_of_shutter
from beamfall.planning.setting import make_setting
from beamfall.planning.trace import make_trace
from beamfall.planning.unknowns import list_scatters
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
    setting = make_setting(rig)
    rigs = draw_rigs(rig, setting, draws, learned)
    first = rigs.first
    stage = stage_s if stage_s is not None else rig.aim.stage_s or 0.0
    kind = rig.aim.kind
    event = rigs.impact_s + rigs.moments[kind]
    choices = judge_anchors(rig, rigs, (0.0,), event, list_scatters(rig))
    anchor = next(choice.anchor for choice in choices if choice.chosen)
    base = find_base(rigs, rig, anchor, (0.0,))
    flash = event + stage - rigs.flash_latency_s - base
    delay = rig.aim.flash_delay_s
    if delay is None:
        delay = max(0.0, float(np.median(flash)))
    intervals = {
        "nozzle_to_beam": first.to_edge_s,
        "beam_to_surface": first.to_surface_s - first.to_edge_s,
        "flash_delay": flash,
        "flash_after_first_edge": flash + base - first.latency_s - first.to_edge_s,
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
    last_edge = float(np.percentile(base, 99.9)) if anchor.count else 0.0
    first_edge = float(np.percentile(base, 0.1)) if anchor.count else 0.0
    flash_s = find_flash(rig, anchor, delay, first_edge, last_edge)
    drops = list_planned(rig, (0.0,), None)
    return Plan(
        kind=kind,
        rig_name=rig.name,
        drops=tuple(drops),
        sequence=build_sequence(
            rig, drops, anchor, delay, last_edge,
            f"{kind}, {rig.name}", first_edge_s=first_edge,
        ),
        anchor=anchor,
        anchors=tuple(choices),
        stage_s=stage,
        flash_delay_s=delay,
        intervals=make_intervals(intervals),
        quantities=make_intervals(quantities),
        assumptions=tuple(list_assumptions(rig, setting, learned)),
        flash_s=flash_s,
        has_fixed_flash=any(firing.delay_s is not None for firing in rig.firings),
        warnings=(
            *list_cautions(rig, setting, rigs, (0.0,), None),
            *warn_of_shutter(rig, flash_s),
        ),
        warm_up=build_warm_up(rig, rig.aim.warm_up),
        trace=make_trace(rig, rigs, (0.0,), event + stage, stage, anchor) if traced else None,
    )  # fmt: skip
