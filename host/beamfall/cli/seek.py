"""`beamfall seek`: find the collision in few shots."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from beamfall.cli.numbers import WHOLE_MOST
from beamfall.cli.shoot import PORT_HELP

if TYPE_CHECKING:
    from beamfall.board import Board
    from beamfall.link.traits import Picture
    from beamfall.planning.belief import Belief
    from beamfall.planning.seek.answer import Answer
    from beamfall.planning.seek.choose import Proposal
    from beamfall.planning.seek.search import Search
    from beamfall.shots import ShotRecord
    from beamfall.workflows.series import Shooter

_MISSES_MOST = 3
_BEGINS_APART = (
    "A search begins with the spacing whose answer should tell most; plan and shoot take the middle "
    "of those that such rigs need. So the two may differ until one has worked."
)


def seek(
    rig_file: Path | None = typer.Argument(
        None, metavar="[RIG]", help="Rig file (TOML); without one, the example rig."
    ),
    port: str | None = typer.Option(None, "--port", help=PORT_HELP),
    seed: int = typer.Option(
        0, "--seed", min=0, max=WHOLE_MOST, help="All chance of a simulated rig."
    ),
    stage: str | None = typer.Option(
        None, "--stage", help="The picture wanted: light after the contact, such as '2 ms'."
    ),
    shots_most: int = typer.Option(20, "--shots", min=1, help="Give up after so many shots."),
    heights: bool = typer.Option(
        False, "--heights", help="A simulated photographer measures heights too."
    ),
    ask: bool = typer.Option(
        False,
        "--ask",
        help="Answer yourself behind a simulated port too; --picture then shows each shot first.",
    ),
    fresh: bool = typer.Option(
        False, "--fresh", help="Begin without what seeking and calibrating have shown before."
    ),
    as_json: bool = typer.Option(
        False, "--json", help="One JSON object a shot, then one that says what was found."
    ),
    picture: Path | None = typer.Option(
        None, "--picture", help="Draw the simulated pictures on one sheet (PNG; simulated ports)."
    ),
) -> int:
    """Find the collision: after each shot, say what the picture shows; the next one comes closer.

    The answer is a word (before, contact, after, jet, nothing, missed, found, black), with heights where
    you measured them: `before jet 31 mm drop 42 mm`. A black picture tells nothing of the timing;
    after two of them running the search stops, and `beamfall check` finds out why. Behind a simulated
    port the simulated rig's own picture answers. What the search has learned is kept with the rig,
    and plan and shoot use it. `found` is yours to say: the exit status is then 0.
    """
    from beamfall.board import Board
    from beamfall.cli.targets import PICTURES, check_target
    from beamfall.planning.learned import find_file, load_learned, save_learned
    from beamfall.planning.seek.search import Search
    from beamfall.planning.stage import read_stage
    from beamfall.setup.rig import load_rig
    from beamfall.shots import ShotLog
    from beamfall.workflows.series import Shooter

    check_target(picture, "--picture", PICTURES)
    rig = load_rig(rig_file)
    kept = find_file(rig_file)
    wanted_s = read_stage(stage, key="--stage")
    with ShotLog.open() as log, Board.connect(port, rig=rig, seed=seed) as board:
        board_id = board.info.unique_id.hex()
        simulated = board.traits.studio is not None
        if picture is not None and not simulated:
            _refuse_picture(board)
        learned = load_learned(kept, board_id)
        search = Search(rig, wanted_s=wanted_s, learned=learned, fresh=fresh, seed=seed)
        shooter = Shooter.begin(
            board, log, "seek", rig=rig, seed=seed, settings={"stage_s": search.wanted_s}
        )
        person = _choose_person(board, heights, as_json, picture, ask)
        run = _Run(search, shooter, person, as_json, asked=ask or not simulated)
        shooter.warm_up(rig)
        if search.begins_apart and not as_json:
            print(_BEGINS_APART)
        try:
            while not search.found and search.shots < shots_most:
                run.step()
        finally:  # also after Ctrl-C or a lost board: what pictures have shown stays true
            if search.has_learned:
                run.belief = search.keep(
                    board=board_id, port=board.name, simulated=simulated, series=shooter.series
                )
                save_learned(kept, run.belief)
        if picture is not None:
            run.draw(picture)
    return run.finish(kept, picture)


def _refuse_picture(board: Board) -> None:
    from beamfall.errors import UserError

    raise UserError(
        f"--picture draws what a simulated rig would show; {board.name} is a real board: "
        "leave --picture out"
    )


def _choose_person(
    board: Board, heights: bool, as_json: bool, picture: Path | None, ask: bool
) -> Callable[[Picture | None], Answer]:
    studio = board.traits.studio
    if studio is None or ask:
        stream = sys.stderr if as_json else sys.stdout

        def answer(taken: Picture | None) -> Answer:
            if taken is not None and picture is not None:
                taken.draw(picture, tell=False)
            return _ask(stream)

        return answer
    from beamfall.planning.seek.answer import Answer

    look = studio.find_photographer(heights=heights)
    return lambda taken: Answer(*look(taken))


def _ask(stream: Any) -> Answer:
    from beamfall.errors import UserError
    from beamfall.planning.seek.answer import WORDS, read_answer

    while True:
        print(f"What does the picture show? ({', '.join(WORDS)}) ", end="", file=stream, flush=True)
        line = sys.stdin.readline()
        if not line:
            raise KeyboardInterrupt
        try:
            return read_answer(line)
        except UserError as error:
            print(error, file=stream)


class _Run:
    """Fires what the search proposes and takes the answers to it."""

    def __init__(
        self,
        search: Search,
        shooter: Shooter,
        person: Callable[[Picture | None], Answer],
        as_json: bool,
        *,
        asked: bool,
    ) -> None:
        self.search = search
        self.shooter = shooter
        self.person = person
        self.as_json = as_json
        self.asked = asked  # a person answers, and has the last word
        self.word = ""
        self.misses = 0
        self.last: tuple[Proposal, ShotRecord] | None = None
        self.pictures: list[Picture | None] = []
        self.words: list[str] = []
        self.belief: Belief | None = None  # with this search, once it is kept

    def step(self) -> None:
        from beamfall.errors import ShotError
        from beamfall.planning.seek.answer import read_shot, say_useless

        search, rig = self.search, self.search.rig
        if self.last is not None:
            self.shooter.rest(rig.aim.rest_s)
        proposal = search.propose()
        record = self.shooter.fire(search.build(proposal), swept={"seek": search.shots + 1})
        self.last = (proposal, record)
        shot = read_shot(record, rig.beams[0].edge if rig.beams else "dark")
        if record.state != "fired" or shot is None:
            self.misses += 1
            if not self.as_json:
                print(f"shot {record.shot}: {record.state} ({record.cause}); once more")
            if self.misses >= _MISSES_MOST:
                raise ShotError(
                    f"{self.misses} shots running did not fire ({record.cause}); find out why first: "
                    "`beamfall check`"
                )
            return
        self.misses = 0
        useless = say_useless(record, shot, sees_light=rig.fitted.flash_seen)
        answer = None
        if useless is not None:
            search.pass_over(useless)
        else:
            answer = self.person(self.shooter.picture)
            search.take(shot, answer)
        self.word = "told nothing" if answer is None else answer.word
        self.shooter.log.set_note(record.shot or 0, f"seek: {self.word}")
        self.pictures.append(self.shooter.picture)
        self.words.append(f"{search.shots}: {self.word}")
        self._tell(proposal, record, answer, useless)
        search.stop_if_useless()

    def _tell(
        self, proposal: Proposal, record: ShotRecord, answer: Answer | None, useless: str | None
    ) -> None:
        search = self.search
        jet_m, drop_m = (None, None) if answer is None else (answer.jet_m, answer.drop_m)
        if self.as_json:
            from beamfall.cli.output import print_json

            print_json(
                {
                    "shot": record.shot,
                    "number": search.shots,
                    "spacing_ms": round(proposal.spacing_s * 1e3, 3),
                    "flash_delay_ms": round(proposal.delay_s * 1e3, 3),
                    "answer": None if answer is None else answer.word,
                    "told_nothing": useless,
                    "jet_mm": None if jet_m is None else round(jet_m * 1e3, 2),
                    "drop_mm": None if drop_m is None else round(drop_m * 1e3, 2),
                    "chance": round(search.chance, 3),
                }
            )
            return
        if useless is not None or answer is None or answer.word == "black":
            outcome = f"nothing is learned of it: {useless or 'the picture is black'}"
        else:
            outcome = f"{answer.word}; the picture wanted with a chance of {search.chance:.0%}"
        print(
            f"shot {record.shot}: spacing {proposal.spacing_s * 1e3:.2f} ms, flash "
            f"{proposal.delay_s * 1e3:.2f} ms after its edge: {outcome}"
        )

    def draw(self, picture: Path) -> None:
        studio = self.shooter.board.traits.studio
        taken = zip(self.pictures, self.words, strict=True)
        frames = [(one, words) for one, words in taken if one is not None]
        if studio is not None and frames:
            studio.draw_sheet(frames, picture, title="seek")

    def finish(self, kept: Path, picture: Path | None) -> int:
        """Say what was found; exit status 0 where something was."""
        search = self.search
        assert search.wanted_s is not None
        from beamfall.planning.collision import MEETING

        studio = self.shooter.board.traits.studio
        found, error_s, truth = search.found, None, None
        if studio is not None:
            stages = [None if one is None else one.stage_s for one in self.pictures]
            last = stages[-1] if stages else None
            error_s = None if last is None else last - search.wanted_s
            if not self.asked:
                found = found and error_s is not None and abs(error_s) <= search.near_s
            edge = search.rig.beams[0].edge if search.rig.beams else "dark"
            truth = {
                "stages_ms": [None if s is None else round(s * 1e3, 4) for s in stages],
                "needs_ms": studio.describe_needs(search.wanted_s, MEETING, edge),
            }
        spacing, delay = None, None
        if self.last is not None:
            spacing, delay = self.last[0].spacing_s, self.last[0].delay_s
        if self.as_json:
            from beamfall.cli.output import print_json

            print_json(
                {
                    "shots": search.shots,
                    "found": found,
                    "stage_error_ms": None if error_s is None else round(error_s * 1e3, 4),
                    "wanted_stage_ms": round(search.wanted_s * 1e3, 4),
                    "spacing_ms": None if spacing is None else round(spacing * 1e3, 3),
                    "flash_delay_ms": None if delay is None else round(delay * 1e3, 3),
                    "chance": round(search.chance, 3),
                    "series": self.shooter.series,
                    "learned": str(kept) if search.has_learned else None,
                    "truth": truth,
                }
            )
        elif search.found and spacing is not None and delay is not None:
            sure = (
                "as you say"
                if self.word == "found"
                else f"a chance of {search.chance:.0%} that the picture is the one wanted"
            )
            print(
                f"Found after {_say_shots(search.shots)}: spacing {spacing * 1e3:.2f} ms, flash "
                f"{delay * 1e3:.2f} ms after drop 2's edge, {sure}"
            )
            if error_s is not None:
                print(
                    f"In truth the simulated picture is {error_s * 1e3:+.2f} ms from the one wanted"
                )
        else:
            print(f"Not found in {_say_shots(search.shots)}; call seek again to continue")
        if not self.as_json:
            if search.has_learned:
                print(
                    f"Kept in {kept}: `beamfall learned show` lists it, `beamfall learned undo` undoes it"
                )
                if self.belief is not None and self.belief.explain_newest():
                    print(self.belief.explain_newest())
            else:
                print("No picture showed anything: the search learned nothing, and nothing is kept")
            if picture is not None:
                print(f"simulated pictures drawn in {picture}")
        return 0 if found else 1


def _say_shots(count: int) -> str:
    return "1 shot" if count == 1 else f"{count} shots"
