"""Bayes, against numbers worked out by hand or by another way."""

from __future__ import annotations

import itertools
import math

import pytest

from beamfall.faults.catalogue import Cause, Sign, load_catalogue
from beamfall.faults.checks import CHECKS, Check
from beamfall.faults.inference import NOTHING_ODDS, ODDS, PERSON_ERRS, CauseChances, tell_apart

A, B = Cause("a-a", "a"), Cause("b-b", "b", 2.0)
LIGHT = Sign(
    "light",
    ("lit", "dark"),
    sound={"dark": 0.1},
    chances={"a-a": {"dark": 0.8}, "b-b": {"dark": 0.5}},
    words={"lit": "lit", "dark": "dark"},
)
ASKED = Sign(
    "asked",
    ("yes", "no"),
    sound={},
    chances={"a-a": {"no": 0.6}},
    words={"yes": "yes", "no": "no"},
    person="answers",
)
ALL_SIGNS = {sign.name: sign for check in CHECKS for sign in check.signs}


def make_check(*signs: Sign) -> Check:
    return Check("one", "one", signs, 1.0, lambda bench: {})


def test_two_causes_add_up_as_noisy_or() -> None:
    """J. Pearl, Probabilistic Reasoning in Intelligent Systems, 1988, section 4.3.2: 1 - product of (1 - p)."""
    expected = 1.0 - (1.0 - 0.1) * (1.0 - 0.8) * (1.0 - 0.5)
    assert LIGHT.chance(("a-a", "b-b"))[1] == pytest.approx(expected)


def test_later_outcomes_hide_earlier_ones() -> None:
    sign = Sign(
        "s",
        ("well", "weak", "none"),
        sound={},
        chances={"a-a": {"weak": 1.0}, "b-b": {"none": 0.75}},
        words={"well": "", "weak": "", "none": ""},
    )
    assert sign.chance(("a-a", "b-b")) == pytest.approx([0.0, 0.25, 0.75])


def test_a_dead_beam_shows_nothing_of_a_stream() -> None:
    both = ALL_SIGNS["drip-beam"].chance(("beam-unplugged", "valve-stuck-open"))
    assert both == ALL_SIGNS["drip-beam"].chance(("beam-unplugged",))


@pytest.mark.parametrize("sign", ALL_SIGNS.values(), ids=lambda sign: sign.name)
def test_chances_add_up_to_one_for_singles_and_pairs(sign: Sign) -> None:
    names = list(load_catalogue().causes)
    for causes in [(), *((n,) for n in names), *itertools.combinations(names, 2)]:
        chances = sign.chance(causes)
        assert sum(chances) == pytest.approx(1.0)
        assert min(chances) >= -1e-12


def test_one_outcome_by_hand() -> None:
    """Four hypotheses; chance of dark: 0.1, 1-0.9*0.2=0.82, 1-0.9*0.5=0.55, 1-0.9*0.2*0.5=0.91."""
    belief = CauseChances([A, B])
    belief.learn(LIGHT, "dark")
    weights = [NOTHING_ODDS * 0.1, ODDS * 0.82, 2 * ODDS * 0.55, 2 * ODDS**2 * 0.91]
    expected = [weight / sum(weights) for weight in weights]
    assert list(belief.chances) == pytest.approx(expected)
    assert dict(belief.rank())["a-a"] == pytest.approx(expected[1] + expected[3])


def test_asking_again_cannot_tell_more_than_the_rig_shows() -> None:
    """Ten times 'no': the answer is sure, but 'no' is still only so likely with the cause."""
    belief = CauseChances([A])
    for _ in range(10):
        belief.learn(ASKED, "no")
    # By hand: P(ten noes | a) = 0.6 (1-e)^10 + 0.4 e^10, without: e^10; both times their odds.
    e = PERSON_ERRS
    with_a = ODDS * (0.6 * (1 - e) ** 10 + 0.4 * e**10)
    without = NOTHING_ODDS * e**10
    assert belief.chances[1] == pytest.approx(with_a / (with_a + without))
    belief = CauseChances([A])
    for _ in range(10):
        belief.learn(ASKED, "yes")
    with_a = ODDS * (0.4 * (1 - e) ** 10 + 0.6 * e**10)
    without = NOTHING_ODDS * (1 - e) ** 10
    assert belief.chances[1] == pytest.approx(with_a / (with_a + without))


def test_what_was_seen_of_an_act_cannot_come_of_its_not_being_done() -> None:
    belief = CauseChances([Cause("beam-wire-shorted", "x")])
    seen = belief.predict(ALL_SIGNS["finger"])
    assert seen[1, 0] <= 1.0 - ALL_SIGNS["finger"].chances["beam-wire-shorted"]["none"]


def test_expected_gain_is_the_mean_loss_of_entropy() -> None:
    """Mutual information as H(before) - mean H(after), worked out by learning each outcome in turn."""

    def entropy(belief: CauseChances) -> float:
        return -sum(p * math.log2(p) for p in belief.chances if p > 0.0)

    before = CauseChances([A, B])
    after = 0.0
    for outcome in LIGHT.outcomes:
        for answer in ASKED.outcomes:
            belief = CauseChances([A, B])
            column = LIGHT.outcomes.index(outcome), ASKED.outcomes.index(answer)
            chance = float(
                before.chances
                @ (belief.predict(LIGHT)[:, column[0]] * belief.predict(ASKED)[:, column[1]])
            )
            belief.learn(LIGHT, outcome)
            belief.learn(ASKED, answer)
            after += chance * entropy(belief)
    gain = before.expect_gain(make_check(LIGHT, ASKED))
    assert gain == pytest.approx(entropy(before) - after, abs=1e-9)
    assert gain > 0.0


def test_a_sign_that_differs_tells_two_causes_apart() -> None:
    assert tell_apart(ALL_SIGNS["bottle"], "bottle-empty", "nozzle-clogged") > 0.5
    assert tell_apart(ALL_SIGNS["bottle"], "flash-off", "nozzle-clogged") == pytest.approx(0.0)


def test_causes_of_one_part_are_not_taken_together() -> None:
    belief = CauseChances([Cause("x-x", "x", part="p"), Cause("y-y", "y", part="p"), A])
    assert (0, 1) not in belief.sets
    assert {(0, 2), (1, 2)} <= set(belief.sets)
