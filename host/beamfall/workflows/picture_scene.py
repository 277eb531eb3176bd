"""What a rig file says about the pictures of its camera, for measuring them."""

from __future__ import annotations

from dataclasses import replace

from beamfall.errors import PhysicsRangeError, RigFileError
from beamfall.photos.measure.result import Scene
from beamfall.physics.expected_drop import ExpectedDrop
from beamfall.planning.in_flight import expect_drops
from beamfall.planning.openings import split_places
from beamfall.planning.seek.answer import read_shot
from beamfall.planning.umbrella import find_meeting
from beamfall.setup.rig import Rig
from beamfall.shots import ShotRecord


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
    if len(split_places(rig)[0].list_drops()) < 2:
        return plain
    try:
        meeting = find_meeting(rig)
    except (PhysicsRangeError, RigFileError):
        return plain
    return replace(
        plain,
        drop_diameter_m=meeting.diameter_m,
        drop_diameter_error=meeting.diameter_error,
        meeting_speed_m_s=meeting.speed_m_s,
        meeting_speed_error=meeting.speed_error,
        liquid=meeting.liquid,
    )


def expect_logged(rig: Rig, record: ShotRecord) -> tuple[ExpectedDrop | None, ...]:
    """Return where the drops of a logged shot would be at its flash, as `Scene.expected` takes them.

    Empty where the log does not say: no flash, no beam, more than two drops (the picture then shows what drop 2 made
    and drop 3 apart), or a rig that the physics does not cover.
    """
    valves = rig.list_drops()
    if len(valves) > 2 or not rig.beams:
        return ()
    outputs = {valve.output for valve in valves}
    shot = read_shot(record, len(valves), rig.beams[0], outputs)
    if record.state != "fired" or shot is None:
        return ()
    try:
        return expect_drops(rig, shot)
    except PhysicsRangeError:
        return ()
