"""Simulated rigs with pictures of every kind and under every condition, with what is true of each.

A rig has one camera, one light and one liquid; its pictures differ in what they show. Nothing here is a photograph.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Any

from beamfall.planning.seek.answer import Shot as SeenShot
from beamfall.planning.setting import compute_flow, make_setting
from beamfall.setup.rig import Rig, example_rig
from beamfall.setup.signals import Signal
from beamfall.sim.build import draw_model
from beamfall.sim.collision import see_picture
from beamfall.sim.develop import render
from beamfall.sim.drops import find_height, reach
from beamfall.sim.liquid_shapes import find_sheet
from beamfall.sim.look import DYES, GELS, Look
from beamfall.sim.model import RigModel
from beamfall.sim.needs import find_needs
from beamfall.sim.picture import frame_action
from beamfall.sim.raytrace import Frame
from beamfall.sim.rig import SimulatedRig
from beamfall.sim.scene import Scene, make_scene
from beamfall.sim.splash_surface import find_surface

#: What a picture may show, and how often.
KINDS = {
    "after": 10, "before": 5, "contact": 1, "jet": 2, "crown": 2, "nothing": 1, "falling": 1, "half out": 2,
}  # fmt: skip
LEVEL_DEG = (2.0, 8.0)  # by which a camera beside the dish looks down
_LOWEST_CROWN_MM = 1.0
_DROPS_M, _SMALL_DROPS_M = (3.2e-3, 4.6e-3), (1.9e-3, 2.9e-3)
_FAR = 2.0  # a camera that is not close shows this many times the height, at most the rig's usual frame
_VALVE = int(Signal.valve1)


@dataclass(frozen=True)
class Truth:
    """What is true of a picture. Rows and columns are in pixels, lengths in mm, times in ms; None if it is not in the
    picture.

    `stage` is `nothing`, `crown`, `jet`, `before`, `contact` or `after`.
    """

    kind: str
    stage: str
    per_mm: float
    surface_row: float
    tip_row: float | None = None
    lowest_row: float | None = None
    drop_mm: float | None = None
    diameter_mm: float | None = None
    age_ms: float | None = None
    meeting_m_s: float | None = None
    heights_mm: tuple[float, ...] = ()  # of each drop's lowest point, had it met nothing


@dataclass(frozen=True)
class Shot:
    """A picture with its truth. `file`: what the photographer's file says of the rig; `seen`: what the log says of
    the shot."""

    rig: int
    pixels: Any
    truth: Truth
    scene: Scene
    file: Rig
    seen: SeenShot

    @property
    def delay_ms(self) -> float | None:
        """From drop 2's beam edge to the flash's contact; None with one drop."""
        edge = self.seen.find_edge(2)
        return None if edge is None else 1e3 * (self.seen.flash_s - edge)


@dataclass(frozen=True)
class Taken:
    """A simulated shot before its picture is drawn: the scene, what it shows, the speed at which drop and jet met in
    m/s, how far each drop's lowest point would be above the surface in m, and what the log says."""

    scene: Scene
    stage: str
    meeting_m_s: float | None
    heights_m: tuple[float, ...]
    seen: SeenShot


def draw_look(draws: random.Random, down_deg: tuple[float, float] = LEVEL_DEG) -> Look:
    """A camera, a light and a liquid. `down_deg`: the smallest and the largest angle by which the camera looks down."""
    colours = [name for name in GELS if name not in ("black", "grey")]
    top, bottom = draws.choice(colours), draws.choice([*colours, "grey", "black"])
    milky = draws.random() < 0.1
    return Look(
        index=draws.uniform(1.333, 1.40),
        absorption=DYES[draws.choice(["clear", "clear", *DYES])],
        cloudiness=draws.uniform(0.5, 2.0) if milky else 0.0,
        top=GELS[top],
        bottom=GELS[bottom if draws.random() < 0.6 else top],
        slant=draws.uniform(-0.5, 0.5),
        down_deg=draws.uniform(*down_deg),
        roll_deg=draws.uniform(-3.0, 3.0),
        f_number=draws.uniform(9.0, 22.0),
        magnification=draws.uniform(0.3, 0.6),
        exposure=draws.uniform(0.5, 1.3),
        noise=draws.uniform(0.003, 0.025),
        dish_mm=draws.uniform(150.0, 300.0),
    )


def draw_rig(
    number: int, world: str, down_deg: tuple[float, float] = LEVEL_DEG
) -> tuple[Rig, RigModel, random.Random]:
    """A rig by its number, as its file has it and as it is; each `world` has other rigs, with drops of 2 to 3 mm if it
    begins with `small`."""
    draws = random.Random(f"photographed {world} {number}")
    rig = example_rig()
    height = draws.uniform(0.4, 0.8)
    diameter = draws.uniform(*(_SMALL_DROPS_M if world.startswith("small") else _DROPS_M))
    flow = compute_flow(rig.valves[0], make_setting(rig))
    opening = round(flow.find_opening(math.pi / 6.0 * diameter**3), 4)
    valve = replace(rig.valves[0], height_m=height, opening_s=opening)
    beam = replace(rig.beams[0], height_m=height - 0.12)
    rig = replace(rig, valves=(valve,), beams=(beam,))
    model = draw_model(rig, draws.randrange(10**6))
    lamp = replace(model.flashes[0], duration_s=draws.uniform(1.5e-5, 8e-5))
    return rig, replace(model, look=draw_look(draws, down_deg), flashes=(lamp,)), draws


def photograph(
    rigs: Iterable[int],
    each: int,
    *,
    world: str,
    pixels: int,
    down_deg: tuple[float, float] = LEVEL_DEG,
) -> Iterator[Shot]:
    """Pictures of the rigs of those numbers, `each` of every rig; every second camera stands as close as the highest
    splash of its rig allows, the others twice as far away."""
    for number in rigs:
        file, model, draws = draw_rig(number, world, down_deg)
        met_at = draws.uniform(0.6, 0.95)
        kinds = draws.choices(list(KINDS), weights=list(KINDS.values()), k=each)
        # What hangs at the frame's top comes last: the others say where that is.
        kinds.sort(key=lambda kind: kind == "half out")
        made: list[tuple[int, str, Taken]] = []
        frame: Scene = {}
        for picture, kind in enumerate(kinds):
            if kind == "half out" and not frame:
                frame = _choose_frame([one.scene for _, _, one in made], model, number % 2 == 1)
                model = replace(model, frame_height_m=1e-3 * frame["frame_mm"][1])
            shot = make_shot(model, kind, draws, met_at=met_at)
            if shot is not None:
                made.append((picture, kind, shot))
        frame = frame or _choose_frame([one.scene for _, _, one in made], model, number % 2 == 1)
        for picture, kind, shot in made:
            framed = shot.scene | frame
            seen = render(framed, pixels=pixels, seed=100 * number + picture)
            truth = find_truth(framed, kind, shot.stage, shot.meeting_m_s, pixels)
            truth = replace(truth, heights_mm=tuple(1e3 * one for one in shot.heights_m))
            yield Shot(number, seen, truth, framed, file, shot.seen)


def _choose_frame(scenes: list[Scene], model: RigModel, is_close: bool) -> Scene:
    """The frame of a rig's camera, which does not move: proportions and place of the surface are those of the
    framing on its highest splash."""
    usual = [1e3 * one for one in (model.frame_width_m, model.frame_height_m, model.dish_depth_m)]
    below = 1e3 * model.frame_below_m
    close = max((frame_action(scene) for scene in scenes), key=_find_height, default=None)
    if close is None:
        return {"frame_mm": usual, "below_mm": below}
    (wide, above, dish), under = close["frame_mm"], close["below_mm"]
    times = 1.0 if is_close else min(_FAR, (usual[1] + below) / (above + under))
    return {"frame_mm": [wide * times, above * times, dish], "below_mm": under * times}


def _find_height(scene: Scene) -> float:
    height: float = scene["frame_mm"][1]
    return height


def make_shot(
    model: RigModel, kind: str, draws: random.Random, *, met_at: float | None = None
) -> Taken | None:
    """A shot whose picture is of that kind.

    Its spacing lets the drops meet at the share `met_at` of the jet's rise, on average (None: chosen at random). The
    scene is None if the rig cannot make one.
    """
    rig = SimulatedRig(model, seed=draws.randrange(10**6))
    needs = find_needs(model, 0.0, draws.uniform(0.6, 0.95) if met_at is None else met_at)
    drops = 1 if kind in ("jet", "crown", "nothing", "falling") else 2
    if needs is None:
        return None
    for number in range(drops):
        opened = 1.0 + number * needs.spacing_s
        rig.drive(_VALVE, 1, round(opened * rig.clock_hz))
        rig.drive(_VALVE, 0, round((opened + model.valves[0].opening_s) * rig.clock_hz))
    splash = rig._splash
    if not splash.columns or len(splash.drops) < drops:
        return None
    column = splash.columns[0]
    first, jet, contact = splash.drops[0], column.jet, column.contact
    if jet is None or (drops == 2 and contact is None):
        return None
    when = {
        "after": lambda: contact.when_s + draws.uniform(0.3e-3, 8e-3),
        "before": lambda: contact.when_s - draws.uniform(0.35e-3, 9e-3),
        "contact": lambda: contact.when_s + draws.uniform(-0.2e-3, 0.2e-3),
        "jet": lambda: jet.starts_s + draws.uniform(0.25, 1.0) * jet.rise_s,
        "crown": lambda: first.impact_s + draws.uniform(3e-3, 15e-3),
        "nothing": lambda: jet.starts_s - draws.uniform(1e-3, 8e-3),
        "falling": lambda: first.impact_s - draws.uniform(1e-3, 15e-3),
        "half out": lambda: _enters(model, splash.drops[-1], draws),
    }[kind]()
    splash.lights = [(1, when, when + model.flashes[0].duration_s)]
    picture = see_picture(model, column, when)
    scene = make_scene(splash, model)
    stage = "before" if kind in ("falling", "half out") else picture.shows
    if picture.shows == "missed" or (
        kind != "half out" and stage == "before" and not _is_inside(scene)
    ):
        return None
    meeting = None if contact is None else _meeting_speed(model, column)
    heights = tuple(_find_free_height(model, one, when) for one in splash.drops)
    return Taken(
        scene, stage, meeting, heights, _log_shot(model, splash.drops, needs.spacing_s, when)
    )


def _find_free_height(model: RigModel, drop: Any, when_s: float) -> float:
    """Height of a drop's lowest point had it met nothing; below the surface it falls on at the speed of its impact."""
    height = find_height(model, drop, when_s)
    late = when_s - drop.impact_s
    return height if height is not None else -drop.impact_speed_m_s * late


def _log_shot(model: RigModel, drops: list[Any], spacing_s: float, when_s: float) -> SeenShot:
    """What the board logs of a shot whose first valve opens at 1 s and whose light comes at `when_s`."""
    dark = [drop.dark_s[1] for drop in drops]
    return SeenShot(
        times_s=tuple(number * spacing_s for number in range(len(drops))),
        flash_s=when_s - model.flashes[0].latency_s - 1.0,
        edges_s=tuple(start - 1.0 for start, _ in dark),
        dwells_s=tuple(end - start for start, end in dark),
    )


def _enters(model: RigModel, drop: Any, draws: random.Random) -> float:
    return reach(model, drop, model.frame_height_m + draws.uniform(-0.2, 0.3) * drop.diameter_m)[0]


def _meeting_speed(model: RigModel, column: Any) -> float:
    contact, drop = column.contact, column.recent[1]
    rise = column.jet.tip_m(contact.when_s + 1e-4) - column.jet.tip_m(contact.when_s - 1e-4)
    return reach(model, drop, contact.height_m + 0.5 * drop.diameter_m)[1] + rise / 2e-4


def _is_inside(scene: Scene) -> bool:
    above = scene["frame_mm"][1]
    return any(y + radius < above - 1.0 for _, y, radius, _ in scene["columns"][0]["drops"])


def photograph_one(
    kind: str, pixels: int, model: RigModel | None = None
) -> tuple[Any, Truth, Taken]:
    """A picture of that kind, always the same one, of the example rig or another; with its truth and its shot."""
    model = model or draw_model(example_rig(), 4)
    draws = random.Random(f"measured {kind}")
    taken = next(one for _ in range(20) if (one := make_shot(model, kind, draws)) is not None)
    truth = find_truth(taken.scene, kind, taken.stage, taken.meeting_m_s, pixels)
    return render(taken.scene, pixels=pixels), truth, taken


def find_truth(scene: Scene, kind: str, stage: str, meeting: float | None, pixels: int) -> Truth:
    """The truth about a scene in a picture of that many pixels."""
    frame = Frame.of(scene, pixels)
    column = scene["columns"][0]
    x = column["x_mm"]
    jet, drops, sheets = column["jet_mm"], column["drops"], column["umbrellas"]
    sheet = find_sheet(sheets[0], column) if sheets else None
    tip = sheet.top if sheet else jet
    lowest = drops[-1] if drops and not sheet else None
    surface = find_surface(scene, column)
    crown = surface.crown if surface else None
    sunk = crown is None or crown.height < _LOWEST_CROWN_MM
    if stage == "cavity" or (stage == "crown" and sunk):
        stage = "nothing"  # it has sunk into the ripples, or lies below the surface's line
    return Truth(
        kind=kind,
        stage=stage,
        per_mm=frame.per_mm,
        surface_row=frame.find_pixel(x, 0.0)[1],
        tip_row=None if not tip else frame.find_pixel(x, tip)[1],
        lowest_row=None
        if lowest is None
        else frame.find_pixel(lowest[0], lowest[1] - lowest[2])[1],
        drop_mm=None if lowest is None else 2.0 * lowest[2],
        diameter_mm=None if sheet is None else 2.0 * sheet.radius,
        age_ms=None if not sheets else sheets[0][1],
        meeting_m_s=meeting,
    )
