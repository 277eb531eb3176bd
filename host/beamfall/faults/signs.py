"""What a test can show, as outcomes, and the chance of each outcome under each cause.

The outcomes of a sign stand in an order: the first is what a sound rig shows, and where two causes would bring
different outcomes the later one is seen (a noisy-max model: J. Pearl's noisy-or, 1988, for more than two outcomes).
`hiders` are causes before which no other cause shows in this sign at all.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

Chances = Mapping[str, float]


@dataclass(frozen=True)
class Sign:
    """One thing to be seen in a test.

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
