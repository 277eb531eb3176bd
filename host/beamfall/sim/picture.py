"""Draws what the camera would have seen at the flash. The drawing says that it is not a photograph."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from beamfall.files import write_whole
from beamfall.sim.collision import Picture
from beamfall.sim.model import RigModel
from beamfall.sim.scene import Scene, make_scene

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from beamfall.sim.rig import Splash

_BELOW_MM = 22.0  # of the dish in the frame
_BACKGROUND, _WATER, _DEEP = "#dfe9ee", "#2f6f8f", "#1d4c66"
_EDGE = "#12394e"
_SHEET_COLUMNS = 5
_CROWN_SPIKES = 13
_NO_PHOTOGRAPH = "simulated, not a photograph"


def draw_picture(
    splash: Splash, model: RigModel, path: str | Path, *, light: int = 0, tell: bool = True
) -> None:
    """Draw a splash in one of its lights (the first) into a PNG.

    `tell` adds a caption that says what it shows; leave it out if a person has to judge the picture.
    Raises UserError if the file cannot be written. Without any light the picture is black.
    """
    words = _describe(splash, light) if tell else _NO_PHOTOGRAPH
    draw_scene(make_scene(splash, model, light), path, words)


def draw_scene(scene: Scene, path: str | Path, words: str = _NO_PHOTOGRAPH) -> None:
    """Draw a scene into a PNG with the words in its corner. Raises UserError where it cannot be written."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    width, height, _ = scene["frame_mm"]
    figure = Figure(figsize=(7.0, 7.0 * (height + _BELOW_MM) / width), dpi=110)
    FigureCanvasAgg(figure)
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    _draw_frame(axes, scene)
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
    """What the simulated camera saw; implements `beamfall.link.traits.Picture`."""

    splash: Splash
    model: RigModel

    @property
    def seen(self) -> Picture | None:
        """What the first light showed; None for a black picture."""
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
class RecalledPicture:
    """A picture drawn from what the log keeps of a shot's truth: obeys `beamfall.link.traits.Picture`."""

    truth: Mapping[str, Any]

    @property
    def _first(self) -> Mapping[str, Any]:
        return next(iter(self.truth["pictures"]), {})

    @property
    def shows(self) -> str | None:
        return self._first.get("shows")

    @property
    def stage_s(self) -> float | None:
        stage_ms = self._first.get("stage_ms")
        return None if stage_ms is None else stage_ms * 1e-3

    def draw(self, path: Path, *, tell: bool = True) -> None:
        words = _put_in_words(self.shows, self.stage_s) if tell else _NO_PHOTOGRAPH
        draw_scene(self.truth["scene"], path, words)


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
    each = width * (model.frame_height_m * 1e3 + _BELOW_MM) / (model.frame_width_m * 1e3) + 0.42
    figure = Figure(figsize=(columns * width, rows * each + 0.5), dpi=80, layout="constrained")
    FigureCanvasAgg(figure)
    figure.suptitle(f"{title}  (simulated)" if title else "simulated", fontsize=11)
    grid = figure.subplots(rows, columns, squeeze=False)
    for index, axes in enumerate(grid.flat):
        if index >= len(frames):
            axes.set_axis_off()
            continue
        _draw_frame(axes, make_scene(frames[index].splash, model))
        axes.set_title(frames[index].words, fontsize=8, y=-0.16)
    _save(figure, path)


def _save(figure: Any, path: str | Path) -> None:
    with write_whole(Path(path)) as part:
        figure.savefig(part, format="png")


def _describe(splash: Splash, light: int) -> str:
    if not splash.lights or not splash.pictures:
        return _NO_PHOTOGRAPH
    picture = splash.pictures[min(light, len(splash.pictures) - 1)]
    return _put_in_words(picture.shows, picture.stage_s)


def _put_in_words(shows: str | None, stage_s: float | None) -> str:
    if shows is None:
        return _NO_PHOTOGRAPH
    stage = ""
    if stage_s is not None:
        stage = f", {abs(stage_s) * 1e3:.2f} ms {'before' if stage_s < 0.0 else 'after'} contact"
    return f"{shows}{stage}\n{_NO_PHOTOGRAPH}"


def _draw_frame(axes: Axes, scene: Scene) -> None:
    width, top, dish = scene["frame_mm"]
    half = 0.5 * width
    axes.set_xlim(-half, half)
    axes.set_ylim(-_BELOW_MM, top)
    axes.set_aspect("equal", adjustable="box")
    axes.set_xticks([])
    axes.set_yticks([])
    if not scene["lit"]:
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
    depth = min(dish, _BELOW_MM)
    axes.axhspan(-_BELOW_MM, -depth, color="#777b7d")
    axes.axhspan(-depth, 0.0, color=_DEEP)
    for column in scene["columns"]:
        _draw_column(axes, column, dish)
    axes.axhline(0.0, color=_EDGE, linewidth=0.8)
    _draw_scale(axes, half, top)


def _draw_scale(axes: Axes, half: float, top: float) -> None:
    left = -half + 4.0
    axes.plot([left, left + 10.0], [top - 4.0, top - 4.0], color="black", linewidth=2.5)
    axes.text(left + 5.0, top - 5.2, "10 mm", ha="center", va="top", fontsize=8)


def _draw_column(axes: Axes, column: dict[str, Any], dish: float) -> None:
    """All in mm; x counts from the middle of the picture."""
    from matplotlib.patches import Circle, Polygon

    centre, diameter, since_ms = column["x_mm"], column["diameter_mm"], column["since_ms"]
    if since_ms > 0.0:
        _draw_crown(axes, dish, centre, diameter, column["speed_m_s"], since_ms)
    if column["jet_mm"] is not None:
        axes.add_patch(
            Polygon(_jet_outline(centre, column["jet_mm"], diameter), closed=True,
                    facecolor=_WATER, edgecolor=_EDGE, linewidth=0.8)
        )  # fmt: skip
    for height, age_ms in column["umbrellas"]:
        _draw_umbrella(axes, centre, height, age_ms)
    for x, y, radius in column["drops"]:
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
    """A sheet that spreads fast, then slows and sinks at its rim; the widths are our choice, to look right."""
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
    axes: Axes, dish: float, centre: float, diameter: float, speed: float, since_ms: float
) -> None:
    """Crown and cavity in the first tens of milliseconds; the sizes are our choice, to look right."""
    from matplotlib.patches import Circle, Ellipse, Polygon

    life = since_ms * speed / diameter  # in drop diameters travelled: 1 m/s is 1 mm/ms
    radius = diameter * min(0.55 * math.sqrt(life), 3.4)
    open_share = max(0.0, 1.0 - (since_ms / 45.0) ** 2)
    if open_share > 0.0:
        depth = min(dish * 0.95, radius * 0.9) * open_share
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
