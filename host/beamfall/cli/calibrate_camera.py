"""`beamfall calibrate camera`: the camera's shutter lag."""

from __future__ import annotations

from typing import Any

from beamfall.board import Board
from beamfall.cli.front import Terminal
from beamfall.cli.output import print_json, print_pairs
from beamfall.planning.shutter import ShutterLag
from beamfall.setup.rig import Rig
from beamfall.shots import ShotLog
from beamfall.shots.exposure import say_time
from beamfall.workflows.calibrate_camera import IsItLit, LagSeen, measure_lag, search_lag
from beamfall.workflows.run import run
from beamfall.workflows.steps import Event, Question

PRESSES = 10


class CameraTerminal(Terminal):
    """Shows each press, and asks whether the flash is in the picture."""

    def show(self, event: Event) -> None:
        super().show(event)
        if isinstance(event, LagSeen) and not self.quiet:
            lag = "no contact" if event.lag_s is None else f"{event.lag_s * 1e3:.3f} ms"
            print(f"shot {event.fired.shot}: {lag}", flush=True)

    def ask(self, question: Question[Any], problem: str) -> str:
        if not isinstance(question, IsItLit):
            return super().ask(question, problem)
        if problem:
            print(problem, file=self.stream)
        after = f"{question.after_s * 1e3:.1f} ms"
        return self.read(
            f"shot {question.fired.shot}: flash {after} after the contact: lit or dark? "
        )


def calibrate_camera(
    rig: Rig,
    port: str | None,
    *,
    count: int | None,
    seed: int,
    exposure_s: float | None,
    ask: bool,
    as_json: bool,
) -> None:
    """Measure the lag by the hot-shoe contact, or by the flash where `exposure_s` is given; print it."""
    with ShotLog.open() as log, Board.connect(port, rig=rig, seed=seed) as board:
        if exposure_s is None:
            steps = measure_lag(rig, count=count or PRESSES)
        else:
            steps = search_lag(rig, board, exposure_s=exposure_s, asks=ask)
        found = run(steps, board, log, CameraTerminal(quiet=as_json), seed=seed)
    if as_json:
        print_json(found.to_json())
    else:
        _print(found)


def _print(found: ShutterLag) -> None:
    lag = f"{found.mean_s * 1e3:.1f} \u00b1 {found.error_s * 1e3:.1f} ms"
    scatter = f"{found.scatter_s * 1e3:.1f} ms"
    print()
    print_pairs(
        (
            ("shutter lag", f"{lag}, from {found.shots} of {found.asked} shots"),
            ("scatter", f"less than {scatter}" if found.by_search else scatter),
            ("shutter time", _advise(found)),
        )
    )
    print("\nWrite this into the rig file:\n\n[camera]")
    print(f'shutter_lag = "{found.mean_s * 1e3:.1f} ms"')
    print(f'shutter_scatter = "{found.scatter_s * 1e3:.1f} ms"')
    if found.exposure_s is not None:
        print(f'# not on bulb: exposure = "{found.exposure_s * 1e3:.4g} ms"')


def _advise(found: ShutterLag) -> str:
    if found.exposure_s is None:
        return "no shutter time is certain to include the flash: use bulb"
    return f"bulb, or {say_time(found.exposure_s)} or longer in manual mode"
