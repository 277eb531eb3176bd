"""What the fault finder knows, read from catalogue.toml: causes, signs, and questions."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from beamfall.errors import DefinitionError
from beamfall.faults.questions import Question
from beamfall.faults.setup import Setup

NOTHING = "nothing-wrong"  # not a cause: the name of finding none
_FILE = Path(__file__).with_name("catalogue.toml")


Chances = Mapping[str, float]


@dataclass(frozen=True)
class Sign:
    """One thing to be seen in a test, as outcomes, and the chance of each outcome under each cause.

    The outcomes stand in an order: the first is what a sound rig shows, and where two causes would bring different
    outcomes the later one is seen (a noisy-max model: J. Pearl's noisy-or, 1988, for more than two outcomes).
    `hiders` are causes before which no other cause shows in this sign at all.

    `sound`: chances of the outcomes after the first with no cause at work. `chances`: for each
    cause that matters here, the chances of outcomes; what is left to 1 is 'as without the cause'.
    `words` say an outcome as a clause. `only_if`: a sign of the same test and the outcomes of it
    with which this one can be read. `person`: "answers", or "acts" where the board sees what the
    person does; "" where the board is alone. `undone`: the outcome of an act that was not done;
    the last one where it is not given. `by_light`: the flash-seen sensor shows it;
    `by_coil`: the board's own readings of coil current and supply voltage do.
    """

    name: str
    outcomes: tuple[str, ...]
    sound: Chances
    chances: Mapping[str, Chances]
    words: Mapping[str, str]
    hiders: tuple[str, ...] = ()
    only_if: tuple[str, tuple[str, ...]] | None = None
    person: str = ""
    undone: str = ""
    by_light: bool = False
    by_coil: bool = False

    def __post_init__(self) -> None:
        for cause, row in (("sound", self.sound), *self.chances.items()):
            if not set(row) <= set(self.outcomes) or not 0.0 <= sum(row.values()) <= 1.0:
                raise ValueError(f"sign {self.name}: chances of {cause} are not a distribution")
        if set(self.words) != set(self.outcomes):
            raise ValueError(f"sign {self.name}: words and outcomes differ")

    def names(self, cause: str) -> bool:
        """Whether this cause changes what the sign shows."""
        return cause in self.chances or cause in self.hiders

    def chance(self, causes: tuple[str, ...]) -> list[float]:
        """Chance of each outcome, in their order, with these causes at work and no others."""
        for hider in self.hiders:
            if hider in causes:
                causes = (hider,)
                break
        at_most = self._add_up(self.sound)
        for cause in causes:
            row = self.chances.get(cause)
            if row is not None:
                at_most = [a * b for a, b in zip(at_most, self._add_up(row), strict=True)]
        return [high - low for high, low in zip(at_most, [0.0, *at_most[:-1]], strict=True)]

    def _add_up(self, row: Chances) -> list[float]:
        """Chance of each outcome or an earlier one; what is left over belongs to the first."""
        total = 1.0 - sum(row.get(outcome, 0.0) for outcome in self.outcomes[1:])
        sums = [total]
        for outcome in self.outcomes[1:]:
            total += row.get(outcome, 0.0)
            sums.append(min(total, 1.0))
        return sums


@dataclass(frozen=True)
class Cause:
    """One thing that can be wrong, and what to do about it.

    `weight` is how often it is met, 1 being ordinary. Of causes with the same `part` at most one can be true at a
    time. `needs` names what the rig must have for it. `timing`: it is a setting that seeking finds. `unless` is
    advice for a controller on which the part is not fitted.
    """

    name: str
    what: str
    weight: float = 1.0
    part: str = ""
    needs: str = ""
    timing: bool = False
    advice: str = ""
    cautions: tuple[str, ...] = ()
    unless: str = ""


@dataclass(frozen=True)
class Catalogue:
    """The whole of it, each part by its name."""

    cautions: Mapping[str, str]
    causes: Mapping[str, Cause]
    signs: Mapping[str, Sign]
    questions: Mapping[str, Question]

    @property
    def cautions_first(self) -> tuple[str, ...]:
        """What everyone is told before a check begins."""
        return tuple(self.cautions[name] for name in ("strobe", "contacts", "wet", "plugs"))

    def list_possible(self, setup: Setup, *, has_light: bool, has_button: bool) -> list[Cause]:
        """Return the causes that a setup can have: no beam, no trouble with one.

        Timings can be wrong if somebody has set them. The plan's own may miss, too, but that is what
        seeking is for.
        """
        beam, flash = setup.beam is not None, setup.flash is not None
        has = {
            "": True,
            "beam": beam,
            "window": setup.sets_window,
            "flash": flash,
            "delay": flash and setup.sets_delay,
            "light": flash and has_light,
            "camera": setup.has_camera,
            "button": has_button,
        }
        return [cause for cause in self.causes.values() if has[cause.needs]]


@lru_cache(maxsize=1)
def load_catalogue() -> Catalogue:
    """Return the catalogue that comes with the package; raises DefinitionError if it contradicts itself."""
    return read_catalogue(_FILE.read_text(encoding="utf-8"))


def read_catalogue(text: str) -> Catalogue:
    """Read a catalogue; raises DefinitionError naming the entry that is wrong."""
    content = tomllib.loads(text)
    cautions = content["cautions"]
    groups: Mapping[str, Mapping[str, float]] = content["group"]
    causes = {
        entry["name"]: Cause(**{**entry, "cautions": _pick(cautions, entry)})
        for entry in content["cause"]
    }
    signs = {entry["name"]: _make_sign(entry, groups) for entry in content["sign"]}
    for sign in signs.values():
        for name in (*sign.chances, *sign.hiders):
            if name not in causes:
                raise DefinitionError(
                    f"names no cause: {name}", source="catalogue.toml", entry=f"sign {sign.name}"
                )
    questions = {
        entry["name"]: Question(
            name=entry["name"],
            text=entry["text"],
            answers=entry.get("answers", {}),
            before=entry.get("before", ""),
            after=entry.get("after", ""),
            caution=" ".join(_pick(cautions, entry)),
        )
        for entry in content["question"]
    }
    return Catalogue(cautions, causes, signs, questions)


def _make_sign(entry: Mapping[str, Any], groups: Mapping[str, Mapping[str, float]]) -> Sign:
    chances: dict[str, Chances] = {}
    for group, outcome in entry.get("groups", {}).items():
        chances |= {cause: {outcome: chance} for cause, chance in groups[group].items()}
    chances |= entry.get("chances", {})
    only_if = entry.get("only_if")
    words: Mapping[str, str] = entry["outcomes"]
    return Sign(
        name=entry["name"],
        outcomes=tuple(words),
        sound=entry["sound"],
        chances=chances,
        words=words,
        hiders=tuple(_expand(entry.get("hiders", ()), groups)),
        only_if=None if only_if is None else (only_if["sign"], tuple(only_if["outcomes"])),
        person=entry.get("person", ""),
        undone=entry.get("undone", ""),
        by_light=entry.get("by_light", False),
        by_coil=entry.get("by_coil", False),
    )


def _expand(names: Iterable[str], groups: Mapping[str, Mapping[str, float]]) -> list[str]:
    return [cause for name in names for cause in groups.get(name, {name: 1.0})]


def _pick(cautions: Mapping[str, str], entry: Mapping[str, Any]) -> tuple[str, ...]:
    return tuple(cautions[name] for name in entry.get("cautions", ()))
