"""The desk: the rig's form, the plan made from it, and timings that the user set instead. No board.

Every answer comes from the library: `parse_rig` says what is wrong with a field, `make_plan` plans, `retime`
moves the flash of a plan, `seek.moment` says where drop 2 and the jet would be. The hub shows it to all pages.
"""

from __future__ import annotations

import contextlib
import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit import TOMLDocument

from beamfall.errors import BeamfallError, KeyProblem, UserError
from beamfall.page import rig_form, words
from beamfall.page.by_hand import ByHand
from beamfall.page.drawing import describe_moment, describe_plan, describe_rig
from beamfall.page.hub import Hub
from beamfall.page.rig_file import RigFile
from beamfall.page.tuned import Tuned
from beamfall.planning.belief import Belief
from beamfall.planning.history import list_history
from beamfall.planning.learned import change_learned, find_file, load_learned
from beamfall.planning.make import make_plan
from beamfall.planning.result import Plan
from beamfall.planning.retime import with_flash_delay
from beamfall.planning.seek.moment import Outlooks
from beamfall.setup.rig import Rig, example_rig, load_rig
from beamfall.setup.sequence import Sequence
from beamfall.setup.units import parse_duration

_STEP_S = 0.02


class Desk:
    """One rig on the desk. Any thread may call; calls are served one at a time."""

    def __init__(self, hub: Hub, rig_file: Path | None) -> None:
        self.rig: Rig = load_rig(rig_file)
        self.number = 0  # of what would be fired; what is armed has one number
        self.plan: Plan | None = None
        self._hub = hub
        self._content = rig_form.read_content(rig_file)
        self._file = RigFile(rig_file, tomlkit.dumps(self._content))
        self._problems: tuple[KeyProblem, ...] = ()
        self._tuned = Tuned()
        self._board: str | None = None  # the id of the board that is connected
        self._learned: Belief | None = None
        self._outlooks: Outlooks | None = None
        self._lock = threading.RLock()
        self._planner = ThreadPoolExecutor(1, thread_name_prefix="plan")
        self._wanted = 0  # how many plans have been asked for; the one made last answers `_made`
        self._made = 0
        self._asked: Sequence | None = None  # what would be fired, of `number`
        self.by_hand = ByHand(hub, self._note_asked, self._lock)
        self._show_rig()

    def start(self) -> None:
        """Plan for the first time."""
        self._replan()

    def close(self) -> None:
        """End the planning thread."""
        self._planner.shutdown(wait=False, cancel_futures=True)

    def use_board(self, board: str) -> None:
        """Use what seeking has shown about this rig with that board."""
        with self._lock:
            self._load_learned(board)
        self._replan()

    def _load_learned(self, board: str) -> None:
        self._board = board
        try:
            self._learned = load_learned(find_file(self.rig_file), board)
        except BeamfallError as error:
            self._hub.notice("caution", str(error))
        self._outlooks = None
        head = 0 if self._learned is None else self._learned.head
        steps = () if self._learned is None else self._learned.steps
        self._hub.set(learned={"head": head, "newest": steps[-1].number if steps else 0})

    @property
    def learned(self) -> Belief | None:
        """What seeking has shown about this rig with the connected board."""
        return self._learned

    def change_learned(self, change: Callable[[Belief], Belief]) -> None:
        """Undo, redo or reset what was learned, and plan again. Raises UserError if that cannot be done."""
        with self._lock:
            if self._board is None:
                raise UserError("connect the board first: what was learned is kept for each board")
            change_learned(self.rig_file, self._board, change)
            self._load_learned(self._board)
        self._replan()

    def describe_learned(self) -> dict[str, Any]:
        """What was learned with the board that is connected, step by step, with the plan after each."""
        with self._lock:
            rig, learned = self.rig, self._learned
        return {
            "file": str(find_file(self.rig_file)),
            "steps": [line.to_json() for line in list_history(rig, learned)],
            "can_undo": learned is not None and learned.head != 0,
            "can_redo": learned is not None and learned.redoable is not None,
            "can_reset": learned is not None and bool(learned.chain),
        }

    # -- the form and its file -------------------------------------------------------------------------------
    def edit(self, path: str, text: str) -> None:
        """Take the text typed into a field; problems appear beside it."""
        with self._lock:
            self._take(rig_form.edit(self._content, path, text))

    def add(self, part: str) -> None:
        """Add a valve, beam, flash or camera."""
        with self._lock:
            self._take(rig_form.add(self._content, part))

    def remove(self, path: str) -> None:
        """Remove one."""
        with self._lock:
            self._take(rig_form.remove(self._content, path))

    def reset(self) -> None:
        """Read the file again, and return to what it says."""
        with self._lock:
            content = rig_form.read_content(self.rig_file)
            self._file = RigFile(self.rig_file, tomlkit.dumps(content))
            self._take(content)

    def take_guided(self, text: str) -> None:
        """Put the rig file that the guide has made into the form, and save it."""
        with self._lock:
            self._file = RigFile()
            self._take(tomlkit.parse(text))
            self.save()

    @property
    def rig_file(self) -> Path | None:
        """The file that the rig was read from or saved to; what is learned about it is kept beside it."""
        return self._file.path

    def save(self) -> None:
        """Save the form as a rig file. Raises UserError, FileWriteError."""
        with self._lock:
            if self._problems:
                raise UserError("Correct the marked entries first: no command could read this file")
            self._file = self._file.save(self.write_rig(), self.rig.name)
            self._show_rig()
            if self._board is not None:
                self._load_learned(self._board)
        self._replan()

    def _take(self, content: TOMLDocument) -> None:
        self._content = content
        rig, self._problems = rig_form.check(content)
        if rig is not None and rig != self.rig:
            self.rig = rig
            self._outlooks = None
            self._tuned = Tuned()
            self._replan()
        self._show_rig()

    def write_rig(self) -> str:
        """The form as a rig file."""
        with self._lock:
            return tomlkit.dumps(self._content)

    def _show_rig(self) -> None:
        form = rig_form.describe_form(self._content, self._problems)
        # What is wrong is shown beside its field; what has none, above the form.
        shown = {field["path"] for section in form for field in section["fields"]}
        self._hub.set(
            rig={
                "name": self.rig.name,
                "file": None if self.rig_file is None else str(self.rig_file),
                "saved": self._file.text == self.write_rig(),
                "is_example": self.rig_file is None and self.rig == example_rig(),
                "drawing": describe_rig(self.rig),
                "form": form,
                "typed_name": str(self._content.get("name", self.rig.name)),
                "problems": [
                    problem.text for problem in self._problems if problem.key not in shown
                ],
                "wrong": len(self._problems),
                "rest_s": self.rig.aim.rest_s,
            }
        )

    # -- timings ---------------------------------------------------------------------------------------------
    def tune(self, spacing: str = "", delay: str = "") -> None:
        """Replace timings of the plan by texts with units; an empty one leaves a timing as it is."""
        with self._lock:
            self._tuned = self._tuned.set(spacing, delay)
            if not spacing and self._move_flash():
                return
            self._look()
        self._replan()

    def _move_flash(self) -> bool:
        """Change the delay of the plan at hand; False if a plan has to be made."""
        delay_s = self._tuned.delay_s
        if self.plan is None or delay_s is None or self.is_planning:
            return False
        plan = with_flash_delay(self.plan, delay_s)
        if plan is None:
            return False
        self._take_plan(plan)
        self._look()
        self._show_plan(plan)
        return True

    def step(self, of: str, by: str) -> None:
        """Add to the desk's own spacing or delay: a page may still show an older value."""
        by_s = parse_duration(by, key="step")
        if of not in ("spacing", "delay"):
            raise UserError(f"step: {of[:40]!a} is not a timing: spacing or delay")
        with self._lock:
            now_s = self._tuned.fill(self.plan)[0 if of == "spacing" else 1]
            if now_s is None:
                raise UserError(f"there is no {of} yet: type one")
            text = f"{round((now_s + by_s) * 1e3, 3):.3f} ms"
            self.tune(text) if of == "spacing" else self.tune(delay=text)

    def untune(self) -> None:
        """Return to the planner's timings."""
        with self._lock:
            self._tuned = Tuned()
        self._replan()

    def take_timings(self, spacing_s: float | None, delay_s: float, source: str) -> None:
        """Take both timings from elsewhere; `source` says in words where from."""
        with self._lock:
            self._tuned = Tuned(spacing_s, delay_s, source)
            self._look()
        self._replan()

    def shift_timings(self, spacing_s: float, delay_s: float) -> None:
        """Add to both timings, as a correction for the day asks."""
        with self._lock:
            plan = self.plan
            if plan is None or plan.spacing_s is None:
                raise UserError("there is no plan of a collision to correct")
            self.take_timings(
                round(plan.spacing_s + spacing_s, 6),
                round(plan.flash_delay_s + delay_s, 6),
                words.CORRECTED,
            )

    @property
    def asked(self) -> tuple[Rig, Sequence, Belief | None]:
        """The rig, what would be fired, and what was learned; raises UserError if there is no plan."""
        with self._lock:
            return self.rig, self.sequence, self._learned

    @property
    def sequence(self) -> Sequence:
        """What would be fired, the table by hand or the plan; raises UserError if there is no plan."""
        with self._lock:
            return self.by_hand.sequence if self.by_hand.in_use else self.planned_sequence

    @property
    def planned_sequence(self) -> Sequence:
        """What the plan would fire; raises UserError if there is none."""
        with self._lock:
            if self.plan is None or self._problems:
                raise UserError("there is no plan: correct the marked fields in the Rig view")
            return self.plan.sequence

    def tuned_rig(self, but: str) -> Rig:
        """The rig with the timings set on the desk, without the one that will be swept."""
        with self._lock:
            rig = self._tuned.apply(self.rig, self.plan)
        left_out = {"flash": "flash_delay_s", "spacing": "spacing_s"}.get(but)
        return rig if left_out is None else rig.with_aim(**{left_out: None})

    # -- the plan --------------------------------------------------------------------------------------------
    def _replan(self) -> None:
        with self._lock:
            self._wanted += 1
            wanted = self._wanted
        try:
            self._planner.submit(self._make_plan, wanted)
        except RuntimeError:  # closed
            return

    def _make_plan(self, wanted: int) -> None:
        with self._lock:
            if wanted != self._wanted:
                return  # a newer request is waiting
            rig, learned = self._tuned.apply(self.rig, self.plan), self._learned
        try:
            plan = make_plan(rig, learned=learned, traced=True)
        except BeamfallError as error:
            self._take_problem(wanted, str(error))
            return
        except Exception as error:
            text = self._hub.report_fault(error)
            self._hub.notice("error", text)
            self._take_problem(wanted, text)
            return
        with self._lock:
            if wanted != self._wanted:
                return
            self._made = wanted
            self._take_plan(plan)
            self._show_plan(plan)
            self._look()

    def _take_plan(self, plan: Plan) -> None:
        self.plan = plan
        self.by_hand.use_plan(plan)
        self._note_asked()

    def _note_asked(self) -> None:
        """Keep the shot armed if a new plan or table fires the same shot."""
        with self._lock:
            by_hand = self.by_hand.in_use
            plan = None if self.plan is None else self.plan.sequence
            asked = self.by_hand.sequence if by_hand else plan
            if asked is None or asked != self._asked:
                self.number += 1
            self._asked = asked
            self._hub.set(asked={"number": self.number, "by_hand": by_hand})

    def _take_problem(self, wanted: int, text: str) -> None:
        with self._lock:
            if wanted == self._wanted:
                self.plan = None
                self._note_asked()
                self._made = wanted
                self._hub.set(plan={"problem": text}, moment=None)

    @property
    def is_planning(self) -> bool:
        """Whether the plan is still being calculated for the present rig and timings."""
        with self._lock:
            return self._made != self._wanted

    def wait(
        self, timeout_s: float = 10.0, meanwhile: Callable[[float], object] = time.sleep
    ) -> None:
        """Wait until the plan is up to date; `meanwhile` waits for the seconds it is given. Raises TimeoutError."""
        end_s = time.monotonic() + timeout_s
        while self.is_planning:
            if time.monotonic() > end_s:
                raise TimeoutError
            meanwhile(_STEP_S)

    def _show_plan(self, plan: Plan) -> None:
        self._hub.set(plan=describe_plan(plan, self._tuned.source))

    def _look(self) -> None:
        """Say where the last drop and the jet would be at the light."""
        plan = self.plan
        spacing_s, delay_s = self._tuned.fill(plan)
        moment = None
        if (
            plan is not None
            and plan.kind == "collision"
            and spacing_s is not None
            and delay_s is not None
        ):
            # Until a new plan has come, later drops keep their distance to drop 2.
            moved = spacing_s - (plan.spacing_s or 0.0)
            times = [
                drop.at_s + (moved if number else 0.0) for number, drop in enumerate(plan.drops)
            ]
            with contextlib.suppress(BeamfallError):
                if self._outlooks is None:
                    self._outlooks = Outlooks(self.rig, self._learned)
                found = self._outlooks.look(times, delay_s, plan.anchor)
                moment = describe_moment(spacing_s, delay_s, found)
        self._hub.set(moment=moment)
