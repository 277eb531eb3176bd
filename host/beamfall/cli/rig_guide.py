"""The guided rig in the terminal: asks the questions of `beamfall.guide` and writes the rig file."""

from __future__ import annotations

import contextlib
import json
import sys
from collections.abc import Sequence
from pathlib import Path

from beamfall.cli.front import Terminal
from beamfall.cli.output import say_command
from beamfall.errors import BeamfallError, UserError
from beamfall.files import write_text
from beamfall.guide.drawing import draw_characters
from beamfall.guide.questions import BY_KEY, GuideQuestion
from beamfall.guide.remarks import describe_answer
from beamfall.guide.walk import Walk
from beamfall.planning.make import make_plan
from beamfall.setup.unit_words import format_ms
from beamfall.text import list_words, show_text

_BACK, _HELP = "back", "?"


def run_guide(file: Path, given: Sequence[str], *, accept: bool, replace: bool) -> None:
    """Walk through a rig and write its file. Raises UserError for a file that exists already."""
    if file.exists() and not replace:
        raise UserError(f"{file} already exists. Choose another name, or add --replace")
    draft = file.with_name(f"{file.name}.answers")
    walk = _read_given(_resume(draft, file.stem), given)
    if not accept:
        walk = _ask_all(walk, draft)
    while (question := walk.question) is not None:
        walk = walk.answer(question.key, "")
    write_text(file, walk.make_file())
    with contextlib.suppress(OSError):  # the rig is saved; leftover answers do no harm
        draft.unlink(missing_ok=True)
    _show_end(walk, file)


def _read_given(walk: Walk, given: Sequence[str]) -> Walk:
    for text in given:
        key, mark, value = text.partition("=")
        if not mark or key.strip() not in BY_KEY:
            raise UserError(
                f"--set {show_text(text)}: write KEY=TEXT; the keys are {', '.join(BY_KEY)}"
            )
        walk = walk.answer(key.strip(), value)
    return walk


def _resume(draft: Path, name: str) -> Walk:
    """The walk that was stopped earlier, up to the first answer that no longer fits."""
    walk = Walk(name)
    try:
        answers = json.loads(draft.read_text(encoding="utf-8"))
        for key, text in answers.items():
            walk = walk.answer(key, text)
    except FileNotFoundError:
        return walk
    except (OSError, ValueError, AttributeError, TypeError, UserError):
        return walk
    if walk.answers:
        print(f"Resuming after {len(walk.answers)} answers. 'back' changes the last one.")
    return walk


def _ask_all(walk: Walk, draft: Path) -> Walk:
    terminal = Terminal()
    print(
        "Press Enter to accept the suggestion in brackets. Type 'back' for the previous question, '?' to see what to "
        "measure."
    )
    try:
        while (question := walk.question) is not None:
            walk = _ask(terminal, walk, question)
    except KeyboardInterrupt:
        if walk.answers:
            write_text(draft, json.dumps(dict(walk.answers), ensure_ascii=False, indent=1))
            print(
                f"\nYour answers are saved in {show_text(draft)}. Run the same command to resume.",
                file=sys.stderr,
            )
        raise
    return walk


def _ask(terminal: Terminal, walk: Walk, question: GuideQuestion) -> Walk:
    number = 1 + walk.questions.index(question)
    suggested = walk.suggest(question)
    print(f"\n{number}/{len(walk.questions)}  {question.ask}")
    if question.options:
        print(f"     {list_words(question.options, 'or')}")
    while True:
        text = terminal.read(f"     [{suggested}] ")
        if text == _HELP:
            _show_help(question)
            continue
        if text.lower() == _BACK:
            return walk.back()
        try:
            walk = walk.answer(question.key, text or suggested)
        except BeamfallError as error:
            print(f"     {show_text(error)}")
            likely: tuple[str, ...] = getattr(error, "likely", ())
            if len(likely) == 1:
                # Enter takes what was likely meant, not a figure of somebody else's rig.
                suggested = likely[0]
            continue
        for line in describe_answer(question.key, walk.make_rig()):
            print(f"     {line}")
        return walk


def _show_help(question: GuideQuestion) -> None:
    print(f"     {question.how}")
    if question.also:
        print(f"     You may also answer: {question.also}")
    drawn = draw_characters(question.shows)
    if drawn:
        print(drawn)


def _show_end(walk: Walk, file: Path) -> None:
    check = say_command("rig", "check", file)
    print(f"\nSaved in {show_text(file)}.")
    try:
        plan = make_plan(walk.make_rig())
    except BeamfallError as error:
        print(f"No plan yet: {error}")
        print(f"Next: change {show_text(file)}, then `{check}`")
        return
    if plan.spacing_s is not None:
        print(f"Plan: {format_ms(plan.spacing_s, 1)} between the drops, ", end="")
    else:
        print("Plan: ", end="")
    print(f"flash {format_ms(plan.flash_delay_s, 1)} after {plan.anchor.describe()}.")
    for caution in plan.warnings:
        print(f"Caution: {caution.text}")
    seek = say_command("seek", file, "--port", "sim")
    print(f"Next: `{seek}` finds the picture on a simulated rig.")
    print(f"`{check}` looks for what is missing or doubtful.")
