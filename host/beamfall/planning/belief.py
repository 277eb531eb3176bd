"""What seeking and calibrating have shown about one rig with one board, step by step.

A belief is a history of steps. Each step holds a normal distribution of the z of `unknowns`: the
step before it, narrowed by what this step has shown. The step in use is the `head`; `undo` goes
back to the step before it, `redo` forward again, and `reset` to what the rig file says. No step is
ever lost or overwritten.

A step also holds the values of the rig file that it depends on. Where those of the jet (liquid,
dish, drop) have changed since, none of it is used; where only heights were measured again, the
jet's factors stay.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from beamfall.errors import UserError
from beamfall.physics.jet import summarize_laws
from beamfall.planning.unknowns import FALL_LAW, NAMES, OF_THE_JET, Normal
from beamfall.setup.rig import Rig
from beamfall.setup.rig_sections import LiquidInRig
from beamfall.text import say_count

if TYPE_CHECKING:
    from beamfall.arrays import Floats


CALIBRATED, SOUGHT, RESET = "calibrated", "sought", "reset"
STEPS_MOST = 100  # older steps that are not in use are dropped beyond this


@dataclass(frozen=True)
class Step:
    """One step of a belief.

    `before` is the head when it was made, `parent` the step it builds on: 0 for the rig file alone.
    `shots` is how many shots it used. `state` holds everything known after it (None: the rig file
    alone); `alone`, of a calibration, what its own drops say. `found`, `certainty` (0 to 1) and
    `spacing_s` are of a search: whether it showed the wanted picture, and at which spacing.
    """

    number: int
    before: int
    parent: int
    kind: str
    when: str
    shots: int = 0
    series: tuple[int, ...] = ()
    used: tuple[int, ...] = ()  # numbers of the shots in the log, of a calibration
    found: bool = False
    certainty: float = 0.0
    spacing_s: float | None = None
    state: Normal | None = None
    alone: Normal | None = None
    basis: Mapping[str, Any] | None = None

    def describe(self) -> str:
        """What it was, in words."""
        where = ""
        if self.series:
            where = " from series " + ", ".join(str(one) for one in self.series)
        if self.kind == RESET:
            return "reset to the rig file"
        if self.kind == CALIBRATED and not self.shots:
            return "drops weighed"
        if self.kind == CALIBRATED:
            return f"calibrate{where}, {say_count(self.shots, 'shot')}"
        answers = f"seek{where}, {say_count(self.shots, 'answer')}"
        if not self.found:
            return f"{answers}, not finished"
        at = "" if self.spacing_s is None else f" at spacing {self.spacing_s * 1e3:.2f} ms"
        return f"{answers}, found{at} ({100 * self.certainty:.0f} % certain)"


@dataclass(frozen=True)
class Belief:
    """Everything that one board has shown about one rig; `board` is its unique id."""

    board: str
    port: str
    simulated: bool
    steps: tuple[Step, ...] = ()
    head: int = 0  # number of the step in use; 0: the rig file alone

    # -- what is known -----------------------------------------------------------------------------
    @property
    def chain(self) -> tuple[Step, ...]:
        """The steps in use, oldest first."""
        found: list[Step] = []
        number = self.head
        while number:
            step = self._find(number)
            found.append(step)
            number = step.parent
        return tuple(step for step in reversed(found) if step.kind != RESET)

    @property
    def shots(self) -> int:
        """How many shots the steps in use have had."""
        return sum(step.shots for step in self.chain)

    @property
    def newest(self) -> Step | None:
        """The step made last, in use or not."""
        return self.steps[-1] if self.steps else None

    @property
    def when(self) -> str:
        """When the newest step was made; empty without one."""
        return self.steps[-1].when if self.steps else ""

    @property
    def redoable(self) -> Step | None:
        """The newest step that follows what is in use: undone, or set aside."""
        return next((step for step in reversed(self.steps) if step.before == self.head), None)

    def is_used(self, step: Step) -> bool:
        """Whether plans use a step."""
        return step in self.chain

    def fit(self, rig: Rig) -> tuple[Floats, Floats] | None:
        """Mean and covariance of z in the order of NAMES, as far as they hold for a rig; None: not at all."""
        now = describe_basis(rig)
        jet = [
            step
            for step in reversed(self.chain)
            if step.state is not None and (step.basis or {}).get("jet") == now["jet"]
        ]
        # Two nozzles that are calibrated in turn each have a step: the newest may be the other's.
        own = next((step for step in jet if _is_same(step.basis or {}, now, "heights")), None)
        newest = own or next(iter(jet), None)
        if newest is None or newest.state is None:
            return None
        from beamfall.planning.narrowing import spread

        return spread(newest.state, NAMES if own else OF_THE_JET)

    def recall_spacing(self, rig: Rig) -> float | None:
        """The spacing that worked on a rig with these values; None without one."""
        now = describe_basis(rig)
        for step in reversed(self.chain):
            basis = step.basis or {}
            same = basis.get("jet") == now["jet"] and _is_same(basis, now, "heights")
            if same and step.kind == SOUGHT and step.spacing_s is not None:
                return step.spacing_s
        return None

    def describe(self) -> str:
        """In a sentence."""
        what = (
            f"the simulated rig on {self.port}"
            if self.simulated
            else f"board {self.board} on {self.port}"
        )
        chain = self.chain
        when = chain[-1].when[:16].replace("T", " ") if chain else "never"
        return f"narrowed by {self.shots} shots of seeking or calibrating on {what}, {when}"

    # -- new steps ---------------------------------------------------------------------------------
    def add_search(
        self,
        rig: Rig,
        mean: Floats,
        covariance: Floats,
        *,
        answers: int,
        found: bool,
        certainty: float,
        spacing_s: float | None,
        fresh: bool,
        series: tuple[int, ...] = (),
    ) -> Belief:
        """Add a search that ended with this mean and covariance of z.

        `fresh`: it began without what was known. A search that did not find its picture is set
        aside where it would replace what is known (`fresh`), or where an earlier one has found its
        picture; so is a fresh one that is clearly less certain than that. `redo` uses it all the same.
        """
        earlier = next((step for step in reversed(self.chain) if step.found), None)
        weaker = fresh and earlier is not None and certainty < earlier.certainty - 0.05
        risky = earlier is not None or (fresh and bool(self.chain))
        return self._add(
            Step(
                number=self._next, before=self.head, parent=0 if fresh else self.head, kind=SOUGHT,
                when=_now(), shots=answers, series=series, found=found,
                certainty=certainty if found else 0.0, spacing_s=spacing_s,
                state=Normal.of(NAMES, mean, covariance), basis=describe_basis(rig),
            ),
            used=not weaker if found else not risky,
        )  # fmt: skip

    def add_calibration(
        self, rig: Rig, alone: Normal, *, used: tuple[int, ...], series: tuple[int, ...] = ()
    ) -> Belief:
        """Add what beam edges say: `alone` is what they say with the rig file, `used` their shots.

        Shots that an earlier calibration in use has had do not count twice.
        """
        from beamfall.planning.narrowing import narrow

        start = self.fit(rig)
        counted = [
            step.alone
            for step in (self.chain if start is not None else ())
            if step.alone is not None and set(step.used) & set(used)
        ]
        return self._add(
            Step(
                number=self._next, before=self.head, parent=self.head, kind=CALIBRATED, when=_now(),
                shots=len(used), series=series, used=used, state=narrow(start, alone, counted),
                alone=alone, basis=describe_basis(rig),
            ),
            used=True,
        )  # fmt: skip

    # -- back and forth ----------------------------------------------------------------------------
    def undo(self) -> Belief:
        """Without the step in use; raises UserError if there is none."""
        if not self.head:
            raise UserError("there is nothing to undo: plans use the rig file alone")
        return replace(self, head=self._find(self.head).before)

    def redo(self) -> Belief:
        """With the step that can be redone; raises UserError if there is none."""
        step = self.redoable
        if step is None:
            raise UserError("there is nothing to redo: nothing was undone or set aside")
        return replace(self, head=step.number)

    def reset(self) -> Belief:
        """Back to the rig file alone; undo brings it back."""
        step = Step(number=self._next, before=self.head, parent=0, kind=RESET, when=_now())
        return self._add(step, used=True)

    def explain_newest(self) -> str:
        """Whether the newest step is in use and, where it matters, why not or what it replaces."""
        step = self.newest
        if step is None:
            return ""
        if not self.is_used(step):
            why = (
                "An earlier search is more certain" if step.found else "This search did not finish"
            )
            return (
                f"{why}, so plans stay as they were. "
                "To use the new answers anyway: `beamfall learned redo`"
            )
        if step.parent != step.before and step.before:
            return "It replaces what was known before"
        return ""

    # -- parts -------------------------------------------------------------------------------------
    @property
    def _next(self) -> int:
        return max((step.number for step in self.steps), default=0) + 1

    def _find(self, number: int) -> Step:
        return next(step for step in self.steps if step.number == number)

    def _add(self, step: Step, *, used: bool) -> Belief:
        steps = (*self.steps, step)
        head = step.number if used else self.head
        made = replace(self, steps=steps, head=head)
        if len(steps) > STEPS_MOST:
            made = replace(made, steps=made._drop_old())
        return made

    def _drop_old(self) -> tuple[Step, ...]:
        """Without the oldest steps that nothing in use, and nothing that undo reaches, builds on."""
        needed: set[int] = set()
        ways = [self.head]
        while ways:
            number = ways.pop()
            if number and number not in needed:
                needed.add(number)
                step = self._find(number)
                ways += [step.before, step.parent]
        rest = [step for step in self.steps if step.number not in needed]
        dropped = {step.number for step in rest[: max(0, len(self.steps) - STEPS_MOST)]}
        while True:  # what follows on a dropped step cannot be reached either
            more = {s.number for s in rest if {s.before, s.parent} & dropped} - dropped
            if not more:
                break
            dropped |= more
        return tuple(step for step in self.steps if step.number not in dropped)


def describe_basis(rig: Rig) -> dict[str, Any]:
    """The values of a rig that what was learned depends on, in two parts."""
    valve = rig.list_drops()[0]
    own = rig.find_liquid(valve.output)
    return {
        "jet": {
            **_name_liquid(rig.liquid),
            **({} if own is rig.liquid else {"drop": _name_liquid(own)}),
            "depth_m": rig.dish.depth_m,
            # z of other laws means something else
            "laws": [*summarize_laws(), *FALL_LAW],
            "bore_m": valve.bore_m,
            "length_m": valve.length_m,
            "head_m": valve.head_m,
            "opening_s": valve.opening_s,
        },
        "heights": {
            "valve": valve.output,
            "valve_m": valve.height_m,
            "beams_m": [beam.height_m for beam in rig.beams],
            "latency_s": valve.latency_s,
            # z counts in these standard deviations
            "height_error_m": rig.uncertainty.height_m,
            "latency_error_s": rig.uncertainty.latency_s,
            "volume_error": rig.uncertainty.volume,
        },
    }


def _name_liquid(liquid: LiquidInRig) -> dict[str, Any]:
    return {
        "liquid": liquid.name,
        "parts": [[name, share] for name, share in liquid.parts],
        "grams": [[name, dose] for name, dose in liquid.grams],
    }


def _is_same(basis: Mapping[str, Any], now: Mapping[str, Any], part: str) -> bool:
    """Whether a part of the basis is as it was; files of earlier versions have fewer values."""
    return all(now[part].get(name) == value for name, value in basis.get(part, {}).items())


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="seconds")
