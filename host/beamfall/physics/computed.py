"""The library of computed splashes: what each run was, what it showed, and the liquid's surface against time.

Computed with the open solver Basilisk, axisymmetric, volume of fluid with surface tension, adaptive mesh with cells
of box/2^level (`cell_m`), velocity threshold 0.04 m/s. A drop falls on a pool of the same liquid; in some runs
a second drop of the same size follows on the axis. Times count from the first impact, heights from the calm surface.

What limits them: no fingers on crowns and rims, and a ring of spray that shrinks to the axis, where real droplets would
miss one another. Whether and when a jet pinches off differs between meshes. `half` says what a single-drop run
serves for: `fit` for the laws of `physics.jet`, `judge` for judging them. The others have neither.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from beamfall.physics.liquids import Liquid

if TYPE_CHECKING:
    from beamfall.arrays import AnyFloats as Floats


_FILE = Path(__file__).with_name("computed_splashes.npz")
_UNIT_M = 2e-5  # of the stored points
#: A body counts as the jet's tip from this share of the drop's volume, 0.58 of its diameter (our choice: less does not
#: stop drop 2).
LEAST_BODY = 0.2
#: Onset, height and rise of level 10 over those of level 9: medians of 14 pairs. Single heights differ by 0.59 to
#: 1.77 times, rises by 0.52 to 1.81: how a jet breaks depends on the mesh. Level 11 over level 10 in one case, c36:
#: 1.03, 0.98 and 1.02.
MESH = (1.04, 1.04, 1.0)


@dataclass(frozen=True)
class Second:
    """A second drop: placed at `placed_s` with its centre at `height_m`, falling at `speed_m_s`."""

    placed_s: float
    height_m: float
    speed_m_s: float


@dataclass(frozen=True)
class ComputedJet:
    """What a single drop made: its cavity at its deepest, and the jet.

    `height_m`: highest point of the column, `rise_s` after the onset. `tip_m`: the highest point of the column or of a
    body of LEAST_BODY that came free of it, each `tip_step_s` from the onset as long as the run lasted. Such a body
    may fly higher than the column.
    """

    cavity_m: float
    cavity_s: float
    onset_s: float
    height_m: float
    rise_s: float
    tip_m: tuple[float, ...]
    tip_step_s: float = 1e-3


@dataclass(frozen=True)
class ComputedSplash:
    """One run. `jet` is None where nothing rose above the surface, and in runs with a second drop."""

    name: str
    level: int
    cell_m: float
    diameter_m: float
    speed_m_s: float
    liquid: Liquid
    depth_m: float
    end_s: float
    half: str
    jet: ComputedJet | None
    second: Second | None
    scale: float = 1.0  # see `scaled`

    @property
    def case(self) -> str:
        """The name without the level: the same case on several meshes."""
        return self.name.rsplit("-", 1)[0]

    def scaled(self, scale: float) -> ComputedSplash:
        """The same splash `scale` times as large: every dimensionless group stays.

        With gravity and density kept, speeds and times grow with √scale, viscosity with scale^1.5, surface tension
        with scale².
        """
        root = scale**0.5
        jet, second = self.jet, self.second
        if jet is not None:
            jet = replace(
                jet,
                cavity_m=scale * jet.cavity_m, cavity_s=root * jet.cavity_s, onset_s=root * jet.onset_s,
                height_m=scale * jet.height_m, rise_s=root * jet.rise_s,
                tip_step_s=root * jet.tip_step_s, tip_m=tuple(scale * tip for tip in jet.tip_m),
            )  # fmt: skip
        if second is not None:
            second = Second(
                root * second.placed_s, scale * second.height_m, root * second.speed_m_s
            )
        liquid = self.liquid
        return replace(
            self, cell_m=scale * self.cell_m, diameter_m=scale * self.diameter_m,
            speed_m_s=root * self.speed_m_s, depth_m=scale * self.depth_m, end_s=root * self.end_s,
            jet=jet, second=second, scale=scale * self.scale,
            liquid=replace(
                liquid, viscosity_pa_s=scale**1.5 * liquid.viscosity_pa_s,
                surface_tension_n_m=scale**2 * liquid.surface_tension_n_m,
            ),
        )  # fmt: skip

    def read_surfaces(self) -> tuple[Floats, list[list[Floats]]]:
        """All stored surfaces: their times in s, shape (n,), and the curves of each, arrays of (radius, height) in m.

        The first curve is the pool's surface with what is connected to it, from the axis outward; the others close a
        drop or a bubble, on the axis or around it. A point is liquid where the curves wind around it an odd number of
        times. Surfaces are stored each ms of the run, with a second drop from shortly before it is placed.
        """
        times, frames = _read_frames(self.name)
        if self.scale == 1.0:
            return times, frames
        return times * self.scale**0.5, [[self.scale * one for one in frame] for frame in frames]


@cache
def list_splashes() -> tuple[ComputedSplash, ...]:
    """All runs of the library, by name."""
    return tuple(make_splash(one) for one in _read_about())


def find_splash(name: str) -> ComputedSplash:
    """The run of that name; KeyError if there is none."""
    return {one.name: one for one in list_splashes()}[name]


def _read_about() -> list[dict[str, Any]]:
    import numpy as np

    with np.load(_FILE) as stored:
        about: list[dict[str, Any]] = json.loads(stored["about"].tobytes())
    return about


def make_splash(one: Mapping[str, Any]) -> ComputedSplash:
    """A run from its stored description: lengths in mm, times in ms."""
    jet = second = None
    if "onset_ms" in one:
        jet = ComputedJet(
            one["cavity_mm"] * 1e-3, one["cavity_ms"] * 1e-3, one["onset_ms"] * 1e-3,
            one["height_mm"] * 1e-3, one["rise_ms"] * 1e-3,
            tuple(tip * 1e-3 for tip in one["tip_mm"]),
        )  # fmt: skip
    if "second_ms" in one:
        second = Second(one["second_ms"] * 1e-3, one["second_mm"] * 1e-3, one["second_m_s"])
    liquid = Liquid(
        one["name"], one["density_kg_m3"], one["viscosity_mpa_s"] * 1e-3, one["tension_mn_m"] * 1e-3
    )
    return ComputedSplash(
        one["name"], one["level"], one["cell_mm"] * 1e-3, one["diameter_mm"] * 1e-3,
        one["speed_m_s"], liquid, one["depth_mm"] * 1e-3, one["end_ms"] * 1e-3,
        one.get("half", ""), jet, second,
    )  # fmt: skip


@cache
def _read_frames(name: str) -> tuple[Floats, list[list[Floats]]]:
    """Times in s and curves in m of one run."""
    import numpy as np

    first = 0
    for one in _read_about():
        if one["name"] == name:
            break
        first += one["frames"]
    else:
        raise KeyError(name)
    with np.load(_FILE) as stored:
        times = stored["frame_ms"][first : first + one["frames"]] * 1e-3
        curves = np.concatenate([[0], np.cumsum(stored["frame_curves"], dtype=np.int64)])
        points = np.concatenate([[0], np.cumsum(stored["curve_points"], dtype=np.int64)])
        steps = np.stack([stored["points_r"], stored["points_z"]], axis=1)
    frames = []
    for frame in range(first, first + len(times)):
        # each curve is stored as its first point and the steps to the next
        frames.append(
            [
                np.cumsum(steps[points[c] : points[c + 1]], axis=0, dtype=np.int64) * _UNIT_M
                for c in range(curves[frame], curves[frame + 1])
            ]
        )
    return times.astype(np.float64), frames
