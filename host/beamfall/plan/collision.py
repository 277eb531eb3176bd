"""The plan of a two-drop collision: when to open, when to flash, and how sure that is.

Drop 2 is to meet the jet of drop 1 late in its rise: the tip then has nearly its full height, is
slow, so that the moment of contact depends little on the jet, and still moves against the drop.
The flash comes `stage_s` after the contact.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from beamfall.errors import RigFileError
from beamfall.plan.setting import make_setting
from beamfall.plan.unknowns import make_jet_prior
from beamfall.sequence import Row, Sequence

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from beamfall.plan.draws import Draws
    from beamfall.rig import Rig

    Floats = NDArray[np.float64]

DRAWS = 4000
MEETING = (
    0.75  # of the jet's rise, when drop 2 meets it: at more than 90 % of its height (our choice)
)
STAGE_S = 0.002  # after the contact the umbrella has begun to spread (our choice)
_SEED = 20_240_229  # the plan of a rig is the same each time it is asked for
_MARGIN_S = 0.05
EARLIEST_S = 0.001  # the first row's delay: no board honours 0


@dataclass(frozen=True)
class Interval:
    """A time in s: 5 %, 50 % and 95 % of the rigs that the file could mean lie below."""

    p5: float
    p50: float
    p95: float

    def to_json(self) -> dict[str, float]:
        """The three in ms."""
        return {key: round(getattr(self, key) * 1e3, 3) for key in ("p5", "p50", "p95")}


@dataclass(frozen=True)
class AnchorEdge:
    """The beam edge that the flash's delay is counted from; the release has no edge and count 0."""

    beam: str
    edge: str
    count: int

    def to_json(self) -> dict[str, Any]:
        return {"beam": self.beam, "edge": self.edge, "count": self.count}


@dataclass(frozen=True)
class Plan:
    """A shot for a rig. Intervals are of what this rig would need for the picture that is wanted."""

    kind: str
    sequence: Sequence
    anchor: AnchorEdge
    stage_s: float
    spacing_s: float | None
    flash_delay_s: float
    intervals: Mapping[str, Interval]
    assumptions: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    chance: float | None = None
    extra: Mapping[str, Any] = field(default_factory=dict)

    def to_json(self) -> dict[str, Any]:
        """The plan as one object; times in ms."""
        return {
            "kind": self.kind,
            "anchor": self.anchor.to_json(),
            **{name: interval.to_json() for name, interval in self.intervals.items()},
            "planned": {
                "spacing": None if self.spacing_s is None else round(self.spacing_s * 1e3, 3),
                "flash_delay": round(self.flash_delay_s * 1e3, 3),
                "stage": round(self.stage_s * 1e3, 3),
            },
            **self.extra,
            "assumptions": list(self.assumptions),
            "warnings": list(self.warnings),
        }


def plan_collision(rig: Rig, *, stage_s: float = STAGE_S, draws: int = DRAWS) -> Plan:
    """Plan a two-drop collision for a rig; the flash `stage_s` after the contact.

    Values that the rig's aim fixes are kept. Raises RigFileError where the rig has no flash, and
    PhysicsRangeError where its figures leave the range of the physics or throw no jet.
    """
    import numpy as np

    from beamfall.plan.draws import draw_z, make_draws

    if not rig.flashes:
        raise RigFileError(f"rig '{rig.name}': a collision takes a flash; add a [[flash]]")
    setting = make_setting(rig)
    prior = make_jet_prior(rig, setting)
    z = draw_z(draws, np.random.default_rng(_SEED))
    rigs = make_draws(rig, setting, z, prior)
    spacings, contacts = find_ideal(rigs)
    spacing = rig.aim.spacing_s
    if spacing is None:
        spacing = float(np.median(spacings))
    anchor = choose_anchor(rig)
    lead = find_lead(rig)
    # Times from here on count from drop 1's coming free; the light is to come at `light`.
    light = spacings + contacts + stage_s
    delay = rig.aim.flash_delay_s
    contact, _ = rigs.find_contacts(spacing)
    if delay is None:
        wanted = spacing + contact + stage_s - rigs.flash_latency_s
        delay = float(np.nanmedian(wanted - find_base(rigs, anchor, spacing, lead)))
        if not math.isfinite(delay):
            raise RigFileError(
                f"aim.spacing = {spacing * 1e3:.4g} ms: drop 2 would meet no jet; "
                f"from {np.percentile(spacings, 5) * 1e3:.4g} to "
                f"{np.percentile(spacings, 95) * 1e3:.4g} ms would do; or leave it out"
            )
        delay = max(0.0, delay)
    contact_to_flash = light - rigs.flash_latency_s
    intervals = {
        "nozzle_to_beam": make_interval(rigs.to_edge_s),
        "beam_to_surface": make_interval(rigs.to_surface_s - rigs.to_edge_s),
        "jet_onset": make_interval(rigs.onset_s),
        "spacing": make_interval(spacings),
        "flash_delay": make_interval(contact_to_flash - find_base(rigs, anchor, spacings, lead)),
        "flash_after_first_edge": make_interval(contact_to_flash - rigs.to_edge_s),
    }
    return Plan(
        kind="collision",
        sequence=build_sequence(rig, rigs, anchor, spacing, delay),
        anchor=anchor,
        stage_s=stage_s,
        spacing_s=spacing,
        flash_delay_s=delay,
        intervals=intervals,
        chance=float(np.mean(np.isfinite(contact))),
    )


def find_ideal(rigs: Draws) -> tuple[Floats, Floats]:
    """What each rig needs to meet its jet at MEETING: the spacing, and drop 2's fall till then."""
    when = rigs.onset_s + MEETING * rigs.rise_s
    to_contact, _ = rigs.reach_lowest(rigs.tip(when))
    return rigs.to_surface_s + when - to_contact, to_contact


def choose_anchor(rig: Rig) -> AnchorEdge:
    """The edge that the flash follows: drop 2's own where there is a beam, else the release."""
    anchor, count = rig.aim.anchor, rig.aim.anchor_count
    if anchor == "release" or not rig.beams:
        return AnchorEdge("release", "", 0)
    beam = rig.beams[0]
    if anchor is not None:
        beam = next(one for one in rig.beams if one.input == anchor)
    return AnchorEdge(beam.input, beam.edge, 2 if count is None else count)


def find_lead(rig: Rig) -> float:
    """How long before drop 1's valve opens the release is: the camera needs it."""
    camera = rig.camera
    return EARLIEST_S + (0.0 if camera is None else max(camera.focus_lead_s, camera.shutter_lead_s))


def find_base(rigs: Draws, anchor: AnchorEdge, spacing_s: Floats | float, lead_s: float) -> Floats:
    """When the anchor's edge comes, since drop 1 came free."""
    if anchor.count == 0:
        return -rigs.latency_s - lead_s
    return rigs.to_edge_s + (anchor.count - 1) * spacing_s


def build_sequence(
    rig: Rig, rigs: Draws, anchor: AnchorEdge, spacing_s: float, delay_s: float
) -> Sequence:
    """The rows of a two-drop collision: camera, two openings, flash."""
    import numpy as np

    valve, flash, lead = rig.valves[0], rig.flashes[0], find_lead(rig)
    rows = [
        Row("release", 0, valve.output, lead, valve.opening_s),
        Row("release", 0, valve.output, lead + spacing_s, valve.opening_s),
        Row(anchor.beam, anchor.count, flash.output, delay_s, flash.contact_s),
    ]
    late = (
        float(np.percentile(rigs.latency_s + rigs.to_edge_s, 99.5)) + lead + spacing_s + _MARGIN_S
    )
    last = delay_s if anchor.count == 0 else late + delay_s
    camera = rig.camera
    if camera is not None:
        end = last + camera.hold_s
        if camera.focus_lead_s > 0.0:
            rows.append(
                Row(
                    "release",
                    0,
                    "camera1",
                    lead - camera.focus_lead_s,
                    end - lead + camera.focus_lead_s,
                )
            )
        rows.append(
            Row(
                "release",
                0,
                "camera2",
                lead - camera.shutter_lead_s,
                end - lead + camera.shutter_lead_s,
            )
        )
    edges = {beam.input: beam.edge for beam in rig.beams}
    first = rig.beams[0] if rig.beams else None
    return Sequence(
        rows=tuple(rows),
        window_s=max(rig.aim.window_s, late) if anchor.count else 0.0,
        tail_s=rig.aim.tail_s,
        blanking_s=first.blanking_s if first else 0.0,
        dwell_s=first.dwell_s if first else 0.0,
        beam1_edge=edges.get("beam1", "dark"),
        beam2_edge=edges.get("beam2", "dark"),
        name=f"collision, {rig.name}",
    )


def make_interval(values: Floats) -> Interval:
    """5 %, 50 % and 95 % of many values."""
    import numpy as np

    low, middle, high = (float(p) for p in np.percentile(values, (5.0, 50.0, 95.0)))
    return Interval(low, middle, high)
