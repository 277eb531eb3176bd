"""What a rig file does not say exactly, as distributions: one table for planner and simulated rig.

Every unknown is a function of a standard normal number z, so that a rig is a vector of z, the
prior is the unit normal in all directions, and what a rig has shown is a mean and a covariance of
z (see `learned`). Spreads with no source are estimates and say so in `why`.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Literal, Self

from beamfall.errors import PhysicsRangeError
from beamfall.physics.fall import fall
from beamfall.physics.impact import SHALLOWEST_JET_M
from beamfall.physics.jet import JetPrior, draw_jet_prior, take_root_law
from beamfall.planning.setting import BEAM_SENSE, Setting, compute_drop, make_setting
from beamfall.setup.rig import Rig

Law = Literal["plain", "logarithm", "root"]


@dataclass(frozen=True)
class Unknown:
    """One unknown: `middle` where z is 0, its bounds, and `spread`, by its `law` that of the value, of its logarithm,
    or relative to the middle with a normal square root.
    """

    name: str
    middle: float
    spread: float
    low: float
    high: float
    law: Law
    why: str

    def at(self, z: float) -> float:
        """The value for one z."""
        return float(self.at_all(z))

    def at_all(self, z: Any) -> Any:
        """The values for an array of z."""
        import numpy as np

        shift = self.spread * np.asarray(z, dtype=np.float64)
        match self.law:
            case "plain":
                value = self.middle + shift
            case "logarithm":
                value = self.middle * np.exp(shift)
            case "root":
                value = self.middle * take_root_law(shift)
        return np.clip(value, self.low, self.high)

    def find_shift(self, value: float) -> float:
        """`spread` times the z of a value."""
        match self.law:
            case "plain":
                return value - self.middle
            case "logarithm":
                return math.log(value / self.middle)
            case "root":
                return 2.0 * (math.sqrt(value / self.middle) - 1.0)


@dataclass(frozen=True)
class Normal:
    """A normal distribution of z over `names`."""

    names: tuple[str, ...]
    mean: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]

    @classmethod
    def of(
        cls, names: tuple[str, ...], mean: Iterable[float], covariance: Iterable[Iterable[float]]
    ) -> Self:
        """From rows, or arrays, in the order of `names`."""
        rows = tuple(tuple(float(value) for value in row) for row in covariance)
        return cls(tuple(names), tuple(float(value) for value in mean), rows)


#: Order of the z vector; a file of what was learned names them, so that the order may change.
NAMES = (
    "nozzle_error_m", "beam_error_m", "volume_ratio", "detachment_ratio", "start_speed_ratio",
    "beam_sense", "latency_error_s", "flash_latency_ratio", "onset_factor", "height_factor", "rise_factor",
    "contact_offset_s", "other_latency_error_s", "other_nozzle_error_m", "other_volume_ratio", "fall_factor",
)  # fmt: skip
#: What the other valves of a rig have beside the errors of the first one.
OF_OTHERS = ("other_latency_error_s", "other_nozzle_error_m", "other_volume_ratio")
#: Drawn from a stream of their own, so that the rest of a rig does not depend on them.
APART = (*OF_OTHERS, "fall_factor")
_UNKNOWN_LENGTH = 0.25  # of the volume: lengths of 10 to 40 mm instead of 20
GAP_ERROR_M = 3e-4  # standard error of the distance between two beams (our choice: a steel rule)
#: Middle of the fall's factor, and the standard deviation of its logarithm.
FALL_LAW = (1.06, 0.52)
# From splash to splash, standard deviations; the height's as a share (estimates).
ONSET_SCATTER_S, HEIGHT_SCATTER = 0.8e-3, 0.04
OF_THE_JET = ("onset_factor", "height_factor", "rise_factor")


def list_unknowns(rig: Rig, setting: Setting, prior: JetPrior | None = None) -> dict[str, Unknown]:
    """Return the unknowns of a rig by name, in the order of NAMES.

    `prior` is that of the jet, `make_jet_prior` when left out.
    """
    u = rig.uncertainty
    jet = make_jet_prior(rig, setting) if prior is None else prior
    medians, spreads = jet.medians, jet.spreads
    far = 8.0 * u.height_m + 1e-9
    rows = (
        _plain("nozzle_error_m", 0.0, u.height_m, -far, far, "uncertainty.height"),
        _plain("beam_error_m", 0.0, u.height_m, -far, far, "uncertainty.height"),
        _ratio("volume_ratio", 1.0, spread_volume(rig), 0.3, 3.0, "uncertainty.volume"),
        _ratio(
            "detachment_ratio", 1.0, 0.25, 0.4, 2.5,
            "the free drop's centre hangs about a diameter below the nozzle (0.7 to 1.5; estimate)",
        ),
        _ratio(
            "start_speed_ratio", 1.0, 0.15, 0.001, 4.0,
            "physics.drops.start_speed, nine of ten within a quarter (estimate; two computed drops: a tenth)",
        ),
        _plain(
            "beam_sense", BEAM_SENSE, 0.15, 0.0, 1.2,
            "share of the beam's width that counts (estimate)",
        ),
        _plain("latency_error_s", 0.0, u.latency_s, -0.1, 0.1, "uncertainty.latency"),
        _ratio("flash_latency_ratio", 1.0, 0.2, 0.3, 3.0, "flash latency known to a fifth (estimate)"),
        _ratio("onset_factor", medians[0], spreads[0], 0.2, 8.0, "physics.jet: onset = a·law"),
        Unknown(
            "height_factor", medians[1], spreads[1], 0.2, 20.0, "root",
            "physics.jet: height = b·law",
        ),
        _ratio("rise_factor", medians[2], spreads[2], 0.1, 5.0, "physics.jet: rise = c·share·√(2·height/g)"),
        _plain(
            "contact_offset_s", 0.0, 5e-4, -0.02, 0.02,
            "by how much the contact is later than the models say (0.3 to 0.6 ms where tips follow other laws, and "
            "in computed splashes)",
        ),
        _plain("other_latency_error_s", 0.0, u.latency_s, -0.1, 0.1, "uncertainty.latency"),
        _plain("other_nozzle_error_m", 0.0, u.height_m, -far, far, "uncertainty.height"),
        _ratio("other_volume_ratio", 1.0, u.volume, 0.3, 3.0, "uncertainty.volume"),
        _ratio(
            "fall_factor", *FALL_LAW, 0.25, 5.0,
            "how long the jet falls half way, over a free fall from its top, in the 21 computed splashes of the "
            "fitting half; a tip that came free flies on, a thin column is drawn back",
        ),
    )  # fmt: skip
    return {row.name: row for row in rows}


def list_scatters(rig: Rig) -> dict[str, Unknown]:
    """Return by how much shots of one rig differ: standard deviations, themselves uncertain."""
    u = rig.uncertainty
    rows = (
        _ratio(
            "latency_scatter_s", u.latency_scatter_s, 0.3, 0.0, 0.05, "uncertainty.latency_scatter"
        ),
        _ratio("volume_scatter", u.volume_scatter, 0.3, 0.0, 0.5, "uncertainty.volume_scatter"),
        _ratio("onset_scatter_s", ONSET_SCATTER_S, 0.3, 1e-4, 5e-3, "splash to splash (estimate)"),
        _ratio(
            "height_scatter",
            HEIGHT_SCATTER,
            0.3,
            5e-3,
            0.3,
            "splash to splash, share of the height (estimate)",
        ),
    )
    return {row.name: row for row in rows}


def make_jet_prior(rig: Rig, setting: Setting) -> JetPrior:
    """Return the jet's prior for the rig's nominal drop. Raises PhysicsRangeError if none is thrown."""
    valve = rig.list_drops()[0]
    own = make_setting(rig, valve.output)
    diameter = compute_drop(valve, own, stream=True)
    speed = fall(valve.height_m, diameter, own.conditions).speed_m_s
    # A dish too shallow for a jet is a caution of the plan, not the end of it.
    depth = max(rig.dish.depth_m, SHALLOWEST_JET_M)
    return draw_jet_prior(
        diameter, speed, liquid=setting.liquid, depth_m=depth, gravity=setting.gravity
    )


def make_any_jet_prior(rig: Rig, setting: Setting) -> JetPrior:
    """The same; one that is never used if no jet is expected."""
    try:
        return make_jet_prior(rig, setting)
    except PhysicsRangeError:
        return JetPrior(onset_scale_s=0.036, height_scale_m=0.0126, gravity=setting.gravity)


def spread_volume(rig: Rig) -> float:
    """Standard error of the drops' volume, as a share; wider where the valve's length is not known."""
    length = 0.0 if rig.list_drops()[0].length_m is not None else _UNKNOWN_LENGTH
    return math.hypot(rig.uncertainty.volume, length)


def _plain(name: str, middle: float, spread: float, low: float, high: float, why: str) -> Unknown:
    return Unknown(name, middle, spread, low, high, "plain", why)


def _ratio(name: str, middle: float, spread: float, low: float, high: float, why: str) -> Unknown:
    return Unknown(name, middle, spread, low, high, "logarithm", why)
