"""Drawings for the build guide that are not schematics. Dimensions are those that the guide's text names."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

from circuit.figures_build import draw_overview, draw_parts
from circuit.figures_case import draw_case
from circuit.figures_kit import STEPS, draw_step
from circuit.figures_stand import draw_beam_head, draw_geometry, draw_mariotte

FIGURES: dict[str, Callable[[], Any]] = {
    "overview": draw_overview,
    "parts": draw_parts,
    **{f"kit_{n}": partial(draw_step, n) for n in range(1, len(STEPS) + 1)},
    "beam_head": draw_beam_head,
    "geometry": draw_geometry,
    "mariotte": draw_mariotte,
    "case": draw_case,
}


def draw_figures(folder: Path) -> list[Path]:
    """Writes all figures as SVG and PNG."""
    import matplotlib
    import matplotlib.pyplot as plt

    matplotlib.rcParams["svg.hashsalt"] = "beamfall"
    paths = []
    for name, draw in FIGURES.items():
        figure = draw()
        figure.savefig(
            folder / f"{name}.svg", bbox_inches="tight", metadata={"Date": None}, facecolor="white"
        )
        figure.savefig(
            folder / f"{name}.png",
            bbox_inches="tight",
            dpi=110,
            metadata={"Software": None},
            facecolor="white",
        )
        plt.close(figure)
        paths += [folder / f"{name}.svg", folder / f"{name}.png"]
    return paths
