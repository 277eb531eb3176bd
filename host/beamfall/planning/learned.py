"""What seeking and calibrating have shown of a rig, kept beside its file and used by the next plan.

The file `RIG.learned.json` lies beside `RIG.toml` (of the example rig: beside the shot log). It
holds one entry for each board the rig was used with, by the board's unique id, so that what a
simulated rig showed is never taken for the real one. An entry is a normal distribution of the z of
`unknowns`, with the values of the rig file that it rests on: where the jet's own (liquid, dish,
drop) have changed since, nothing of it is used; where only heights were measured anew, the jet's
factors stay.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from beamfall.errors import UserError
from beamfall.planning.unknowns import NAMES, OF_THE_JET

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from beamfall.setup.rig import Rig

    Floats = NDArray[np.float64]

_VERSION = 1


@dataclass(frozen=True)
class Learned:
    """A normal distribution of z, and where it comes from."""

    board: str  # unique id
    port: str
    simulated: bool
    when: str
    shots: int
    names: tuple[str, ...]
    mean: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]
    basis: Mapping[str, Any]
    spacing_s: float | None = None  # at which drop 2 was seen to meet the jet

    def fit(self, rig: Rig) -> tuple[Floats, Floats] | None:
        """Mean and covariance of z in the order of NAMES, as far as they hold for a rig; None: not at all."""
        import numpy as np

        now = describe_basis(rig)
        if self.basis.get("jet") != now["jet"]:
            return None
        same = self.basis.get("heights") == now["heights"]
        kept = [n for n in self.names if n in NAMES and (same or n in OF_THE_JET)]
        here = [NAMES.index(name) for name in kept]
        there = [self.names.index(name) for name in kept]
        mean, covariance = np.zeros(len(NAMES)), np.eye(len(NAMES))
        mean[here] = np.array(self.mean)[there]
        covariance[np.ix_(here, here)] = np.array(self.covariance)[np.ix_(there, there)]
        return mean, covariance

    def recall_spacing(self, rig: Rig) -> float | None:
        """The spacing that worked, where nothing of the rig has changed since; else None."""
        return self.spacing_s if self.basis == describe_basis(rig) else None

    def describe(self) -> str:
        """In a sentence."""
        what = (
            f"the simulated rig on {self.port}"
            if self.simulated
            else f"board {self.board} on {self.port}"
        )
        when = self.when[:16].replace("T", " ")
        return f"narrowed by {self.shots} shots of seeking or calibrating with {what}, {when}"

    def to_json(self) -> dict[str, Any]:
        """Plain values for the file."""
        return {
            "port": self.port,
            "simulated": self.simulated,
            "when": self.when,
            "shots": self.shots,
            "names": list(self.names),
            "mean": [round(value, 6) for value in self.mean],
            "covariance": [[round(value, 8) for value in row] for row in self.covariance],
            "basis": dict(self.basis),
            "spacing_s": self.spacing_s,
        }


def make_learned(
    rig: Rig,
    mean: Floats,
    covariance: Floats,
    *,
    board: str,
    port: str,
    simulated: bool,
    shots: int,
    spacing_s: float | None = None,
) -> Learned:
    """What is to be kept of a search or calibration that ended with this mean and covariance of z."""
    return Learned(
        board=board,
        port=port,
        simulated=simulated,
        when=datetime.now(UTC).isoformat(timespec="seconds"),
        shots=shots,
        names=NAMES,
        mean=tuple(float(value) for value in mean),
        covariance=tuple(tuple(float(value) for value in row) for row in covariance),
        basis=describe_basis(rig),
        spacing_s=spacing_s,
    )


def describe_basis(rig: Rig) -> dict[str, Any]:
    """The values of a rig that what was learned rests on, in two parts."""
    valve = rig.valves[0]
    liquid = rig.liquid
    return {
        "jet": {
            "liquid": liquid.name,
            "parts": [[name, share] for name, share in liquid.parts],
            "depth_m": rig.dish.depth_m,
            "bore_m": valve.bore_m,
            "head_m": valve.head_m,
            "opening_s": valve.opening_s,
        },
        "heights": {
            "valve_m": valve.height_m,
            "beams_m": [beam.height_m for beam in rig.beams],
            "latency_s": valve.latency_s,
        },
    }


def find_file(rig_file: Path | None) -> Path:
    """Where what was learned of a rig file is kept; None: the example rig."""
    if rig_file is not None:
        return rig_file.with_name(f"{rig_file.stem}.learned.json")
    from beamfall.shots.place import find_log

    return find_log().parent / "example.learned.json"


def load_learned(file: Path, board: str | None = None) -> Learned | None:
    """Return what was learned with a board; without one the newest, real boards before simulated ones.

    None where there is nothing. Raises UserError where the file cannot be read.
    """
    if not file.exists():
        return None
    found = _read(file)
    if board is not None:
        return found.get(board)
    real = [one for one in found.values() if not one.simulated] or list(found.values())
    return max(real, key=lambda one: one.when, default=None)


def save_learned(file: Path, learned: Learned) -> None:
    """Write what was learned beside what is there of other boards; the file is whole at any moment.

    Raises UserError where it cannot be written.
    """
    found = _read(file) if file.exists() else {}
    found[learned.board] = learned
    content = {
        "beamfall_learned": _VERSION,
        "boards": {name: one.to_json() for name, one in sorted(found.items())},
    }
    part = file.with_name(file.name + ".part")
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        part.write_text(json.dumps(content, indent=1) + "\n", encoding="utf-8")
        os.replace(part, file)
    except OSError as error:
        raise UserError(
            f"{file}: what was learned cannot be kept there ({error.strerror or error}); "
            "make the folder writable"
        ) from error


def _read(file: Path) -> dict[str, Learned]:
    try:
        content = json.loads(file.read_text(encoding="utf-8"))
        if content["beamfall_learned"] != _VERSION:
            raise ValueError(f"version {content['beamfall_learned']}")
        return {
            name: Learned(
                board=name,
                port=str(entry["port"]),
                simulated=bool(entry["simulated"]),
                when=str(entry["when"]),
                shots=int(entry["shots"]),
                names=tuple(entry["names"]),
                mean=tuple(float(v) for v in entry["mean"]),
                covariance=tuple(tuple(float(v) for v in row) for row in entry["covariance"]),
                basis=entry["basis"],
                spacing_s=entry.get("spacing_s"),
            )
            for name, entry in content["boards"].items()
        }
    except (OSError, ValueError, KeyError, TypeError, AttributeError) as error:
        raise UserError(
            f"{file}: what was learned of this rig cannot be read ({type(error).__name__}: {error}); "
            "move the file away to begin anew"
        ) from error
