"""`beamfall recipe shoot`: a recipe again, corrected for today."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import typer

from beamfall.board import Board
from beamfall.cli.front import ShootTerminal
from beamfall.cli.options import COUNT, JSON_LINES, PORT, SEED, read_optional
from beamfall.cli.pictures import CAMERA, PHOTOS, PICTURE_WAIT, begin, hold, read_arrivals
from beamfall.cli.words import say_end
from beamfall.planning.learned import find_file, load_learned
from beamfall.recipes.shelf import Shelf
from beamfall.recipes.words import CORRECT, list_day
from beamfall.setup.rig import load_rig
from beamfall.shots import ShotLog
from beamfall.workflows.recipe import ApplyCorrection, DayCompared, shoot_recipe
from beamfall.workflows.run import run
from beamfall.workflows.steps import Event, Question


class RecipeTerminal(ShootTerminal):
    """Also tells the user how today differs, and offers the correction."""

    def show(self, event: Event) -> None:
        if isinstance(event, DayCompared):
            for line in list_day(event.recipe, event.correction):
                print(line, file=self.stream, flush=True)
        super().show(event)

    def ask(self, question: Question[Any], problem: str) -> str:
        if not isinstance(question, ApplyCorrection):
            return super().ask(question, problem)
        if problem:
            print(problem, file=self.stream)
        typed = self._read_line(f"{CORRECT} [Y/n]: ")
        return typed or question.otherwise


def shoot(
    name: str = typer.Argument(..., help="The recipe's name; capitals do not matter."),
    rig_file: Path | None = typer.Option(
        None,
        "--rig",
        help="The rig as it is today (TOML); default: the rig file it was saved with.",
    ),
    temperature: str | None = typer.Option(
        None, help="Temperature of liquid and air today, such as '18 degC'."
    ),
    head: str | None = typer.Option(None, help="Head of the bottle today, such as '8 cm'."),
    as_then: bool = typer.Option(
        False,
        "--as-then",
        help="Fire the original milliseconds unchanged; release no drops to compare.",
    ),
    port: str | None = PORT,
    count: int = COUNT,
    seed: int = SEED,
    as_json: bool = JSON_LINES,
    camera: str | None = CAMERA,
    photos: Path | None = PHOTOS,
    picture_wait: str = PICTURE_WAIT,
) -> int:
    """Fire a recipe again. Two drops fall first; they show how today differs, and you are offered a correction.

    The beam cannot see the liquid's level: fill the dish to the same mark as before.
    """
    from beamfall.recipes.day import set_day

    kelvin = read_optional(temperature, "temperature", key="--temperature")
    head_m = read_optional(head, "length", key="--head")
    recipe = Shelf.open().load(name)
    if rig_file is None and recipe.home.rig_file and Path(recipe.home.rig_file).is_file():
        rig_file = Path(recipe.home.rig_file)
    now = set_day(
        recipe,
        temperature_k=kelvin,
        head_m=head_m,
        rig=None if rig_file is None else load_rig(rig_file),
    )
    arrivals = read_arrivals(camera, photos, picture_wait, now)
    with ShotLog.open() as log, hold(arrivals), Board.connect(port, rig=now, seed=seed) as board:
        recipe.sequence.make_table(board.info)  # before a drop falls
        begin(arrivals, board)
        learned = load_learned(find_file(rig_file), board.info.unique_id.hex())
        with RecipeTerminal(count, as_json=as_json, with_pictures=arrivals is not None) as terminal:
            done = run(
                shoot_recipe(recipe, now, count, learned=learned, as_then=as_then),
                board, log, terminal, seed=seed, arrivals=arrivals,
            )  # fmt: skip
    if not as_json and (said := say_end(done.shots, count)):
        print(said)
    return 0 if sum(one.record.state == "fired" for one in done.shots) == count else 1
