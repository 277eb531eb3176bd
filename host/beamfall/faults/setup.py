"""The setup under test: which lines of the board it uses, and what physics expects of a single drop."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from beamfall.errors import BeamfallError, PhysicsRangeError, RigFileError

if TYPE_CHECKING:
    from beamfall.rig import Beam, Flash, Rig, Valve
    from beamfall.sequence import Sequence


@dataclass(frozen=True)
class Expectation:
    """A drop of the valve at the beam: its edge comes from `earliest_s` to `latest_s` after the opening.

    `dwell_s` is how long it darkens the beam there; `middle_s` the likeliest time.
    """

    earliest_s: float
    middle_s: float
    latest_s: float
    dwell_s: float


@dataclass(frozen=True)
class Setup:
    """What is being looked at. `delay_s`: from what to what the plan would have the flash delay."""

    rig: Rig
    sequence: Sequence
    valve: Valve
    beam: Beam | None
    flash: Flash | None
    has_camera: bool
    expected: Expectation | None
    delay_s: tuple[float, float] | None

    @property
    def valve_number(self) -> int:
        return int(self.valve.output[-1])

    @property
    def beam_number(self) -> int:
        return 0 if self.beam is None else int(self.beam.input[-1])

    @property
    def flash_number(self) -> int:
        return 0 if self.flash is None else int(self.flash.output[-1])


def make_setup(rig: Rig, sequence: Sequence | None = None) -> Setup:
    """Return the setup of a rig and the sequence fired with it; without one, the rig's plan.

    The valve, beam and flash looked at are the first ones that the sequence uses. Raises what
    planning raises where there is no sequence.
    """
    from beamfall.plan.make import make_plan

    delay = None
    try:
        plan = make_plan(rig)
    except BeamfallError:
        if sequence is None:
            raise
    else:
        if sequence is None:
            sequence = plan.sequence
        flash_row = sequence.flash_row()
        interval = plan.intervals.get("flash_delay")
        anchored = (plan.anchor.beam if plan.anchor.count else "release", plan.anchor.count)
        same = flash_row is not None and (flash_row.anchor, flash_row.count) == anchored
        if interval is not None and same:
            delay = (interval.p5, interval.p95)
    used = [row.output for row in sorted(sequence.rows, key=lambda row: row.delay_s)]
    valve = next((v for name in used for v in rig.valves if v.output == name), None)
    flash = next((f for name in used for f in rig.flashes if f.output == name), None)
    anchors = [row.anchor for row in sequence.rows]
    beam = next((b for b in rig.beams if b.input in anchors), None)
    if beam is None and rig.beams:
        beam = rig.beams[0]
    if valve is None:
        raise RigFileError(
            f"rig '{rig.name}': the sequence opens no valve of this rig; use one of "
            f"{', '.join(valve.output for valve in rig.valves)}"
        )
    return Setup(
        rig=rig,
        sequence=sequence,
        valve=valve,
        beam=beam,
        flash=flash,
        has_camera=any(name.startswith("camera") for name in used),
        expected=None if beam is None else expect_drop(rig, valve, beam),
        delay_s=delay,
    )


def expect_drop(rig: Rig, valve: Valve, beam: Beam) -> Expectation | None:
    """What physics says of one drop at the beam; None outside the range of its formulas.

    The margins are wide on purpose: three times the rig file's uncertainties and a sixth of the fall.
    """
    from beamfall.physics.fall import fall
    from beamfall.plan.setting import compute_drop, make_setting

    try:
        setting = make_setting(rig)
        diameter = compute_drop(valve, setting.gravity)
        chord = max(diameter**2 - 4.0 * beam.offset_m**2, 0.0) ** 0.5
        reach = chord + 0.8 * beam.width_m  # 0.8, and how the drop starts: as in plan.unknowns
        result = fall(
            valve.height_m - diameter - beam.height_m - 0.5 * reach,
            diameter,
            liquid_density_kg_m3=setting.liquid.density_kg_m3,
            surface_tension_n_m=setting.liquid.surface_tension_n_m,
            air=setting.air,
            gravity=setting.gravity,
            initial_speed_m_s=(0.5 * setting.gravity * diameter) ** 0.5,
        )
    except PhysicsRangeError:
        return None
    u = rig.uncertainty
    middle = valve.latency_s + result.time_s
    margin = 3.0 * (u.latency_s + u.height_m / result.speed_m_s) + result.time_s / 6.0 + 0.005
    dwell = reach / result.speed_m_s
    return Expectation(max(0.0, middle - margin), middle, middle + margin, dwell)
