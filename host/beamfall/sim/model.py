"""The simulated rig in numbers: what is true of it, in SI units, hidden from the planner."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from beamfall.physics.air import Air, air_at
from beamfall.physics.coil import Coil
from beamfall.physics.drops import ValveFlow
from beamfall.physics.gravity import STANDARD_GRAVITY
from beamfall.physics.liquids import WATER, Liquid
from beamfall.setup.signals import SignalKind
from beamfall.sim.coils import SupplyModel
from beamfall.sim.look import Dye, Look
from beamfall.sim.shutter import ShutterModel


@dataclass(frozen=True)
class ValveModel:
    """One valve with its nozzle.

    `latency_s` is the time from the open command until the drop comes free, for an opening of
    `opening_s`; a longer opening adds its extra time. Scatters are standard deviations from drop
    to drop.
    """

    nozzle_height_m: float
    flow_m3_s: float  # after a long time
    opening_s: float
    lag_s: float
    latency_s: float
    latency_scatter_s: float
    volume_scatter: float  # share of the volume
    detachment_ratio: float = 1.0  # of the free drop's centre below the nozzle, in diameters
    start_speed_ratio: float = 1.0  # of `physics.drops.start_speed`
    offset_m: float = 0.0  # of the fall line from the beam's axis
    place_m: float = 0.0  # along the dish, from the middle of the picture
    line: int = 0  # n of the board's valve<n>; 0: the first that no other valve has
    bore_m: float = 0.002
    # How the flow builds up, see `physics.drops.ValveFlow`: at once when left out.
    rate_per_s: float = 1e12
    asymmetry: float = 1.0
    coil: Coil = field(default_factory=Coil)
    liquid: Liquid | None = None  # of its own bottle; else that of the dish
    dye: Dye | None = None  # the same

    @property
    def flow(self) -> ValveFlow:
        """The flow through the open valve."""
        return ValveFlow(self.flow_m3_s, self.bore_m, self.rate_per_s, self.asymmetry)


@dataclass(frozen=True)
class BeamModel:
    """One beam: its height above the liquid, how much of the fall path it covers, where it crosses."""

    height_m: float
    width_m: float
    place_m: float = 0.0
    line: int = 0  # n of the board's beam<n>, as for valves


@dataclass(frozen=True)
class FlashModel:
    """One flash: time from contact to light, length of the light, time until it can fire again."""

    latency_s: float
    duration_s: float
    recycle_s: float
    line: int = 0  # n of the board's flash<n>, as for valves


@dataclass(frozen=True)
class JetModel:
    """The jets of this rig: factors as in `beamfall.physics.jet`, and how much splashes differ.

    onset = onset_factor·`onset_law` from the impact to the tip's breaking through the surface, height =
    height_factor·`height_law`, rise = rise_factor·`rise_share`·√(2·height/g) from the onset to the peak.
    `shape` None: the tip moves as `physics.jet.tip_heights` says, and falls for `fall_factor` times as long.
    A number: a second law that the planner does not know, h·(1 − |1 − t/rise|^shape): 2 is free flight up and
    down in equal times, more is a tip that shoots up and lingers. `path`: the tip of a computed splash instead,
    as pairs of time since the onset over the rise and height over the highest.
    """

    onset_factor: float
    height_factor: float
    rise_factor: float
    shape: float | None = None
    path: tuple[tuple[float, float], ...] | None = None
    fall_factor: float = 1.0
    onset_scatter_s: float = 0.0008
    height_scatter: float = 0.04  # share of the height


@dataclass(frozen=True)
class RigModel:
    """The whole rig. Heights are above the liquid's surface."""

    valves: tuple[ValveModel, ...]
    beams: tuple[BeamModel, ...]
    flashes: tuple[FlashModel, ...]
    jet: JetModel
    liquid: Liquid = WATER
    air: Air = field(default_factory=air_at)
    gravity: float = STANDARD_GRAVITY
    dish_depth_m: float = 0.02
    aim_scatter_m: float = 0.0006  # of where a drop strikes, each way
    frame_height_m: float = 0.07  # what the camera sees above the surface
    frame_width_m: float = 0.056
    frame_below_m: float = 0.014  # and below it
    sheet_speed_factor: float = 1.0  # of the umbrella, see `beamfall.physics.umbrella`
    sheet_time_factor: float = 1.0
    look: Look = field(default_factory=Look)
    shutter: ShutterModel | None = None  # None: it is open whenever a light comes
    supply: SupplyModel | None = field(default_factory=SupplyModel)  # None: nobody measures it

    def without_scatter(self) -> RigModel:
        """The same rig if every shot were alike."""
        valves = (replace(one, latency_scatter_s=0.0, volume_scatter=0.0) for one in self.valves)
        jet = replace(self.jet, onset_scatter_s=0.0, height_scatter=0.0)
        return replace(self, valves=tuple(valves), jet=jet, aim_scatter_m=0.0)

    def list_parts(self, kind: SignalKind) -> Sequence[ValveModel | BeamModel | FlashModel]:
        """The rig's valves, beams or flashes."""
        kinds: dict[SignalKind, Sequence[ValveModel | BeamModel | FlashModel]] = {
            SignalKind.VALVE: self.valves,
            SignalKind.BEAM: self.beams,
            SignalKind.FLASH: self.flashes,
        }
        return kinds[kind]

    def list_lines(self, kind: SignalKind) -> tuple[int, ...]:
        """The numbers of the signals that valves, beams or flashes are wired to, in the order of the parts.

        Lines without a part follow, so that every line has its place.
        """
        parts = self.list_parts(kind)
        used = {part.line for part in parts}
        free = [signal.number for signal in kind.signals if signal.number not in used]
        return (*(part.line or free.pop(0) for part in parts), *free)
