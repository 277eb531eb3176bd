"""What a rig would do with its drops, as a function of standard normal unknowns.

The unknowns are those of `beamfall.planning.unknowns` that bear on beams. Each nozzle height and each
beam position that was measured has an error of its own. That of the first beam position is
`beam_error_m`; how another one lies to it is known better than how high it is above the liquid
(two beams on one bar, one beam moved along a scale): to `gap_error_m`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from beamfall.arrays import Floats
from beamfall.physics.drops import compute_diameter
from beamfall.physics.fall import MAX_DIAMETER_M, MAX_INITIAL_SPEED_M_S, MIN_DIAMETER_M
from beamfall.planning.calibration.measure import Sample
from beamfall.planning.falling import FallingDrop
from beamfall.planning.setting import (
    Setting,
    compute_flow,
    compute_start_speed,
    find_latency,
    make_setting,
)
from beamfall.planning.unknowns import Unknown, list_unknowns, make_any_jet_prior
from beamfall.setup.rig import Rig
from beamfall.setup.rig_sections import Beam

SHARED = (
    "latency_error_s", "volume_ratio", "detachment_ratio", "start_speed_ratio", "nozzle_error_m",
    "beam_error_m", "beam_sense",
)  # fmt: skip
QUANTITIES = ("latency_s", "distance_m", "speed_m_s", "diameter_m", "width_m")
_LEAST_VOLUME_M3 = 5e-13


@dataclass(frozen=True)
class Model:
    """The unknowns of these samples by name, and what follows from them.

    Names: those of SHARED, and for more nozzle heights, beam positions and beams `nozzle 0.55`,
    `gap beam1 0.4`, `sense beam2`.
    """

    samples: tuple[Sample, ...]
    names: tuple[str, ...]
    unknowns: dict[str, Unknown]
    settings: tuple[Setting, ...]

    @property
    def limits(self) -> tuple[Floats, Floats]:
        """The bounds of the unknowns as z, lower and upper."""

        def place(unknown: Unknown, bound: float) -> float:
            if unknown.spread <= 0.0:
                return math.copysign(8.0, bound - unknown.middle)
            return unknown.find_shift(bound) / unknown.spread

        rows = [self.unknowns[name] for name in self.names]
        low = np.array([max(place(row, row.low), -8.0) for row in rows])
        return low, np.array([min(place(row, row.high), 8.0) for row in rows])

    def predict(self, z: Floats) -> Floats:
        """Mean arrivals and dwells of all samples: z of shape (rigs, unknowns) -> (rigs, values)."""
        columns = []
        for sample, setting in zip(self.samples, self.settings, strict=True):
            drop = self._make_drop(sample, setting, z)
            for name in sample.beams:
                beam = _find_beam(sample.rig, name)
                height = self._beam_height(sample, beam, z)
                dark, clear = drop.cross(height, self._width(beam, z), beam.offset_m)
                columns += [drop.latency_s + dark, clear - dark]
        return np.stack(columns, axis=1)

    def quantities(self, z: Floats) -> Floats:
        """What is asked for, at the first sample's first beam: shape (rigs, QUANTITIES).

        The latency is to a start from rest and the distance to that start: a drop that comes free
        with a speed moves as one that fell from rest a little earlier from a little higher, and no
        beam can tell the two apart.
        """
        sample, setting = self.samples[0], self.settings[0]
        drop = self._make_drop(sample, setting, z)
        beam = _find_beam(sample.rig, sample.beams[0])
        height = self._beam_height(sample, beam, z)
        head, since_rest = _find_head(drop)
        _, speed = drop.reach(height)
        return np.stack(
            [
                drop.latency_s - since_rest,
                drop.start_height_m + head - height,
                speed,
                drop.diameter_m,
                self._width(beam, z),
            ],
            axis=1,
        )

    # -- parts -------------------------------------------------------------------------------------
    def _value(self, name: str, z: Floats) -> Floats:
        result: Floats = self.unknowns[name].at_all(z[:, self.names.index(name)])
        return result

    def _beam_height(self, sample: Sample, beam: Beam, z: Floats) -> Floats:
        height = beam.height_m + self._value("beam_error_m", z)
        gap = _name_gap(beam)
        return height + self._value(gap, z) if gap in self.names else height

    def _width(self, beam: Beam, z: Floats) -> Floats:
        own = f"sense {beam.input}"
        return beam.width_m * self._value(own if own in self.names else "beam_sense", z)

    def _make_drop(self, sample: Sample, setting: Setting, z: Floats) -> FallingDrop:
        valve = next(one for one in sample.rig.valves if one.output == sample.valve)
        own = _name_nozzle(valve.height_m)
        nozzle = self._value(own if own in self.names else "nozzle_error_m", z)
        passed = compute_flow(valve, setting).compute_volume(sample.opening_s - valve.lag_s)
        nominal = compute_diameter(max(passed, _LEAST_VOLUME_M3))
        ratio = self._value("volume_ratio", z)
        diameter = np.clip(nominal * np.cbrt(ratio), MIN_DIAMETER_M, MAX_DIAMETER_M)
        speed = compute_start_speed(valve, setting, diameter, ratio, sample.opening_s)
        latency = np.maximum(0.0, find_latency(valve) + self._value("latency_error_s", z))
        return FallingDrop(
            setting=setting,
            latency_s=latency + sample.opening_s - valve.opening_s,
            diameter_m=diameter,
            start_height_m=valve.height_m + nozzle - self._value("detachment_ratio", z) * diameter,
            start_speed_m_s=np.minimum(
                self._value("start_speed_ratio", z) * speed, MAX_INITIAL_SPEED_M_S
            ),
        )


def _find_head(drop: FallingDrop) -> tuple[Floats, Floats]:
    """The fall from rest that gives a drop its first speed: height and time."""
    from_rest = drop.make_falls(np.zeros_like(drop.start_speed_m_s))
    head = np.maximum(drop.start_speed_m_s**2 / (2.0 * drop.setting.gravity), 1e-7)
    for _ in range(4):  # drag is small at such speeds: Newton's steps close in at once
        speed = from_rest.fall(head).speed_m_s
        head = head + (drop.start_speed_m_s - speed) * speed / drop.setting.gravity
        head = np.maximum(head, 1e-7)
    return head, from_rest.fall(head).time_s


def make_model(samples: Sequence[Sample], gap_error_m: float) -> Model:
    """Return the model of these samples; the first one is the rig that is asked about."""
    settings = tuple(make_setting(sample.rig, sample.valve) for sample in samples)
    rig = samples[0].rig
    setting = make_setting(rig)
    # Beams do not depend on the jet: a rig without one can be calibrated too.
    known = list_unknowns(rig, setting, make_any_jet_prior(rig, setting))
    unknowns = {name: known[name] for name in SHARED}
    main_valve = next(one for one in rig.valves if one.output == samples[0].valve)
    main_beam = _find_beam(rig, samples[0].beams[0])
    for sample in samples:
        valve = next(one for one in sample.rig.valves if one.output == sample.valve)
        if valve.height_m != main_valve.height_m:
            unknowns[_name_nozzle(valve.height_m)] = known["nozzle_error_m"]
        for name in sample.beams:
            beam = _find_beam(sample.rig, name)
            if (beam.input, beam.height_m) != (main_beam.input, main_beam.height_m):
                far = 8.0 * gap_error_m + 1e-9
                unknowns[_name_gap(beam)] = Unknown(
                    _name_gap(beam), 0.0, gap_error_m, -far, far, "plain", "gap error"
                )
            if beam.input != main_beam.input:
                unknowns[f"sense {beam.input}"] = known["beam_sense"]
    return Model(tuple(samples), tuple(unknowns), unknowns, settings)


def _find_beam(rig: Rig, name: str) -> Beam:
    return next(beam for beam in rig.beams if beam.input == name)


def _name_gap(beam: Beam) -> str:
    return f"gap {beam.input} {beam.height_m:.6g}"


def _name_nozzle(height_m: float) -> str:
    return f"nozzle {height_m:.6g}"
