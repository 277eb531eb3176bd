"""`beamfall check`: helps the user find out what is wrong. What it says while it works goes to standard error."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any, TextIO

import typer

from beamfall.board import Board
from beamfall.cli import words
from beamfall.cli.front import Terminal
from beamfall.cli.options import PORT, RIG
from beamfall.cli.output import print_json, print_pairs, print_table
from beamfall.errors import UserError
from beamfall.faults.catalogue import load_catalogue
from beamfall.faults.origin import Origin, Source
from beamfall.faults.questions import PersonGone, listen_aside
from beamfall.faults.setup import Setup, make_setup
from beamfall.faults.timings import find_timings
from beamfall.planning.learned import find_file, load_learned
from beamfall.setup.rig import Rig, load_rig
from beamfall.setup.sequence import Sequence
from beamfall.setup.sequence_file import load_sequence
from beamfall.workflows import check as workflow
from beamfall.workflows.check import (
    CANNOT_TELL,
    DONE,
    READY,
    Agree,
    AtRig,
    DoIt,
    GetReady,
    Look,
    PutBack,
    TestAhead,
    TestMade,
)
from beamfall.workflows.run import run
from beamfall.workflows.series import settle_before_unlogged
from beamfall.workflows.steps import Event, Question
from beamfall.workflows.words import CHECK_AHEAD

if TYPE_CHECKING:
    from beamfall.faults.finder import Finding


_CANNOT = ("0", "?", "cannot tell", "cannot", "can't tell", "don't know", "dont know", "unknown")


class CheckTerminal(Terminal):
    """`alone`: a simulated person answers, and nobody waits here."""

    gone = PersonGone  # the check then ends with what it knows so far

    def __init__(self, *, alone: bool = False, quiet: bool = False) -> None:
        super().__init__(quiet=quiet)
        self._alone = alone

    @property
    def stream(self) -> TextIO:
        return sys.stderr

    def show(self, event: Event) -> None:
        super().show(event)
        match event:
            case TestAhead(check=check) if not self._alone:
                self._say(words.say_test_ahead(check))
            case TestMade(step=step) if not self.quiet:
                line = words.say_test_made(step)
                if line:
                    print(line)

    def ask(self, question: Question[Any], problem: str) -> str:
        match question:
            case Agree(cautions=cautions):
                self._say(CHECK_AHEAD)
                for caution in cautions:
                    self._say(f"  Caution: {caution}")
                self.read("Press Enter to begin; Ctrl-C switches all outputs off: ")
                return READY
            case PutBack(question=one):
                self._say(one.after)
                self.read("Press Enter when it is done: ")
                return DONE
            case AtRig():
                return self._ask_at_rig(question, problem)
        return super().ask(question, problem)

    def _ask_at_rig(self, question: AtRig, problem: str) -> str:
        if not problem:
            self._begin(question)
        if isinstance(question, GetReady):
            return self._wait("Press Enter when you are ready; type 0 if you cannot do it: ", READY)
        if isinstance(question, DoIt):
            with listen_aside(question.listen):
                return self._wait("Press Enter when it is done; type 0 if you cannot do it: ", DONE)
        assert isinstance(question, Look)
        names = list(question.question.answers)
        if problem:
            self._say(f"Type a number from 0 to {len(names)}.")
        else:
            self._list_answers(question)
        given = self.read("Your answer: ").lower()
        if given in _CANNOT:
            return CANNOT_TELL
        for number, name in enumerate(names, 1):
            if given in (str(number), name, name[:1]):
                return name
        return given

    def _begin(self, question: AtRig) -> None:
        self._say("")
        if question.again:
            self._say("Once more, to be sure:")
        if question.caution:
            self._say(f"Caution: {question.caution}")
        self._say(question.text)

    def _list_answers(self, question: Look) -> None:
        answers = question.question.answers
        for number, name in enumerate(answers, 1):
            self._say(f"  {number}  {answers[name]}")
        self._say("  0  cannot tell")
        if question.simulated is not None:
            self._say(f"On the simulated rig: {answers[question.simulated]}")

    def _wait(self, prompt: str, done: str) -> str:
        return CANNOT_TELL if self.read(prompt).lower() in _CANNOT else done

    def _say(self, text: str) -> None:
        print(text, file=sys.stderr, flush=True)


def check(
    rig_file: Path | None = RIG,
    port: str | None = PORT,
    sequence_file: Path | None = typer.Option(
        None,
        "--sequence",
        help="Check this file's timings; default: the newest shot of this board and rig, or else the plan.",
    ),
    list_causes: bool = typer.Option(
        False, "--list", help="List every cause it can find, then exit."
    ),
    simulated_person: bool = typer.Option(
        False, "--simulated-person", help="Let a simulated person answer (simulated ports only)."
    ),
    wrong_answers: float = typer.Option(
        0.0, min=0.0, max=1.0, help="Share of answers the simulated person gets wrong."
    ),
    as_json: bool = typer.Option(False, "--json", help="One JSON object at the end."),
    seed: int = typer.Option(0, min=0, help="Random seed of the simulated rig and person."),
) -> int:
    """Find out why nothing flashes, or what else is wrong.

    It releases drops, fires the flash and watches the beam, and asks you only what it cannot see. If you cannot
    tell, answer 0. Exit status: 0 when it finishes, 1 if some questions are left unanswered. Warn everyone first:
    flashes can trigger photosensitive epilepsy.
    """
    if list_causes:
        print_pairs((cause.name, cause.what) for cause in load_catalogue().causes.values())
        return 0
    from beamfall.faults.finder import OTHER_FIRMWARE, name_firmware

    if wrong_answers and not simulated_person:
        raise UserError("--wrong-answers needs --simulated-person")
    rig = load_rig(rig_file)
    sequence = None if sequence_file is None else load_sequence(sequence_file)
    timings = None if sequence_file is None else Origin(Source.FILE, file=str(sequence_file))
    plain = make_setup(rig, sequence, timings=timings)
    try:
        board = Board.connect(port, rig=rig, seed=seed)
    except OTHER_FIRMWARE:
        finding = name_firmware(plain)
    else:
        with board:
            setup = _set_up(board, rig, rig_file, sequence, timings)
            hands = workflow.find_hands(board, setup, wrong_share=wrong_answers)
            if simulated_person and hands is None:
                raise UserError(
                    f"--simulated-person needs a simulated rig; {board.name} is a real board: "
                    "leave it out and answer yourself, or use --port sim"
                )
            steps = workflow.check(board, setup, hands=hands, alone=simulated_person)
            terminal = CheckTerminal(alone=simulated_person, quiet=as_json)
            finding = run(steps, board, None, terminal)
    if as_json:
        print_json(finding.to_json())
    else:
        _print_finding(finding)
    return 1 if finding.ended_early else 0


def _set_up(
    board: Board, rig: Rig, rig_file: Path | None, sequence: Sequence | None, timings: Origin | None
) -> Setup:
    """The setup with the timings that are fired: those given, those of the log, or those planned for this board."""
    if not board.traits.repeats_boot_ids:
        settle_before_unlogged(board)
    learned = None
    if sequence is None:
        learned = load_learned(find_file(rig_file), board.info.unique_id.hex())
        found = find_timings(board, rig)
        if found is not None:  # as fired: with what was dialled in
            return make_setup(rig, found.sequence, timings=found.origin, learned=learned)
    return workflow.set_up(board, rig, sequence, timings=timings, learned=learned)


def _print_finding(finding: Finding) -> None:
    print()
    if finding.ended_early and not any(step.outcomes for step in finding.steps[1:]):
        print(f"{finding.reason} {finding.advice}")  # after the hello there is nothing to show
        return
    likely = [(name, f"{100 * chance:.0f} %") for name, chance in finding.ranked[:5]]
    print_table(("cause", "chance"), likely, numeric=("chance",))
    if sum(chance for _, chance in finding.ranked) > 1.005:
        print("More than one can be true, so the chances may add up to more than 100 %.")
    print()
    print(f"Timings checked: {finding.timings.describe()}.")
    print(finding.reason)
    if finding.separates:
        print(finding.separates)
    print(finding.advice)
    asked = "one question" if finding.questions == 1 else f"{finding.questions} questions"
    print(
        f"This took {asked} and {sum(not step.asked for step in finding.steps)} tests by the board."
    )
