"""The file of what was learned about a rig, kept beside the rig file and used by the next plan.

`RIG.learned.json` is beside `RIG.toml` (of the example rig: beside the shot log). It holds one
belief for each board the rig was used with, by the board's unique id, so that what a simulated rig
showed is never taken for the real one.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

from beamfall.errors import UserError
from beamfall.files import explain_write, write_whole
from beamfall.places import find_log
from beamfall.planning.belief import SOUGHT, Belief, Step
from beamfall.planning.unknowns import Normal

_VERSION = 2


def find_file(rig_file: Path | None) -> Path:
    """Where what was learned about a rig file is kept; None: the example rig."""
    if rig_file is not None:
        return rig_file.with_name(f"{rig_file.stem}.learned.json")
    return find_log().parent / "example.learned.json"


def load_learned(file: Path, board: str | None = None) -> Belief | None:
    """Return what was learned with a board; without one the newest, real boards before simulated ones.

    None if there is nothing. Raises UserError if the file cannot be read.
    """
    if not file.exists():
        return None
    found = _read(file)
    if board is not None:
        return found.get(board)
    real = [one for one in found.values() if not one.simulated] or list(found.values())
    return max(real, key=lambda one: one.when, default=None)


def save_learned(file: Path, belief: Belief) -> None:
    """Write what was learned beside that of other boards; the file is whole at any moment.

    Raises FileWriteError if it cannot be written.
    """
    found = _read(file) if file.exists() else {}
    found[belief.board] = belief
    content = {
        "beamfall_learned": _VERSION,
        "boards": {name: _to_json(one) for name, one in sorted(found.items())},
    }
    with explain_write(file):
        file.parent.mkdir(parents=True, exist_ok=True)
    with write_whole(file) as part:
        part.write_text(json.dumps(content, indent=1) + "\n", encoding="utf-8")


def change_learned(
    rig_file: Path | None, board: str | None, change: Callable[[Belief], Belief]
) -> Belief:
    """Change what was learned about a rig, such as by `Belief.undo`, and return it as it is now.

    `board` as in `load_learned`. Raises UserError if there is nothing, and what `change` raises.
    """
    file = find_file(rig_file)
    belief = load_learned(file, board)
    if belief is None:
        with_board = "" if board is None else f" with board {board}"
        raise UserError(
            f"{file}: nothing has been learned about this rig{with_board} yet; "
            "run `beamfall seek` or `beamfall calibrate`"
        )
    changed = change(belief)
    save_learned(file, changed)
    return changed


def _to_json(belief: Belief) -> dict[str, Any]:
    return {
        "port": belief.port,
        "simulated": belief.simulated,
        "head": belief.head,
        "steps": [asdict(step) for step in belief.steps],
    }


def _read(file: Path) -> dict[str, Belief]:
    try:
        content = json.loads(file.read_text(encoding="utf-8"))
        version = content["beamfall_learned"]
        read = {1: _read_first_version, _VERSION: _read_belief}.get(version)
        if read is None:
            raise ValueError(f"version {version}")
        return {name: read(name, entry) for name, entry in content["boards"].items()}
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        raise UserError(
            f"{file}: what was learned about this rig cannot be read ({type(error).__name__}: {error}); "
            "move the file away to start again"
        ) from error


def _read_belief(board: str, entry: Mapping[str, Any]) -> Belief:
    steps = tuple(_read_step(step) for step in entry["steps"])
    head = int(entry["head"])
    numbers = {0, *(step.number for step in steps)}
    earlier = all(max(step.before, step.parent) < step.number for step in steps)
    if not earlier or not {head, *(n for s in steps for n in (s.before, s.parent))} <= numbers:
        raise ValueError("steps that build on a missing step")
    return Belief(board, str(entry["port"]), bool(entry["simulated"]), steps, head)


def _read_step(entry: Mapping[str, Any]) -> Step:
    values = {
        **entry,
        "series": tuple(int(one) for one in entry["series"]),
        "used": tuple(int(one) for one in entry["used"]),
        "state": None if entry["state"] is None else _read_normal(entry["state"]),
        "alone": None if entry["alone"] is None else _read_normal(entry["alone"]),
    }
    return Step(**values)


def _read_normal(entry: Mapping[str, Any]) -> Normal:
    return Normal.of(tuple(entry["names"]), entry["mean"], entry["covariance"])


def _read_first_version(board: str, entry: Mapping[str, Any]) -> Belief:
    """A file from before there was a history: one step, without any details."""
    spacing = entry.get("spacing_s")
    step = Step(
        number=1, before=0, parent=0, kind=SOUGHT, when=str(entry["when"]),
        shots=int(entry["shots"]), found=spacing is not None,
        certainty=0.0 if spacing is None else 0.85, spacing_s=spacing,
        state=_read_normal(entry), basis=entry["basis"],
    )  # fmt: skip
    return Belief(board, str(entry["port"]), bool(entry["simulated"]), (step,), head=1)
