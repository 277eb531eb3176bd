"""Runs an ngspice deck with other parameters and returns its measurements and waveforms.

The decks in hardware/spice run by themselves too: `ngspice -b valve.cir`. Here their `.param` lines are replaced, so
that the deck itself stays the only description of its circuit.
"""

from __future__ import annotations

import re
import shutil
import subprocess
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from circuit.errors import SimulationError, SimulatorMissing

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

DECKS = Path(__file__).resolve().parent.parent / "spice"
_PARAM = re.compile(r"^\.param\s+(\w+)\s*=.*$", re.MULTILINE)
_MEASURED = re.compile(r"^(\w+)\s*=\s*([-+0-9.eE]+)", re.MULTILINE)
_FAILED = re.compile(r"^\s*\.meas\w*\s+\w+\s+(\w+)\b.*failed!", re.MULTILINE)
TIME_LIMIT_S = 60.0


@dataclass(frozen=True)
class Run:
    """What a deck gave: measurements by name (seconds, volts, amperes), waveforms by vector name on `time_s`."""

    measured: Mapping[str, float]
    time_s: NDArray[np.float64]
    waves: Mapping[str, NDArray[np.float64]]

    def __getitem__(self, name: str) -> float:
        try:
            return self.measured[name]
        except KeyError:
            raise SimulationError(
                f"the deck measured no {name}; it gave {', '.join(self.measured)}"
            ) from None

    def rises(self, vector: str, level: float) -> int:
        """How often the waveform rises through the level."""
        above = self.waves[vector] > level
        return int((~above[:-1] & above[1:]).sum())


def _measurements(output: str) -> str:
    return output.partition("Measurements for")[2].partition("Total ")[0]


def find_ngspice() -> str:
    """Path of the simulator; SimulatorMissing when it is not installed."""
    path = shutil.which("ngspice")
    if path is None:
        raise SimulatorMissing(
            "ngspice is not installed: `apt-get install ngspice` (Debian), or your system's package"
        )
    return path


def run_deck(
    name: str,
    params: Mapping[str, float],
    vectors: Sequence[str] = (),
    optional: Sequence[str] = (),
) -> Run:
    """Runs hardware/spice/<name>.cir with these parameters; `vectors` such as 'v(out)' come back as waveforms.
    A measurement in `optional` may find nothing (the edge never came): it is then missing from the result.

    SimulationError when a parameter does not exist in the deck, the run fails, or nothing was measured.
    """
    import numpy as np

    text = (DECKS / f"{name}.cir").read_text()
    known = {match.group(1) for match in _PARAM.finditer(text)}
    unknown = set(params) - known
    if unknown:
        raise SimulationError(
            f"{name}.cir has no parameter {', '.join(sorted(unknown))}; it has {', '.join(sorted(known))}"
        )

    def replace(match: re.Match[str]) -> str:
        key = match.group(1)
        return f".param {key} = {params[key]:.9g}" if key in params else match.group(0)

    text = _PARAM.sub(replace, text)
    with tempfile.TemporaryDirectory() as folder:
        if vectors:
            control = f".control\nset wr_singlescale\nrun\nwrdata waves.txt {' '.join(vectors)}\nquit\n.endc\n"
            text = text.replace("\n.end\n", f"\n{control}.end\n")
        deck = Path(folder) / "deck.cir"
        deck.write_text(text)
        done = subprocess.run(
            [find_ngspice(), "-b", "deck.cir"],
            cwd=folder,
            capture_output=True,
            text=True,
            timeout=TIME_LIMIT_S,
            check=False,
        )
        measured = {
            match.group(1): float(match.group(2))
            for match in _MEASURED.finditer(_measurements(done.stdout))
        }
        waves = Path(folder) / "waves.txt"
        failed = set(_FAILED.findall(done.stdout + done.stderr)) - set(optional)
        if failed or not measured or (vectors and not waves.exists()):
            raise SimulationError(
                f"{name}.cir with {dict(params)} did not run:\n{done.stdout[-1500:]}{done.stderr[-1500:]}"
            )
        table = np.loadtxt(waves) if vectors else np.zeros((0, 1))
    return Run(measured, table[:, 0], {vector: table[:, 1 + n] for n, vector in enumerate(vectors)})
