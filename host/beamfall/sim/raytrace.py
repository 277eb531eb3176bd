"""Traces the light of a scene's backlight through the liquid into the camera. Lengths in mm.

x points right, y away from the camera, z up; the camera is far away and looks along +y, slightly down. A ray from
the camera meets the surface, a body of revolution or a sphere; there Fresnel's share is reflected, the rest is
refracted by Snell's law, absorbed on its way through, and refracted out again. What leaves the liquid sees the
backlight, a soft light beside the camera, or the dark room.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from beamfall.arrays import AnyFloats as Floats
from beamfall.sim.liquid_shapes import LOWEST_MM, STEP_MM, Body, Solids, make_solids, ripple_slope
from beamfall.sim.look import Look
from beamfall.sim.optics import (
    find_normal,
    fresnel,
    look_up,
    meet_spheres,
    ramp,
    refract,
    window_max,
)
from beamfall.sim.scene import BELOW_MM

if TYPE_CHECKING:
    Bools = NDArray[np.bool_]

_PANEL_MM = 250.0  # behind the drops
_PANEL_HALF_MM = 150.0
_PANEL_LOW_MM, _PANEL_HIGH_MM = -75.0, 190.0
_KEY = (-0.52, -0.62, 0.59)  # direction to the soft light beside the camera
_KEY_COS, _KEY_LIGHT = 0.955, 9.0
_FAR = 1e6
_MARCH_STEPS = 48
_PASSES = 2  # ways through the liquid: one, and one more after a total reflection


@dataclass(frozen=True)
class Frame:
    """Where the picture's pixels lie in the scene: columns count from the left, rows from the top."""

    width: int
    height: int
    per_mm: float
    above_mm: float
    look: Look

    @classmethod
    def of(cls, scene: Mapping[str, Any], pixels: int) -> Frame:
        """The frame of a scene whose longer side has that many pixels."""
        wide, above, _ = scene["frame_mm"]
        tall = above + scene.get("below_mm", BELOW_MM)
        per_mm = pixels / max(wide, tall)
        look = Look.from_plain(scene.get("look", {}))
        return cls(round(wide * per_mm), round(tall * per_mm), per_mm, above, look)

    def locate(self, columns: Any, rows: Any) -> tuple[Any, Any]:
        """x and height in the picture's plane, in mm, of pixels."""
        roll = math.radians(self.look.roll_deg)
        right = (columns - 0.5 * self.width) / self.per_mm
        up = (0.5 * self.height - rows) / self.per_mm
        middle = self.above_mm - 0.5 * self.height / self.per_mm
        return (
            right * math.cos(roll) + up * math.sin(roll),
            up * math.cos(roll) - right * math.sin(roll) + middle,
        )

    def find_pixel(self, x_mm: float, height_mm: float) -> tuple[float, float]:
        """Column and row, in pixels, of a point of the middle plane (the inverse of `locate`)."""
        roll = math.radians(self.look.roll_deg)
        up = height_mm * math.cos(math.radians(self.look.down_deg))
        up -= self.above_mm - 0.5 * self.height / self.per_mm
        right, high = (
            x_mm * math.cos(roll) - up * math.sin(roll),
            up * math.cos(roll) + x_mm * math.sin(roll),
        )
        return 0.5 * self.width + right * self.per_mm, 0.5 * self.height - high * self.per_mm


class Tracer:
    """A scene ready to be seen: `see` gives the light and the depth that points of the picture's plane show."""

    def __init__(self, scene: Mapping[str, Any], look: Look) -> None:
        self._look = look
        self._solids: Solids = make_solids(scene)
        down = math.radians(look.down_deg)
        self._ahead = (0.0, math.cos(down), -math.sin(down))
        self._up = (math.sin(down), math.cos(down))  # y and z of the picture's upward direction

    def see(self, x: Floats, up: Floats) -> tuple[Floats, Floats]:
        """Light, shape (n, 3), and depth behind the middle plane, of points of the picture's plane, shape (n,)."""
        start = np.stack([x, up * self._up[0], up * self._up[1]]).astype(np.float32)
        start[1] -= 400.0 * self._ahead[1]
        start[2] -= 400.0 * self._ahead[2]
        ahead = np.empty_like(start)
        for axis in range(3):
            ahead[axis] = self._ahead[axis]
        return self._follow(start, ahead, mirror=True)

    def _follow(self, start: Floats, ahead: Floats, *, mirror: bool) -> tuple[Floats, Floats]:
        """Light and depth that rays meet.

        Without `mirror` the surface shows only the backlight, and depths of anything but solids are NaN.
        """
        count = start.shape[1]
        with np.errstate(divide="ignore"):
            plane = np.where(ahead[2] < -1e-6, -start[2] / ahead[2], _FAR).astype(np.float32)
        reach_y = start[1] + plane * ahead[1]
        plane[(plane < 1e-3) | (reach_y > 0.5 * self._look.dish_mm)] = _FAR
        nearest = plane.copy()
        normal = np.zeros((3, count), dtype=np.float32)
        # -1: surface or nothing; from 0: bodies; from 1000: spheres.
        owner = np.full(count, -1, dtype=np.int16)
        for number, body in enumerate(self._solids.bodies):
            self._meet_body(number, body, start, ahead, nearest, normal, owner)
        meet_spheres(self._solids.spheres, start, ahead, nearest, normal, owner)
        light = np.empty((count, 3), dtype=np.float32)
        open_air = nearest >= _FAR
        light[open_air] = self._shine(start[:, open_air], ahead[:, open_air])
        calm = ~open_air & (owner < 0)
        if calm.any():
            light[calm], image_depth = self._mirror(
                start[:, calm], ahead[:, calm], nearest[calm], mirror
            )
        wet = owner >= 0
        if wet.any():
            light[wet] = self._pass_through(
                start[:, wet], ahead[:, wet], nearest[wet], normal[:, wet], owner[wet]
            )
        depth = start[1] + np.where(open_air, 0.0, nearest) * ahead[1]
        depth[open_air] = 0.5 * self._look.dish_mm
        if calm.any():
            depth[calm] = np.where(np.isnan(image_depth), depth[calm], image_depth)
        if not mirror:
            depth[~wet] = np.nan
        return light, depth

    # -- what a ray meets --------------------------------------------------------------------------------------
    def _meet_body(
        self, number: int, body: Body, start: Floats, ahead: Floats,
        nearest: Floats, normal: Floats, owner: NDArray[np.int16],
    ) -> None:  # fmt: skip
        """March rays through the distances of a body; note those that it stops first."""
        x = start[0] - body.x
        a = ahead[0] ** 2 + ahead[1] ** 2
        b = x * ahead[0] + start[1] * ahead[1]
        room = b * b - a * (x * x + start[1] ** 2 - body.reach**2)
        chosen = np.flatnonzero((room > 0.0) & (a > 1e-9))
        if not chosen.size:
            return
        root = np.sqrt(room[chosen])
        enter = np.maximum((-b[chosen] - root) / a[chosen], 1e-3)
        leave = (-b[chosen] + root) / a[chosen]
        at = np.minimum(enter, nearest[chosen])
        highest = np.maximum(
            start[2, chosen] + enter * ahead[2, chosen], start[2, chosen] + leave * ahead[2, chosen]
        )
        lowest = np.minimum(
            start[2, chosen] + enter * ahead[2, chosen], start[2, chosen] + leave * ahead[2, chosen]
        )
        closest = np.abs(x[chosen] * ahead[1, chosen] - start[1, chosen] * ahead[0, chosen])
        closest = closest / np.sqrt(a[chosen])
        # Rays that pass beside the liquid at all heights they cross are not marched.
        rows = len(body.widest)
        bound = body.widest
        low_row = np.clip(((lowest - LOWEST_MM) / STEP_MM).astype(int) - 3, 0, rows - 1)
        high_row = np.clip(((highest - LOWEST_MM) / STEP_MM).astype(int) + 3, 0, rows - 1)
        span = max(1, int((high_row - low_row).max()))
        width = window_max(bound, span)[low_row]
        near = (leave > enter) & (enter < nearest[chosen]) & (lowest < body.top)
        near &= (closest < width + 0.3) | (lowest < 0.35)
        chosen, at, leave = chosen[near], at[near], leave[near]
        del highest, lowest, closest, width
        hit = np.zeros(chosen.size, dtype=bool)
        live, far = np.arange(chosen.size), at
        o, d = start.take(chosen, axis=1), ahead.take(chosen, axis=1)
        o[0] -= body.x
        for step in range(_MARCH_STEPS):
            gap = look_up(
                body.distance, np.hypot(o[0] + far * d[0], o[1] + far * d[1]), o[2] + far * d[2]
            )
            found = gap < 0.012
            far = far + np.where(found, 0.0, 0.9 * gap)
            at[live] = far
            hit[live] = found
            gone = (far > leave.take(live)) | (o[2] + far * d[2] > body.top + 60.0)
            kept = np.flatnonzero(~(found | gone))
            live, far = live.take(kept), far.take(kept)
            if not live.size or (step > 30 and live.size < 20):
                break
            o, d = o.take(kept, axis=1), d.take(kept, axis=1)
        hit &= at < np.minimum(nearest[chosen] + 0.3, leave)
        kept = chosen[hit]
        point = start[:, kept] + at[hit] * ahead[:, kept]
        nearest[kept] = at[hit]
        normal[:, kept] = find_normal(body, point)
        owner[kept] = number

    # -- light -------------------------------------------------------------------------------------------------
    def _shine(self, start: Floats, ahead: Floats) -> Floats:
        """Light of the backlight, the soft light and the dark room in a direction; shape (n, 3)."""
        look = self._look
        with np.errstate(divide="ignore", invalid="ignore"):
            far = np.where(ahead[1] > 1e-3, (_PANEL_MM - start[1]) / ahead[1], 1e4)
        x = start[0] + far * ahead[0]
        z = start[2] + far * ahead[2]
        z = np.where(z < -8.0, -16.0 - z, z)  # mirrored by the surface behind
        edge = ramp((_PANEL_HALF_MM - np.abs(x)) / 40.0)
        edge *= ramp((z - _PANEL_LOW_MM) / 30.0) * ramp((_PANEL_HIGH_MM - z) / 50.0)
        edge = np.where(ahead[1] > 1e-3, edge, 0.0)
        height = ramp((z + 10.0) / 95.0)[:, None]
        colour = np.array(look.bottom, dtype=np.float32) * (1.0 - height)
        colour += np.array(look.top, dtype=np.float32) * height
        glow = 0.45 + 0.75 * np.exp(-((x / 62.0) ** 2 + ((z - 30.0) / 75.0) ** 2))
        colour *= (edge * glow * (1.0 + look.slant * x / 60.0))[:, None]
        key = ahead[0] * _KEY[0] + ahead[1] * _KEY[1] + ahead[2] * _KEY[2]
        spot = ramp((key - _KEY_COS) / 0.012) * _KEY_LIGHT
        return (np.maximum(colour, 0.0) + spot[:, None] + 0.008).astype(np.float32)

    def _mirror(
        self, start: Floats, ahead: Floats, far: Floats, again: bool
    ) -> tuple[Floats, Floats]:
        """Light from the calm surface and its ripples, and the depth of the solids seen in it (else NaN)."""
        point = start + far * ahead
        normal = np.zeros_like(point)
        normal[2] = 1.0
        for x, front in self._solids.ripples:
            radius = np.hypot(point[0] - x, point[1])
            slope = ripple_slope(radius, front) / np.maximum(radius, 0.5)
            normal[0] -= slope * (point[0] - x)
            normal[1] -= slope * point[1]
        # Slow, faint unevenness that no surface in a studio is without.
        normal[1] -= 0.0012 * np.sin(0.13 * point[1] + 0.05 * point[0])
        normal /= np.sqrt((normal**2).sum(axis=0))
        cosine = -(normal * ahead).sum(axis=0)
        up = ahead + 2.0 * cosine * normal
        up[2] = np.abs(up[2])
        share = fresnel(np.clip(cosine, 0.02, 1.0), 1.0 / self._look.index)[:, None]
        point[2] += 0.02
        if again:
            seen, depth = self._follow(point, up.astype(np.float32), mirror=False)
        else:
            seen, depth = self._shine(point, up), np.full(point.shape[1], np.nan, dtype=np.float32)
        light = share * seen + (1.0 - share) * self._deep(
            refract(ahead, normal, cosine, 1.0 / self._look.index)
        )
        return light, depth

    def _deep(self, way: Floats) -> Floats:
        """Light that comes up out of the dish against a direction in the liquid; shape (n, 3).

        The nearer to level one looks, the more one sees of the light that came in through the surface behind.
        """
        look = self._look
        glow = 0.5 * (np.array(look.top) + np.array(look.bottom))
        passed = np.exp(-20.0 * np.array(look.absorption))
        cloud = 1.0 - math.exp(-30.0 * look.cloudiness)
        level = ramp(1.0 - np.abs(way[2] + 0.1) / 0.75) * ramp(way[1] * 1.4)
        clear = (0.05 + 0.42 * level)[:, None] * glow * passed
        milky = 0.25 * glow + 0.12
        made: Floats = ((1.0 - cloud) * clear + cloud * milky).astype(np.float32)
        return made

    def _pass_through(
        self, start: Floats, ahead: Floats, far: Floats, normal: Floats, owner: NDArray[np.int16]
    ) -> Floats:
        """Light that a body or sphere reflects and lets through."""
        look = self._look
        point = start + far * ahead
        cosine = np.clip(-(normal * ahead).sum(axis=0), 0.0, 1.0)
        share = fresnel(cosine, 1.0 / look.index)[:, None]
        back = ahead + 2.0 * cosine * normal
        light = share * self._shine(point, back)
        inside = refract(ahead, normal, cosine, 1.0 / look.index)
        carried = np.repeat(1.0 - share, 3, axis=1)
        dyes = self._find_dyes(owner, point[2])
        todo = np.arange(point.shape[1])
        for bounce in range(_PASSES):
            length, out_normal, deep = self._cross(point[:, todo], inside[:, todo], owner[todo])
            carried[todo] *= np.exp(-dyes[todo, :3] * length[:, None])
            if dyes[todo, 3].any():
                cloud = 1.0 - np.exp(-dyes[todo, 3] * length)[:, None]
                light[todo] += (
                    carried[todo] * cloud * self._scatter(normal[:, todo], dyes[todo, :3])
                )
                carried[todo] *= 1.0 - cloud
            end = point[:, todo] + length * inside[:, todo]
            lost = todo[deep]
            light[lost] += carried[lost] * self._deep(inside[:, lost])
            todo, end, out_normal = todo[~deep], end[:, ~deep], out_normal[:, ~deep]
            way = inside[:, todo]
            leaving = np.clip((out_normal * way).sum(axis=0), 0.0, 1.0)
            kept = fresnel(leaving, look.index)
            out = refract(way, -out_normal, leaving, look.index)
            free = kept < 0.999
            seen = self._shine(end[:, free], out[:, free])
            light[todo[free]] += carried[todo[free]] * (1.0 - kept[free])[:, None] * seen
            again = kept > 0.5
            if bounce + 1 == _PASSES or not again.any():
                break
            carried[todo] *= kept[:, None]
            inside[:, todo] = way - 2.0 * leaving * out_normal
            point[:, todo] = end - 0.05 * out_normal
            todo = todo[again]
        return light

    def _find_dyes(self, owner: NDArray[np.int16], height: Floats) -> Floats:
        """Absorption and cloudiness of what each ray meets at a height; an umbrella is half drop, half dish."""
        usual = np.array([*self._look.absorption, self._look.cloudiness], dtype=np.float32)
        dyes = np.repeat(usual[None, :], len(owner), axis=0)
        for number, dye in self._solids.dyes.items():
            dyes[owner == 1000 + number] = dye
        for number, body in enumerate(self._solids.bodies):
            for low, dye in body.sheets:
                mixed = 0.5 * (usual + np.array(dye, dtype=np.float32))
                dyes[(owner == number) & (height > low)] = mixed
        return dyes

    def _scatter(self, normal: Floats, absorption: Floats) -> Floats:
        """Light from the side that faces the camera of a cloudy liquid."""
        key = normal[0] * _KEY[0] + normal[1] * _KEY[1] + normal[2] * _KEY[2]
        around = 0.16 + 0.10 * normal[2] + 0.75 * np.maximum(key, 0.0)
        tint = np.exp(-2.0 * absorption)
        made: Floats = (around[:, None] * tint).astype(np.float32)
        return made

    def _cross(
        self, point: Floats, way: Floats, owner: NDArray[np.int16]
    ) -> tuple[Floats, Floats, Bools]:
        """From a point on a solid through it: length, outward normal where it ends, whether it ends in the dish."""
        count = point.shape[1]
        length = np.zeros(count, dtype=np.float32)
        normal = np.zeros_like(point)
        normal[2] = 1.0
        deep = np.zeros(count, dtype=bool)
        ball = np.flatnonzero(owner >= 1000)
        if ball.size:
            sphere = self._solids.spheres[owner[ball] - 1000]
            offset = point[:, ball] - sphere[:, :3].T
            length[ball] = np.maximum(-2.0 * (offset * way[:, ball]).sum(axis=0), 0.0)
            normal[:, ball] = (offset + length[ball] * way[:, ball]) / sphere[:, 3]
        for number, body in enumerate(self._solids.bodies):
            own = np.flatnonzero(owner == number)
            if not own.size:
                continue
            at = np.full(own.size, 0.06, dtype=np.float32)
            begin, through = point.take(own, axis=1), way.take(own, axis=1)
            live, far = np.arange(own.size), at
            o, d = begin.copy(), through
            o[0] -= body.x
            for _ in range(_MARCH_STEPS):
                height = o[2] + far * d[2]
                gap = look_up(body.distance, np.hypot(o[0] + far * d[0], o[1] + far * d[1]), height)
                sunk = height < LOWEST_MM + 1.0
                deep[own[live[sunk]]] = True
                far = far + np.where(sunk, 0.0, np.maximum(-0.9 * gap, 0.0))
                at[live] = far
                kept = np.flatnonzero(~sunk & (gap < -0.012))
                if not kept.size:
                    break
                live, far = live.take(kept), far.take(kept)
                o, d = o.take(kept, axis=1), d.take(kept, axis=1)
            end = begin + at * through
            deep[own] |= (end[2] < 0.25) & (through[2] < 0.15)
            length[own] = at
            normal[:, own] = find_normal(body, end)
        return length, normal, deep
