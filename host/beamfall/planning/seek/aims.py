"""What a rig's aim may ask of a search, and where else a search may begin."""

from __future__ import annotations

from dataclasses import dataclass

from beamfall.errors import RigFileError
from beamfall.setup.rig import Rig


@dataclass(frozen=True)
class Start:
    """Where a search begins: the spacing of its first shots, and a stage that is known within `near_s`.

    With one drop there is no spacing.
    """

    spacing_s: float | None
    stage_s: float
    near_s: float


def check_aim(rig: Rig) -> None:
    """Refuse values of the rig's aim that a search would have to ignore; raises RigFileError."""
    aim = rig.aim
    wrong = None
    drops = len(rig.list_drops())
    if aim.flash_delay_s is not None:
        wrong = (
            f"aim.flash_delay = {aim.flash_delay_s * 1e3:.4g} ms: seek finds the flash's time; "
            "leave it out"
        )
    elif aim.anchor not in (None, "release") and (
        not rig.beams or aim.anchor != rig.beams[0].input
    ):
        known = f"{rig.beams[0].input} or " if rig.beams else ""
        wrong = (
            f"aim.anchor = '{aim.anchor}': in seek the flash follows {known}the release; "
            "leave it out"
        )
    elif rig.beams and aim.anchor != "release" and aim.anchor_count not in (None, drops):
        wrong = (
            f"aim.anchor_count = {aim.anchor_count}: in seek the flash follows drop {drops}'s edge; "
            "leave it out"
        )
    if wrong is not None:
        raise RigFileError(f"rig '{rig.name}': {wrong}")
