"""A blank drawing and the few strokes that the guide's figures are made of."""

from __future__ import annotations

from typing import Any

INK, BLUE, RED, GREY, WATER = "#1a1a1a", "#0a4fa0", "#b03030", "#777777", "#cfe6f5"


def blank(
    width: float, height: float, limits: tuple[float, float, float, float], title: str
) -> tuple[Any, Any]:
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    figure, axes = plt.subplots(figsize=(width, height))
    axes.set_xlim(limits[0], limits[1])
    axes.set_ylim(limits[2], limits[3])
    axes.set_aspect("equal")
    axes.axis("off")
    axes.set_title(title, loc="left", fontsize=13)
    return figure, axes


def add_box(
    axes: Any,
    x: float,
    y: float,
    w: float,
    h: float,
    text: str = "",
    *,
    face: str = "white",
    edge: str = INK,
    size: float = 9,
    style: str = "-",
) -> None:
    from matplotlib.patches import Rectangle

    axes.add_patch(Rectangle((x, y), w, h, facecolor=face, edgecolor=edge, lw=1.4, ls=style))
    if text:
        axes.text(x + w / 2, y + h / 2, text, ha="center", va="center", fontsize=size, color=INK)


def add_line(
    axes: Any, *points: tuple[float, float], colour: str = INK, width: float = 1.4, style: str = "-"
) -> None:
    axes.plot(
        [p[0] for p in points],
        [p[1] for p in points],
        color=colour,
        lw=width,
        ls=style,
        solid_capstyle="round",
    )


def add_arrow(
    axes: Any,
    start: tuple[float, float],
    end: tuple[float, float],
    colour: str = INK,
    style: str = "-|>",
) -> None:
    axes.annotate(
        "",
        xy=end,
        xytext=start,
        arrowprops={"arrowstyle": style, "color": colour, "lw": 1.3, "shrinkA": 0, "shrinkB": 0},
    )


def add_text(
    axes: Any,
    x: float,
    y: float,
    text: str,
    *,
    size: float = 9,
    colour: str = INK,
    ha: str = "left",
    va: str = "center",
) -> None:
    axes.text(x, y, text, fontsize=size, color=colour, ha=ha, va=va)
