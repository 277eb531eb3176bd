"""The shots that a calibration fires: drops, and nothing else."""

from __future__ import annotations

from beamfall.errors import UserError
from beamfall.planning.rows import find_beam_settings
from beamfall.setup.rig import Rig
from beamfall.setup.sequence import Row, Sequence

_SPACING_S = 0.3  # so far apart no drop falls in another's wake (our choice)
_LEAD_S = 0.002
_GAP_ERRORS_M = (1e-6, 0.05)  # from a measuring machine's to a guess (our choice)
_SLOWEST_S = 0.8  # a drop takes less than this from the opening to the lowest beam


def check_request(rig: Rig, *, gap_error_m: float, valve: str | None = None) -> None:
    """Raise UserError if a rig cannot be calibrated this way; call it before a drop falls.

    `gap_error_m` is how well the distance between two beams is known, `valve` an output or None.
    """
    if not rig.beams:
        raise UserError(f"rig '{rig.name}' has no beam; calibration needs a [[beam]]")
    low, high = _GAP_ERRORS_M
    if not low <= gap_error_m <= high:
        raise UserError(
            f"a gap error of {gap_error_m * 1e3:g} mm: expected {low * 1e3:g} to {high * 1e3:g} mm"
        )
    if valve is not None and valve not in [one.output for one in rig.valves]:
        have = ", ".join(one.output for one in rig.valves)
        raise UserError(f"this rig has no {valve}: it has {have}")


def make_drops(rig: Rig, valve: str | None = None) -> Sequence:
    """Return two drops of a valve (the first when None) with no flash and no camera."""
    own = next(one for one in rig.valves if valve in (None, one.output))
    first = rig.beams[0]
    return Sequence(
        rows=(
            Row("release", 0, own.output, _LEAD_S, own.opening_s),
            Row("release", 0, own.output, _LEAD_S + _SPACING_S, own.opening_s),
        ),
        window_s=_LEAD_S + _SPACING_S + _SLOWEST_S,
        # Beams below the awaited one see the last drop later.
        tail_s=max(rig.aim.tail_s, 0.3),
        **find_beam_settings(rig, first),
        await1=2 if first.input == "beam1" else 0,
        await2=2 if first.input == "beam2" else 0,
        name=f"drops to calibrate {rig.name}",
    )
