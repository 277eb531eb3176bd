"""The setup under test: its lines of the board, its timings, and what physics expects of a single drop."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from beamfall.errors import BeamfallError, PhysicsRangeError, RigFileError
from beamfall.faults.origin import Origin, Source
from beamfall.physics.fall import fall
from beamfall.planning.make import make_plan
from beamfall.planning.result import Plan
from beamfall.planning.rows import EARLIEST_S, find_beam_settings
from beamfall.planning.setting import (
    BEAM_SENSE,
    compute_drop,
    compute_start_speed,
    find_latency,
    make_setting,
)
from beamfall.setup.rig import Rig
from beamfall.setup.rig_sections import Beam, Flash, Valve
from beamfall.setup.sequence import Row, Sequence
from beamfall.setup.signals import Signal, SignalKind

if TYPE_CHECKING:
    from beamfall.planning.belief import Belief

_SAME_S = 1e-6  # a smaller difference is rounding, not a time that somebody set
_WINDOW_S = 1.5  # for a single drop to be at the beam: as of a rig file that says nothing


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
    """What is being looked at.

    `delay_s`: from what to what the plan would have the flash delay. `planned`: the plan's own
    sequence, where the rig can be planned. `timings` says where those of `sequence` come from.
    """

    rig: Rig
    sequence: Sequence
    valve: Valve
    beam: Beam | None
    flash: Flash | None
    has_camera: bool
    expected: Expectation | None
    delay_s: tuple[float, float] | None
    planned: Sequence | None = None
    timings: Origin = Origin(Source.PLAN)

    @property
    def sets_delay(self) -> bool:
        """Whether somebody has set the flash delay: else the plan would be compared with itself."""
        own = self.sequence.flash_row()
        if own is None or self.rig.aim.flash_delay_s is not None or self.planned is None:
            return own is not None
        theirs = self.planned.flash_row()
        if theirs is None or (own.anchor, own.count) != (theirs.anchor, theirs.count):
            return True
        return abs(own.delay_s - theirs.delay_s) > _SAME_S

    @property
    def sets_window(self) -> bool:
        """Whether somebody has set the window for the beam: the planner makes it long enough by itself."""
        if self.sequence.awaits == (0, 0):
            return False
        return self.planned is None or abs(self.sequence.window_s - self.planned.window_s) > _SAME_S

    @property
    def valve_number(self) -> int:
        return Signal.of(self.valve.output).number

    @property
    def beam_number(self) -> int:
        return 0 if self.beam is None else Signal.of(self.beam.input).number

    @property
    def flash_number(self) -> int:
        return 0 if self.flash is None else Signal.of(self.flash.output).number


def make_setup(
    rig: Rig,
    sequence: Sequence | None = None,
    *,
    timings: Origin | None = None,
    learned: Belief | None = None,
) -> Setup:
    """Return the setup of a rig and the sequence fired with it; without one, the rig's plan.

    `timings` says where that sequence comes from; `learned` is what seeking has shown of this rig,
    which the plan uses. A rig without a flash has no plan: one drop of its first valve is its shot.
    The valve, beam and flash looked at are the first ones that the sequence uses. Raises what
    planning raises if there is no sequence.
    """
    delay = planned = None
    if rig.flashes:
        try:
            plan = make_plan(rig, learned=learned)
        except BeamfallError:
            if sequence is None:
                raise
        else:
            planned = plan.sequence
            # Use both: a search may have moved away from what the file alone suggests.
            plans = (plan,) if learned is None else (plan, make_plan(rig))
            delay = _join_delays(plans, sequence or planned)
    elif sequence is None:
        planned = _let_one_fall(rig)
    if sequence is None:
        assert planned is not None
        sequence = planned
        timings = Origin(Source.PLAN if rig.flashes else Source.SINGLE_DROP)
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
        has_camera=any(Signal.of(name).kind is SignalKind.CAMERA for name in used),
        expected=None if beam is None else expect_drop(rig, valve, beam),
        delay_s=delay,
        planned=planned,
        timings=timings or Origin(Source.CALLER),
    )


def _join_delays(plans: tuple[Plan, ...], sequence: Sequence) -> tuple[float, float] | None:
    """From the least to the most that the plans would have the flash delay; None: it counts from elsewhere."""
    flash_row = sequence.flash_row()
    found = []
    for plan in plans:
        interval = plan.intervals.get("flash_delay")
        anchored = (plan.anchor.beam if plan.anchor.count else "release", plan.anchor.count)
        same = flash_row is not None and (flash_row.anchor, flash_row.count) == anchored
        if interval is not None and same:
            found.append(interval)
    if not found:
        return None
    return min(one.p5 for one in found), max(one.p95 for one in found)


def _let_one_fall(rig: Rig) -> Sequence:
    """One drop, awaited at the beam: the whole shot of a rig that has no flash."""
    valve = rig.valves[0]
    beam = rig.beams[0] if rig.beams else None
    return Sequence(
        rows=(Row("release", 0, valve.output, EARLIEST_S, valve.opening_s),),
        window_s=0.0 if beam is None else _WINDOW_S,
        tail_s=0.1 if beam is not None else 1.0,
        **find_beam_settings(rig, beam),
        await1=int(beam is not None and beam.input == "beam1"),
        await2=int(beam is not None and beam.input == "beam2"),
        name=f"one drop, {rig.name}",
    )


def expect_drop(rig: Rig, valve: Valve, beam: Beam) -> Expectation | None:
    """What physics says about one drop at the beam; None outside the range of its formulas.

    The margins are wide on purpose: three times the rig file's uncertainties and a sixth of the fall.
    """
    try:
        setting = make_setting(rig, valve.output)
        diameter = compute_drop(valve, setting)
        chord = max(diameter**2 - 4.0 * beam.offset_m**2, 0.0) ** 0.5
        reach = chord + BEAM_SENSE * beam.width_m
        result = fall(
            valve.height_m - diameter - beam.height_m - 0.5 * reach,
            diameter,
            setting.conditions,
            initial_speed_m_s=compute_start_speed(valve, setting, diameter),
        )
    except PhysicsRangeError:
        return None
    u = rig.uncertainty
    middle = find_latency(valve) + result.time_s
    margin = 3.0 * (u.latency_s + u.height_m / result.speed_m_s) + result.time_s / 6.0 + 0.005
    dwell = reach / result.speed_m_s
    return Expectation(max(0.0, middle - margin), middle, middle + margin, dwell)
