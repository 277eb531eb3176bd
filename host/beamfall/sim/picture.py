"""What the camera would have seen at the flash, drawn. A drawing, not a photograph, and it says so."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from beamfall.errors import UserError
from beamfall.sim.collision import Column, Picture, see_picture
from beamfall.sim.drops import find_height
from beamfall.sim.model import RigModel

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from beamfall.sim.rig import Splash

_BELOW_M = 0.022  # of the dish in the frame
_BACKGROUND, _WATER, _DEEP = "#dfe9ee", "#2f6f8f", "#1d4c66"
_EDGE = "#12394e"
_SHEET_COLUMNS = 5
_CROWN_SPIKES = 13
_NO_PHOTOGRAPH = "simulated, not a photograph"


def draw_picture(
    splash: Splash, model: RigModel, path: str | Path, *, light: int = 0, tell: bool = True
) -> None:
    """Draw what a splash shows at one of its lights (the first) into a PNG.

    `tell`: say below what it shows; not for whoever is asked that.
    Raises UserError where the file cannot be written. Without any light the picture is black.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    height = model.frame_height_m + _BELOW_M
    figure = Figure(figsize=(7.0, 7.0 * height / model.frame_width_m), dpi=110)
    FigureCanvasAgg(figure)
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    _draw_frame(axes, splash, model, light)
    words = _describe(splash, light) if tell else _NO_PHOTOGRAPH
    axes.text(
        0.985, 0.015, words, transform=axes.transAxes, ha="right", va="bottom",
        color="white", fontsize=9, linespacing=1.4,
    )  # fmt: skip
    _save(figure, path)


def draw_pictures(splashes: Sequence[Splash], model: RigModel, path: str | Path) -> None:
    """Draw one splash as a picture, several as a contact sheet, numbered from 1."""
    if len(splashes) == 1:
        draw_picture(splashes[0], model, path)
        return
    frames = [
        Frame(splash, f"shot {number}: {_describe(splash, 0).splitlines()[0]}")
        for number, splash in enumerate(splashes, 1)
    ]
    draw_sheet(frames, model, path, title=f"{len(frames)} shots")


@dataclass(frozen=True)
class SimulatedPicture:
    """What the simulated camera saw: obeys `beamfall.link.traits.Picture`."""

    splash: Splash
    model: RigModel

    @property
    def seen(self) -> Picture | None:
        """What the first light showed; None: a black picture."""
        return self.splash.pictures[0] if self.splash.pictures else None

    @property
    def shows(self) -> str | None:
        return None if self.seen is None else self.seen.shows

    @property
    def stage_s(self) -> float | None:
        return None if self.seen is None else self.seen.stage_s

    def draw(self, path: Path, *, tell: bool = True) -> None:
        draw_picture(self.splash, self.model, path, tell=tell)


@dataclass(frozen=True)
class Frame:
    """One picture of a contact sheet and the words below it."""

    splash: Splash
    words: str


def draw_sheet(
    frames: Sequence[Frame], model: RigModel, path: str | Path, *, title: str = ""
) -> None:
    """Draw many simulated pictures on one sheet, in order; raises UserError as `draw_picture` does."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    columns = min(_SHEET_COLUMNS, max(1, len(frames)))
    rows = max(1, math.ceil(len(frames) / columns))
    width = 2.9
    each = width * (model.frame_height_m + _BELOW_M) / model.frame_width_m + 0.42
    figure = Figure(figsize=(columns * width, rows * each + 0.5), dpi=80, layout="constrained")
    FigureCanvasAgg(figure)
    figure.suptitle(f"{title}  (simulated)" if title else "simulated", fontsize=11)
    grid = figure.subplots(rows, columns, squeeze=False)
    for index, axes in enumerate(grid.flat):
        if index >= len(frames):
            axes.set_axis_off()
            continue
        _draw_frame(axes, frames[index].splash, model, 0)
        axes.set_title(frames[index].words, fontsize=8, y=-0.16)
    _save(figure, path)


def _save(figure: Any, path: str | Path) -> None:
    try:
        figure.savefig(path, format="png")
    except OSError as error:
        raise UserError(
            f"{path}: the picture cannot be written: {error.strerror or error}"
        ) from error


def _describe(splash: Splash, light: int) -> str:
    if not splash.lights or not splash.pictures:
        return _NO_PHOTOGRAPH
    picture: Picture = splash.pictures[min(light, len(splash.pictures) - 1)]
    words = picture.shows
    if picture.stage_s is not None:
        words += f", {picture.stage_s * 1e3:+.2f} ms from contact"
    return f"{words}\n{_NO_PHOTOGRAPH}"


def _draw_frame(axes: Axes, splash: Splash, model: RigModel, light: int) -> None:
    half = 0.5 * model.frame_width_m * 1e3
    top = model.frame_height_m * 1e3
    axes.set_xlim(-half, half)
    axes.set_ylim(-_BELOW_M * 1e3, top)
    axes.set_aspect("equal", adjustable="box")
    axes.set_xticks([])
    axes.set_yticks([])
    if not splash.lights:
        axes.set_facecolor("#050505")
        axes.text(
            0.0,
            0.5 * top,
            "no light reached the camera: a black picture",
            color="#bbbbbb",
            ha="center",
        )
        return
    axes.set_facecolor(_BACKGROUND)
    when = splash.lights[min(light, len(splash.lights) - 1)][1]
    depth = min(model.dish_depth_m, _BELOW_M) * 1e3
    axes.axhspan(-_BELOW_M * 1e3, -depth, color="#777b7d")
    axes.axhspan(-depth, 0.0, color=_DEEP)
    for column in splash.columns:
        _draw_column(axes, column, model, when)
    axes.axhline(0.0, color=_EDGE, linewidth=0.8)
    _draw_scale(axes, half, top)


def _draw_scale(axes: Axes, half: float, top: float) -> None:
    left = -half + 4.0
    axes.plot([left, left + 10.0], [top - 4.0, top - 4.0], color="black", linewidth=2.5)
    axes.text(left + 5.0, top - 5.2, "10 mm", ha="center", va="top", fontsize=8)


def _draw_column(axes: Axes, column: Column, model: RigModel, when: float) -> None:
    """All in mm; x counts from the column's place and where drop 1 struck."""
    from matplotlib.patches import Circle, Polygon

    if not column.recent:
        return
    place = column.place_m * 1e3
    first = column.recent[0]
    centre = place + first.aim_m[0] * 1e3
    picture = see_picture(model, column, when)
    since = when - first.impact_s
    if since > 0.0:
        _draw_crown(axes, model, centre, first.diameter_m, first.impact_speed_m_s, since)
    met = [contact for contact in column.contacts if when >= contact.when_s]
    hit = picture.shows == "after" and bool(met)
    if picture.jet_m:
        tall = (met[-1].height_m if hit else picture.jet_m) * 1e3
        axes.add_patch(
            Polygon(_jet_outline(centre, tall, first.diameter_m * 1e3), closed=True,
                    facecolor=_WATER, edgecolor=_EDGE, linewidth=0.8)
        )  # fmt: skip
    if hit:
        for contact in met:
            _draw_umbrella(axes, centre, contact.height_m * 1e3, (when - contact.when_s) * 1e3)
    for number, drop in enumerate(column.recent):
        lowest = find_height(model, drop, when)
        if lowest is None or (hit and 0 < number <= len(met)):
            continue
        radius = 0.5e3 * drop.diameter_m
        x = place + drop.aim_m[0] * 1e3
        y = lowest * 1e3 + radius
        axes.add_patch(Circle((x, y), radius, facecolor=_WATER, edgecolor=_EDGE, linewidth=0.8))
        axes.add_patch(Circle((x - 0.3 * radius, y + 0.35 * radius), 0.2 * radius, color="white"))


def _jet_outline(centre: float, tall: float, diameter: float) -> list[tuple[float, float]]:
    """A column that widens towards its foot and has a round tip."""
    neck = min(0.42 * diameter, 0.45 * tall)
    outline: list[tuple[float, float]] = []
    for step in range(33):
        share = step / 32
        half = neck + 1.6 * diameter * math.exp(-6.0 * share) * (1.0 - share)
        outline.append((half, share * (tall - neck)))
    outline += [
        (neck * math.cos(a * math.pi / 32), tall - neck + neck * math.sin(a * math.pi / 32))
        for a in range(1, 17)
    ]
    right = [(centre + x, y) for x, y in outline]
    left = [(centre - x, y) for x, y in reversed(outline)]
    return right + left


def _draw_umbrella(axes: Axes, centre: float, height: float, since_ms: float) -> None:
    """A sheet that spreads fast and slows, and sinks at its rim; widths are ours, for the eye."""
    from matplotlib.patches import Circle, Polygon

    width = 2.2 + 19.0 * (1.0 - math.exp(-max(since_ms, 0.0) / 7.0))
    sag = 0.012 * width * max(since_ms, 0.0) ** 0.5 * 4.0
    thick = max(0.5, 2.6 * math.exp(-since_ms / 6.0))
    steps = [index / 24 for index in range(-24, 25)]
    upper = [
        (centre + width * u, height + thick * (1.0 - u * u) - sag * abs(u) ** 2.2) for u in steps
    ]
    lower = [
        (centre + width * u, height - 0.5 * thick - sag * abs(u) ** 2.2) for u in reversed(steps)
    ]
    axes.add_patch(
        Polygon(upper + lower, closed=True, facecolor=_WATER, edgecolor=_EDGE, linewidth=0.8,
                alpha=0.92)
    )  # fmt: skip
    if since_ms > 2.0:
        for side in (-1.0, 1.0):
            axes.add_patch(
                Circle((centre + side * width, height - sag), 0.9, facecolor=_WATER,
                       edgecolor=_EDGE, linewidth=0.6)
            )  # fmt: skip


def _draw_crown(
    axes: Axes, model: RigModel, centre: float, diameter_m: float, speed: float, since_s: float
) -> None:
    """Crown and cavity in the first tens of milliseconds; sizes are ours, for the eye."""
    from matplotlib.patches import Circle, Ellipse, Polygon

    life = since_s * speed / diameter_m  # in drop diameters travelled
    diameter = diameter_m * 1e3
    radius = diameter * min(0.55 * math.sqrt(life), 3.4)
    open_share = max(0.0, 1.0 - (since_s / 0.045) ** 2)
    if open_share > 0.0:
        depth = min(model.dish_depth_m * 1e3 * 0.95, radius * 0.9) * open_share
        axes.add_patch(
            Ellipse((centre, 0.0), 2.0 * radius * open_share, 2.0 * depth, color=_BACKGROUND)
        )
    high = 1.7 * diameter * math.sin(min(math.pi, life / 24.0 * math.pi))
    if high <= 0.4:
        return
    outline: list[tuple[float, float]] = [(centre - radius, 0.0)]
    for spike in range(_CROWN_SPIKES):
        share = -1.0 + 2.0 * spike / (_CROWN_SPIKES - 1)
        flare = 1.0 + 0.22 * high / diameter
        x = centre + radius * flare * share
        tall = high * (1.0 + (0.30 if spike % 2 else 0.0))
        outline.append((x, tall))
        if spike % 2:
            axes.add_patch(
                Circle((x, tall + 0.5), 0.5, facecolor=_WATER, edgecolor=_EDGE, linewidth=0.5)
            )
    outline.append((centre + radius, 0.0))
    axes.add_patch(
        Polygon(outline, closed=True, facecolor=_WATER, edgecolor=_EDGE, linewidth=0.8, alpha=0.75)
    )
