"""`beamfall check`: leads through finding out what is wrong."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, cast

import typer

from beamfall.cli.open_log import settle_earlier
from beamfall.cli.shoot import PORT_HELP

if TYPE_CHECKING:
    from beamfall.board import Board
    from beamfall.faults.finder import Finding, Step
    from beamfall.faults.questions import Listen, Person, Question
    from beamfall.faults.setup import Setup
    from beamfall.simulation.defects import RigInRoom


def check(
    rig_file: Path | None = typer.Argument(
        None, metavar="[RIG]", help="Rig file (TOML); without one, the example rig."
    ),
    port: str | None = typer.Option(None, "--port", help=PORT_HELP),
    sequence_file: Path | None = typer.Option(
        None, "--sequence", help="Check with this sequence file in the place of a plan."
    ),
    list_causes: bool = typer.Option(False, "--list", help="List what can be found, and end."),
    simulated_person: bool = typer.Option(
        False, "--simulated-person", help="Have a simulated person answer (simulated ports only)."
    ),
    wrong_answers: float = typer.Option(
        0.0, "--wrong-answers", min=0.0, max=1.0, help="Share of answers it gets wrong."
    ),
    as_json: bool = typer.Option(False, "--json", help="One JSON object at the end."),
    seed: int = typer.Option(0, "--seed", min=0, help="All chance of a simulated rig and person."),
) -> int:
    """Find out why nothing flashes, or what else is wrong.

    The board does what it can by itself: it lets drops fall, closes the flash's contact, watches the beam. It asks
    only what it cannot see. Warn everybody first: flashes can trigger photosensitive epilepsy.
    """
    if list_causes:
        _print_causes()
        return 0
    from beamfall.board import Board
    from beamfall.errors import UserError
    from beamfall.faults.session import find_faults
    from beamfall.faults.setup import make_setup
    from beamfall.rig import load_rig

    if wrong_answers and not simulated_person:
        raise UserError("--wrong-answers is about the simulated person: add --simulated-person")
    rig = load_rig(rig_file)
    sequence = None
    if sequence_file is not None:
        from beamfall.sequence_file import load_sequence

        sequence = load_sequence(sequence_file)
    plain = make_setup(rig, sequence)

    def set_up(board: Board) -> Setup:
        simulated = cast("RigInRoom | None", board.simulated_rig)
        if simulated is None:
            settle_earlier(board)
            return plain
        # A simulated rig's photographer may have set something else than was planned.
        return replace(plain, sequence=simulated.set_by_photographer(plain.sequence))

    def choose_person(board: Board, setup: Setup) -> Person:
        if not simulated_person:
            return TerminalPerson()
        simulated = cast("RigInRoom | None", board.simulated_rig)
        if simulated is None:
            raise UserError(
                f"--simulated-person stands beside a simulated rig; {board.name} is a real board: "
                "leave it out and answer yourself, or use --port sim"
            )
        from beamfall.simulation.person import SimulatedPerson
        from beamfall.simulation.room import Room

        return SimulatedPerson(
            Room(simulated),
            valve=setup.valve_number,
            beam=max(setup.beam_number, 1),
            flash=max(setup.flash_number, 1),
            wrong_share=wrong_answers,
            seed=simulated.seed,
        )

    finding = find_faults(
        lambda: Board.connect(port, rig=rig, seed=seed),
        set_up,
        choose_person,
        bare_setup=lambda: plain,
        tell=(lambda step: None) if as_json else _print_step,
    )
    if as_json:
        from beamfall.cli.output import print_json

        print_json(finding.to_json())
    else:
        _print_finding(finding)
    return 0


def _print_causes() -> None:
    from beamfall.cli.output import print_pairs
    from beamfall.faults.causes import CAUSES

    print_pairs((cause.name, cause.what) for cause in CAUSES)


class TerminalPerson:
    """Whoever sits at this terminal. Questions go to standard error, so that standard output stays the finding's."""

    def __init__(self) -> None:
        self._told: set[str] = set()
        self._asked: set[str] = set()

    def begin(self, cautions: tuple[str, ...]) -> None:
        self._say("Drops will fall and the flash will fire while this looks for the fault.")
        for caution in cautions:
            self._say(f"  Caution: {caution}")
        self._told.update(cautions)
        self._wait("Press Enter to begin; Ctrl-C puts all outputs off")

    def prepare(self, question: Question) -> None:
        self._say("")
        if question.name in self._asked:
            self._say("Once more, to be sure:")
        self._asked.add(question.name)
        caution = question.caution
        for told in self._told:
            caution = caution.replace(told, "").strip()
        if caution:
            self._say(f"Caution: {caution}")
            self._told.add(caution)
        if question.before:
            self._say(question.before)
            self._wait("Press Enter when you are ready")

    def act(self, question: Question, listen: Listen) -> None:
        from beamfall.faults.aside import listen_aside

        self._say(question.text)
        with listen_aside(listen):
            self._wait("Press Enter when it is done")

    def answer(self, question: Question) -> str:
        self._say(question.text)
        names = list(question.answers)
        for number, name in enumerate(names, 1):
            self._say(f"  {number}  {question.answers[name]}")
        while True:
            given = str(typer.prompt("Your answer", err=True)).strip().lower()
            for number, name in enumerate(names, 1):
                if given in (str(number), name, name[:1]):
                    return name
            self._say(f"Type a number from 1 to {len(names)}.")

    def finish(self, question: Question) -> None:
        if question.after:
            self._say(question.after)
            self._wait("Press Enter when it is done")

    def _say(self, text: str) -> None:
        print(text, file=sys.stderr)

    def _wait(self, text: str) -> None:
        typer.prompt(text, default="", show_default=False, err=True)


def _print_step(step: Step) -> None:
    if step.outcomes or step.trouble:
        print(f"{'asked' if step.asked else 'board'}  {step.check.what}: {step.describe()}")


def _print_finding(finding: Finding) -> None:
    from beamfall.cli.output import print_table

    print()
    likely = [(name, f"{100 * chance:.0f} %") for name, chance in finding.ranked[:5]]
    print_table(("cause", "chance"), likely, numeric=("chance",))
    print()
    print(finding.reason)
    if finding.separates:
        print(f"Not settled: {finding.separates}")
    print(finding.advice)
    asked = "one question" if finding.questions == 1 else f"{finding.questions} questions"
    print(
        f"It took {asked} and {sum(not step.asked for step in finding.steps)} tests by the board alone."
    )
