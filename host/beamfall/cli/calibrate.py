"""`beamfall calibrate`: what the beam's edges say about the rig."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import typer

from beamfall.board import Board
from beamfall.cli.calibrate_camera import calibrate_camera
from beamfall.cli.front import CalibrateTerminal
from beamfall.cli.open_log import choose_series
from beamfall.cli.options import PORT, SEED
from beamfall.cli.output import print_json, print_pairs, print_table
from beamfall.errors import UserError
from beamfall.planning.calibration import Calibration
from beamfall.planning.calibration.describe import (
    START_AND_FALL,
    TIMES,
    describe_estimate,
    explain_combination,
)
from beamfall.planning.calibration.drops import check_request
from beamfall.planning.calibration.effect import Effect
from beamfall.setup.rig import Rig, load_rig
from beamfall.setup.units import parse_duration, parse_quantity
from beamfall.shots import ShotLog
from beamfall.text import show_text
from beamfall.workflows import calibrate as workflow
from beamfall.workflows.counts import check_count
from beamfall.workflows.run import run

CAMERA, DROPS = "camera", "drops"
_DROPS = 20
_FEW = 3  # fewer drops on the scale, or openings of the shutter, say too little


def calibrate(
    what: str | None = typer.Argument(
        None,
        metavar="camera|drops",
        help="'camera' measures the shutter lag, 'drops' the size of drops that you weighed; without it, the rig.",
        show_default=False,
    ),
    of_camera: Path | None = typer.Argument(
        None, metavar="RIG", help="Rig file (TOML); default: the example rig."
    ),
    series: list[int] = typer.Option(
        [], help="Use this series of the log instead of new shots; may be repeated."
    ),
    port: str | None = PORT,
    count: int | None = typer.Option(
        None,
        help="Number of shots of two drops each: 8 or more, default 20. camera: how many times to open the shutter, "
        "3 or more, default 10. drops: how many you weighed, 3 or more.",
    ),
    seed: int = SEED,
    valve: str | None = typer.Option(
        None, help="Which valve, such as valve2; default: the rig's first."
    ),
    gap_error: str = typer.Option(
        "0.3 mm", help="Error of the distance between two beams, or two heights of one beam."
    ),
    weighed: str | None = typer.Option(
        None,
        help="drops: mass of the --count drops that you caught, such as '2.1 g'; releases no drops.",
    ),
    store: bool = typer.Option(
        True, help="Save the result for the next plan, beside the rig file."
    ),
    flash: str | None = typer.Option(
        None,
        help="camera: find the lag with the flash; give the shutter time set on the camera, such as '1 s'.",
    ),
    ask: bool = typer.Option(
        False, "--ask", help="camera: answer yourself, even on a simulated port."
    ),
    as_json: bool = typer.Option(False, "--json", help="Everything as one JSON object, SI units."),
) -> None:
    """Measure the rig by letting drops fall through its beams.

    It releases drops without flash, or reads logged series, and finds four things, each with its error: the
    valve's latency, the distance from nozzle to beam, the drops' speed and their diameter.
    One beam alone cannot separate latency from distance: use two beams, or
    two series with the beam at two heights (--series A --series B).
    `beamfall calibrate drops --weighed '2.1 g' --count 50` finds the volume from drops that you caught and weighed.

    `beamfall calibrate camera` measures the time from the shutter's contact to the open shutter: with the
    camera's hot-shoe contact on a spare input (camera.sync_input in the rig file), or with --flash.
    """
    if what == CAMERA and not Path(CAMERA).is_file():
        _check_few(count)
        calibrate_camera(
            load_rig(of_camera), port, count=count, seed=seed, ask=ask, as_json=as_json,
            exposure_s=None if flash is None else parse_duration(flash, key="--flash", example="1 s"),
        )  # fmt: skip
        return
    if what == DROPS and not Path(DROPS).is_file():
        if weighed is None or count is None:
            raise UserError(
                "calibrate drops: catch drops (`beamfall drip` releases one), weigh them together, and give "
                "--weighed '2.1 g' --count 50"
            )
        _check_few(count)
        _weigh(load_rig(of_camera), weighed, count, port, seed, of_camera, store, as_json)
        return
    if weighed is not None:
        raise UserError("--weighed belongs to `beamfall calibrate drops`")
    if of_camera is not None:
        raise UserError(
            f"calibrate {what} {of_camera}: give one rig file, with 'camera' or 'drops' before it if you mean that"
        )
    if flash is not None or ask:
        raise UserError("--flash and --ask belong to `beamfall calibrate camera`")
    count = _DROPS if count is None else count
    check_count(count, workflow.SHOTS_LEAST)
    rig_file = None if what is None else Path(what)
    rig = load_rig(rig_file)
    error_m = parse_quantity(gap_error, "length", key="--gap-error", example="0.3 mm")
    check_request(rig, gap_error_m=error_m, valve=valve)
    asked: dict[str, Any] = {
        "gap_error_m": error_m, "valve": valve, "rig_file": rig_file, "store": store
    }  # fmt: skip
    with ShotLog.open() as log:
        if series:
            chosen = [choose_series(log, one) for one in series]
            done = workflow.calibrate_by(log, rig, chosen, **asked)
        else:
            with Board.connect(port, rig=rig, seed=seed) as board:
                terminal = CalibrateTerminal(board.name, quiet=as_json)
                steps = workflow.calibrate(rig, log, count=count, **asked)
                done = run(steps, board, log, terminal, seed=seed)
    found, effects, kept = done.found, done.effects, done.kept
    if as_json:
        print_json(
            {**found.to_json(), "plan": {one.name: one.to_json() for one in effects},
             "kept_in": None if kept is None else str(kept)}
        )  # fmt: skip
        return
    _print(found, effects)
    if kept is not None:
        print(
            f"\nSaved in {show_text(kept)} for the next plan; `beamfall learned undo` undoes it. "
            "Do not change the rig file: the plan uses both."
        )
    elif store:
        print(
            "\nNot saved: these shots were fired with another rig file "
            f"('{done.of_rig}'); name that file."
        )


def _check_few(count: int | None) -> None:
    if count is not None and count < _FEW:
        raise UserError(f"--count = {count}: expected {_FEW} or more")


def _weigh(
    rig: Rig,
    weighed: str,
    count: int,
    port: str | None,
    seed: int,
    rig_file: Path | None,
    store: bool,
    as_json: bool,
) -> None:
    mass_kg = parse_quantity(weighed, "mass", key="--weighed", example="2.1 g")
    if not 1e-5 <= mass_kg <= 1.0:
        raise UserError(f"--weighed = {weighed}: expected 0.01 g to 1 kg")
    with Board.connect(port, rig=rig, seed=seed) as board:
        done = workflow.weigh_drops(
            rig, board, mass_kg=mass_kg, count=count, rig_file=rig_file, store=store
        )
    if as_json:
        print_json(
            {"volume_ul": round(done.volume_m3 * 1e9, 3), "error_ul": round(done.error_m3 * 1e9, 3),
             "kept_in": None if done.kept is None else str(done.kept)}
        )  # fmt: skip
        return
    print(
        f"one drop: {done.volume_m3 * 1e9:.2f} ± {done.error_m3 * 1e9:.2f} µL, from {count} drops"
    )
    for name, words in TIMES.items():
        if name in done.after.intervals:
            one, other = done.before.intervals[name], done.after.intervals[name]
            print(
                f"{words}: {one.p50 * 1e3:.1f} ({one.p5 * 1e3:.1f} to {one.p95 * 1e3:.1f}) -> "
                f"{other.p50 * 1e3:.1f} ({other.p5 * 1e3:.1f} to {other.p95 * 1e3:.1f}) ms"
            )
    if done.kept is not None:
        print(
            f"Saved in {show_text(done.kept)} for the next plan; `beamfall learned undo` undoes it."
        )


def _print(found: Calibration, effects: Sequence[Effect]) -> None:
    samples = found.model.samples
    drops = sum(len(one.values_s) for one in samples)
    beams = sorted(
        {(b.input, b.height_m) for one in samples for b in one.rig.beams if b.input in one.beams}
    )
    left = sum(one.left_out for one in samples)
    others = f", {left} outliers left out" if left else ""
    print_pairs(
        (
            ("rig", samples[0].rig.name),
            ("drops", f"{drops} in {len(found.shots)} shots{others}"),
            ("beams", ", ".join(f"{name} at {height * 100:g} cm" for name, height in beams)),
        )
    )  # fmt: skip
    print()
    print_table(
        ("quantity", "rig file", "calibrated", "95 % interval", "measured by the beam"),
        [describe_estimate(one) for one in found.estimates],
        numeric=("rig file", "calibrated"),
    )
    print(f"\n{START_AND_FALL}")
    for one in found.combinations:
        print(f"\n{explain_combination(one)}")
    if not found.separable:
        print(
            "To separate them, add a second beam, or fire a second series with the beam at another height "
            "(at least\n10 cm away) and name both with --series."
        )
    for warning in found.warnings:
        print(f"\nwarning: {warning}")
    if effects:
        print("\nEffect on the plan (90 % intervals):")
        print_table(
            ("time", "before", "after", "width"),
            [
                (
                    TIMES[one.name],
                    f"{one.before[0] * 1e3:.1f} to {one.before[2] * 1e3:.1f} ms",
                    f"{one.after[0] * 1e3:.1f} to {one.after[2] * 1e3:.1f} ms",
                    f"{_width(one.before):.2f} -> {_width(one.after):.2f} ms",
                )
                for one in effects
                if one.name in TIMES
            ],
        )


def _width(interval: tuple[float, float, float]) -> float:
    return 1e3 * (interval[2] - interval[0])
