"""What a rig file says about the pictures of its camera, for measuring them."""

from __future__ import annotations

from dataclasses import replace

from beamfall.errors import PhysicsRangeError
from beamfall.photos.measure.result import Scene
from beamfall.physics.fall import fall
from beamfall.planning.setting import compute_drop, compute_start_speed, make_setting
from beamfall.setup.rig import Rig

_MEETING_M = 0.025  # height at which drops are taken to meet: their speed hardly depends on it
_JET_M_S = 0.3  # speed of the jet's tip there: it is near its top
_SPEED_ERROR, _DROP_ERROR = 0.05, 0.04


def make_picture_scene(rig: Rig) -> Scene:
    """Return the scale and the drops of a rig's pictures; without a camera in the file there is no scale."""
    camera = rig.camera
    plain = (
        Scene()
        if camera is None
        else Scene(
            magnification=camera.magnification,
            pixel_m=camera.pixel_m,
            looks_down_deg=camera.looks_down_deg,
        )
    )
    try:
        valve = rig.valves[0]
        setting = make_setting(rig, valve.output)
        diameter = compute_drop(valve, setting)
        speed = fall(
            valve.height_m - 1.5 * diameter - _MEETING_M,
            diameter,
            liquid_density_kg_m3=setting.liquid.density_kg_m3,
            surface_tension_n_m=setting.liquid.surface_tension_n_m,
            air=setting.air,
            gravity=setting.gravity,
            initial_speed_m_s=float(compute_start_speed(valve, setting, diameter)),
        ).speed_m_s
    except PhysicsRangeError:
        return plain
    return replace(
        plain,
        drop_diameter_m=diameter,
        drop_diameter_error=_DROP_ERROR,
        meeting_speed_m_s=speed + _JET_M_S,
        meeting_speed_error=_SPEED_ERROR,
        liquid=setting.liquid,
    )
