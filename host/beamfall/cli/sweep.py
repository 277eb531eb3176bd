"""`beamfall sweep`: walk one timing through its range."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from beamfall.cli.numbers import WHOLE_MOST
from beamfall.cli.shoot import PORT_HELP

if TYPE_CHECKING:
    from beamfall.board import Board
    from beamfall.link.traits import Picture
    from beamfall.planning.sweep.progress import Entry
    from beamfall.planning.sweep.schedule import Step, Sweep
    from beamfall.setup.rig import Rig
    from beamfall.shots import ShotLog
    from beamfall.workflows.series import Shooter


def sweep(
    rig_file: Path | None = typer.Argument(
        None, metavar="[RIG]", help="Rig file (TOML); without one, the example rig."
    ),
    of: str = typer.Option("flash", "--of", help="What is swept: flash, spacing or opening."),
    first: str | None = typer.Option(None, "--from", help="First value, such as '180 ms'."),
    last: str | None = typer.Option(None, "--to", help="Last value."),
    step: str | None = typer.Option(None, "--step", help="From one value to the next."),
    repeat: int = typer.Option(1, "--repeat", min=1, max=100, help="Rounds of all values."),
    shuffle: bool = typer.Option(False, "--shuffle", help="Fire each round in a random order."),
    interleave: bool = typer.Option(
        False, "--interleave", help="Every second value going up, the others coming down."
    ),
    port: str | None = typer.Option(None, "--port", help=PORT_HELP),
    seed: int = typer.Option(
        0,
        "--seed",
        min=0,
        max=WHOLE_MOST,
        help="All chance of a simulated rig, and the order of --shuffle.",
    ),
    rest: str | None = typer.Option(
        None, "--rest", help="Between shots; else aim.rest of the rig."
    ),
    resume: int | None = typer.Option(
        None,
        "--resume",
        min=0,
        max=WHOLE_MOST,
        help="Go on with this series (0: the newest sweep); its own settings hold.",
    ),
    as_json: bool = typer.Option(False, "--json", help="One JSON object a shot, then the table."),
    picture: Path | None = typer.Option(
        None, "--picture", help="Draw the simulated pictures on one sheet (PNG; simulated ports)."
    ),
) -> int:
    """Fire a series in which one timing moves, and end with a table: which shot, value, photograph.

    Flash values count from the flash's anchor, spacing from opening 1 to opening 2. Without --from
    and --to the planner's interval is swept. Ctrl-C stops with all outputs off; --resume goes on.
    """
    from beamfall.board import Board
    from beamfall.cli.numbers import read_rest
    from beamfall.cli.targets import PICTURES, check_target
    from beamfall.planning.sweep.make import make_settings, make_sweep, resume_sweep
    from beamfall.setup.units import parse_duration
    from beamfall.shots import ShotLog
    from beamfall.workflows.series import Shooter

    times = {
        name: None if text is None else parse_duration(text, key=key)
        for name, key, text in (
            ("first_s", "--from", first),
            ("last_s", "--to", last),
            ("step_s", "--step", step),
        )
    }
    rest_s = read_rest(rest)
    check_target(picture, "--picture", PICTURES)
    with ShotLog.open() as log:
        found = _find(log, resume)
        rig, port, seed = _choose_rig(rig_file, found, port, seed)
        with Board.connect(port, rig=rig, seed=seed) as board:
            if picture is not None and board.traits.studio is None:
                _refuse_picture(board)
            if found is None:
                plan = make_sweep(
                    rig, board, of, rig_file=rig_file, **times, repeat=repeat,
                    order="shuffle" if shuffle else "interleave" if interleave else "line", seed=seed,
                )  # fmt: skip
                settings = make_settings(plan, rig, board)
                shooter = Shooter.begin(board, log, "sweep", rig=rig, seed=seed, settings=settings)
            else:
                plan, shooter = resume_sweep(board, log, rig, found)
            run = _Run(
                plan, shooter, log, rig, rig.aim.rest_s if rest_s is None else rest_s, as_json
            )
            run.fire_all()
            if picture is not None:
                run.draw(picture)
    return run.finish(picture)


def _find(log: ShotLog, resume: int | None) -> Any:
    if resume is None:
        return None
    from beamfall.planning.sweep.progress import find_series

    return find_series(log, resume or None)


def _choose_rig(
    rig_file: Path | None, found: Any, port: str | None, seed: int
) -> tuple[Rig, str | None, int]:
    """The rig, port and seed: a series that goes on brings its own."""
    from beamfall.setup.rig import Rig, load_rig

    if found is None:
        return load_rig(rig_file), port, seed
    settings = found.settings
    rig = Rig.from_dict(settings["rig"]) if "rig" in settings else load_rig(rig_file)
    return rig, port or settings.get("port"), found.seed if found.seed is not None else seed


def _refuse_picture(board: Board) -> None:
    from beamfall.errors import UserError

    raise UserError(
        f"--picture draws what a simulated rig would show; {board.name} is a real board: "
        "leave --picture out"
    )


class _Run:
    """Fires the steps that are open, and ends with the table."""

    def __init__(
        self, plan: Sweep, shooter: Shooter, log: ShotLog, rig: Rig, rest_s: float, as_json: bool
    ) -> None:
        self.plan = plan
        self.shooter = shooter
        self.log = log
        self.rig = rig
        self.rest_s = rest_s
        self.as_json = as_json
        self.entries: list[Entry] = []
        self._frames: list[tuple[float, Picture, str]] = []

    def fire_all(self) -> None:
        from beamfall.planning.sweep.progress import list_entries, list_open

        series = self.shooter.series
        try:
            left = list_open(self.plan, list_entries(self.log, series))
            if left:
                from beamfall.cli.cautions import warn_of_flashes

                sequence = self.plan.build(left[0].value_s)
                warn_of_flashes(sequence, repeated=True, quiet=self.as_json)
                self.shooter.warm_up(self.rig, self.rest_s)
            first = True
            while left:
                for step in left:
                    if not first:
                        self.shooter.rest(self.rest_s)
                    first = False
                    self._fire(step, len(left))
                left = list_open(self.plan, list_entries(self.log, series))
        except KeyboardInterrupt:
            if not self.as_json:
                print(f"stopped; go on with: beamfall sweep --resume {series}")
            raise
        self.entries = list_entries(self.log, series)

    def _fire(self, step: Step, count: int) -> None:
        record = self.shooter.fire(self.plan.build(step.value_s), swept=step.to_swept(self.plan.of))
        picture = self.shooter.picture
        if picture is not None:
            words = f"{self.plan.of} {step.value_s * 1e3:.2f} ms: {picture.shows or record.state}"
            self._frames.append((step.value_s, picture, words))
        if self.as_json:
            from beamfall.cli.output import print_json

            print_json({**record.to_json(), "swept": step.to_swept(self.plan.of)})
            return
        from beamfall.shots.remarks import list_remarks

        shown = (record.truth or {}).get("pictures") or []
        odd = "".join(
            f"; {remark}" for remark in list_remarks(record, sees_light=self.rig.fitted.flash_seen)
        )
        seen = f"; the picture would show: {shown[0]['shows']}" if shown else ""
        print(
            f"step {step.index} of {len(self.plan.steps)}: {self.plan.of} {step.value_s * 1e3:.3f} ms, "
            f"shot {record.shot} {record.state}{odd}{seen}"
        )

    def draw(self, picture: Path) -> None:
        """The pictures of this run, lowest value first."""
        studio = self.shooter.board.traits.studio
        if studio is None:
            return
        ordered = sorted(self._frames, key=lambda frame: frame[0])
        frames = [(one, words) for _, one, words in ordered]
        studio.draw_sheet(frames, picture, title=f"{self.plan.of} swept")

    def finish(self, picture: Path | None) -> int:
        from beamfall.cli.output import print_json, print_table

        fired = {entry.step for entry in self.entries if entry.state == "fired"}
        whole = len(fired) == len(self.plan.steps)
        if self.as_json:
            print_json(
                {
                    "series": self.shooter.series,
                    "of": self.plan.of,
                    "steps": len(self.plan.steps),
                    "fired": len(fired),
                    "table": [entry.to_json() for entry in self.entries],
                }
            )
            return 0 if whole else 1
        print()
        ordered = sorted(self.entries, key=lambda entry: (entry.value_ms, entry.repeat, entry.shot))
        print_table(
            (f"{self.plan.of} ms", "round", "step", "shot", "picture", "state", "shows", "file"),
            [
                (
                    f"{entry.value_ms:.3f}", str(entry.repeat), str(entry.step), str(entry.shot),
                    "-" if entry.frame is None else str(entry.frame), entry.state,
                    entry.shows or "-", entry.picture or "-",
                )
                for entry in ordered
            ],
            numeric=(f"{self.plan.of} ms", "round", "step", "shot", "picture"),
        )  # fmt: skip
        print(
            f"\n{len(fired)} of {len(self.plan.steps)} steps fired; series {self.shooter.series}. "
            "'picture' counts the camera's frames in this series"
        )
        if picture is not None:
            print(f"simulated pictures drawn in {picture}")
        return 0 if whole else 1
