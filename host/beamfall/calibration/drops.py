"""The shots that a calibration fires: drops, and nothing else."""

from __future__ import annotations

from typing import TYPE_CHECKING

from beamfall.sequence import Row, Sequence

if TYPE_CHECKING:
    from beamfall.rig import Rig

_SPACING_S = 0.3  # so far apart no drop falls in another's wake (our choice)
_LEAD_S = 0.002
_SLOWEST_S = 0.8  # a drop takes less than this from the opening to the lowest beam


def make_drops(rig: Rig, valve: str | None = None) -> Sequence:
    """Return two drops of a valve (the first when None) with no flash and no camera."""
    own = next(one for one in rig.valves if valve in (None, one.output))
    edges = {beam.input: beam.edge for beam in rig.beams}
    first = rig.beams[0]
    awaits = {first.input: 2}
    return Sequence(
        rows=(
            Row("release", 0, own.output, _LEAD_S, own.opening_s),
            Row("release", 0, own.output, _LEAD_S + _SPACING_S, own.opening_s),
        ),
        window_s=_LEAD_S + _SPACING_S + _SLOWEST_S,
        # Beams below the awaited one see the last drop later.
        tail_s=max(rig.aim.tail_s, 0.3),
        blanking_s=first.blanking_s,
        dwell_s=first.dwell_s,
        beam1_edge=edges.get("beam1", "dark"),
        beam2_edge=edges.get("beam2", "dark"),
        await1=awaits.get("beam1", 0),
        await2=awaits.get("beam2", 0),
        name=f"drops to calibrate {rig.name}",
    )
