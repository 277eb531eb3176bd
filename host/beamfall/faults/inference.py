"""Bayesian inference over what can be wrong (no cause, one, or two at once), and which test tells most for its effort.

A hypothesis is a set of at most two causes. Its prior is the product of its causes' odds (weight x ODDS), which
makes causes independent of each other. Every sign multiplies in the chance of its outcome, see `Sign`. Answers of
a person are taken to be wrong now and then, and what a person is to do, not done; the same question asked again looks
at the same rig, so that only the person's mistake is drawn again, not the rig's behaviour.
"""

from __future__ import annotations

from collections.abc import Iterable
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from beamfall.arrays import Floats
from beamfall.faults.catalogue import NOTHING, Cause, Sign
from beamfall.faults.checks import Check

ODDS = 0.03  # of a cause of weight 1, that it is at work here and now (our judgement)
NOTHING_ODDS = 0.1  # of nothing being wrong: users who ask have seen something fail
PERSON_ERRS = 0.07  # share of answers that are taken to be mistaken (our judgement)
_LEAST = 1e-12


class CauseChances:
    """The chances of the causes of a fault, alone and in pairs, given what was seen."""

    def __init__(self, causes: Iterable[Cause]) -> None:
        self.causes = tuple(causes)
        self.names = tuple(cause.name for cause in self.causes)
        self.sets: list[tuple[int, ...]] = [()]
        self.sets += [(i,) for i in range(len(self.causes))]
        self.sets += [
            (i, j)
            for i, j in combinations(range(len(self.causes)), 2)
            if not self.causes[i].part or self.causes[i].part != self.causes[j].part
        ]
        odds = [cause.weight * ODDS for cause in self.causes]
        self._log = np.array(
            [np.log(NOTHING_ODDS)] + [sum(np.log(odds[i]) for i in one) for one in self.sets[1:]]
        )
        self._first = self._log
        self._member = np.zeros((len(self.sets), len(self.causes)))
        for row, one in enumerate(self.sets):
            self._member[row, list(one)] = 1.0
        self._tables: dict[str, Floats] = {}
        # By a person: chance of all answers so far, by rig outcome
        self._heard: dict[str, Floats] = {}
        self.seen: list[tuple[Sign, str]] = []
        self._likely: list[Floats] = []

    @property
    def chances(self) -> Floats:
        """Chance of each hypothesis in `sets`."""
        values = np.exp(self._log - self._log.max())
        result: Floats = values / values.sum()
        return result

    @property
    def marginals(self) -> Floats:
        """Chance of each cause, alone or with another."""
        result: Floats = self.chances @ self._member
        return result

    def rank(self) -> list[tuple[str, float]]:
        """Causes by their chance, the likeliest first; `nothing-wrong` among them."""
        pairs = list(zip(self.names, (float(x) for x in self.marginals), strict=True))
        pairs.append((NOTHING, float(self.chances[0])))
        return sorted(pairs, key=lambda pair: -pair[1])

    def table(self, sign: Sign) -> Floats:
        """Chance of each outcome (columns) of the rig under each hypothesis (rows)."""
        table = self._tables.get(sign.name)
        if table is None:
            # A sign says the same of all causes that it does not name.
            named = {i for i, name in enumerate(self.names) if sign.names(name)}
            sets = [tuple(i for i in one if i in named) for one in self.sets]
            rows = {one: sign.chance(tuple(self.names[i] for i in one)) for one in set(sets)}
            table = np.maximum(np.array([rows[one] for one in sets]), _LEAST)
            self._tables[sign.name] = table
        return table

    def predict(self, sign: Sign) -> Floats:
        """Chance of what will be seen or answered next, under each hypothesis."""
        table = self.table(sign)
        if not sign.person:
            return table
        heard = self._heard.get(sign.name)
        weighted = table if heard is None else table * heard
        weighted = weighted / weighted.sum(axis=1, keepdims=True)
        result: Floats = weighted @ _mistake(sign)
        return result

    def learn(self, sign: Sign, outcome: str) -> None:
        """Update the chances with one outcome."""
        column = sign.outcomes.index(outcome)
        likely = np.maximum(self.predict(sign)[:, column], _LEAST)
        self._log = self._log + np.log(likely)
        self._likely.append(likely)
        if sign.person:
            before = self._heard.get(sign.name, np.ones(len(sign.outcomes)))
            self._heard[sign.name] = before * _mistake(sign)[:, column]
        self.seen.append((sign, outcome))

    def expect_gain(self, check: Check) -> float:
        """Return the information in bits that a test is expected to bring."""
        prior = self.chances
        keep = prior > 1e-7
        prior = prior[keep] / prior[keep].sum()
        joint = np.ones((len(prior), 1))
        reached: dict[str, Floats] = {}
        for sign in check.signs:
            table = self.predict(sign)[keep]
            if sign.only_if is not None and sign.only_if[0] in reached:
                continue  # signs that can be read only sometimes are left out, so the gain is a little too small
            reached[sign.name] = table
            joint = (joint[:, :, None] * table[:, None, :]).reshape(len(prior), -1)
        overall = prior @ joint
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = np.where(joint > 0.0, np.log2(joint / overall), 0.0)
        return float(prior @ (joint * ratio).sum(axis=1))

    def weigh(self, cause: str) -> list[tuple[float, float, Sign, str]]:
        """How much each outcome seen speaks for a cause: its chance with the cause over that without it.

        The first number is against all that was thought possible at first, and says what points to
        the cause; the second against what all other outcomes leave possible, and says what ruled
        out the nearest rivals.
        """
        inside = self._member[:, self.names.index(cause)] > 0.0
        return [
            (
                _compare(self._first, likely, inside),
                _compare(self._log - np.log(likely), likely, inside),
                sign,
                outcome,
            )
            for (sign, outcome), likely in zip(self.seen, self._likely, strict=True)
        ]


def _compare(log_weights: Floats, likely: Floats, inside: NDArray[np.bool_]) -> float:
    """Mean of `likely` over the hypotheses inside over that of those outside."""
    weights = np.exp(log_weights - log_weights.max())
    means = [
        weights[part] @ likely[part] / max(weights[part].sum(), _LEAST)
        for part in (inside, ~inside)
    ]
    return float(means[0] / max(means[1], _LEAST))


def _mistake(sign: Sign) -> Floats:
    """Chance of what comes of it (columns) where the rig would show each outcome (rows).

    A wrong answer is any other one. What was not done shows as nothing seen (`Sign.undone`).
    """
    count = len(sign.outcomes)
    if sign.person == "acts":
        result: Floats = (1.0 - PERSON_ERRS) * np.eye(count)
        result[:, sign.outcomes.index(sign.undone or sign.outcomes[-1])] += PERSON_ERRS
        return result
    result = np.full((count, count), PERSON_ERRS / (count - 1))
    np.fill_diagonal(result, 1.0 - PERSON_ERRS)
    return result


def tell_apart(sign: Sign, one: str, other: str) -> float:
    """Return the information in bits that a sign brings where it is one cause or the other, both as likely."""
    if sign.person:
        rows = np.array([sign.chance((one,)), sign.chance((other,))]) @ _mistake(sign)
    else:
        rows = np.array([sign.chance((one,)), sign.chance((other,))])
    rows = np.maximum(rows, _LEAST)
    return float(0.5 * (rows * np.log2(rows / rows.mean(axis=0))).sum())
