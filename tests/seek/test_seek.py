"""The search converges on hidden rigs by plain words, says so when it has, and keeps what it learned."""

from __future__ import annotations

import statistics
from dataclasses import replace

import numpy as np
import pytest
from searching import seek
from tiers import in_full

from beamfall.errors import UserError
from beamfall.planning.belief import Belief, Step, describe_basis
from beamfall.planning.openings import quantiles
from beamfall.planning.seek.answer import Answer, Shot
from beamfall.planning.seek.likelihood import WORDS
from beamfall.planning.seek.search import Search
from beamfall.planning.seek.timing import Timing
from beamfall.planning.seek.weighted_rigs import WeightedRigs
from beamfall.planning.setting import make_setting
from beamfall.planning.unknowns import NAMES, Normal, make_jet_prior
from beamfall.setup.limits import BoardLimits
from beamfall.setup.rig import example_rig
from beamfall.setup.rig_shot import DropInRig
from beamfall.sim.build import build_rig, draw_model
from beamfall.sim.rig import SimulatedRig


# -- three drops ------------------------------------------------------------------------------------
@pytest.mark.parametrize("nozzles", in_full(1, 2))
def test_the_third_drops_contact_is_found(nozzles: int) -> None:
    rig = example_rig()
    if nozzles == 2:
        second = replace(rig.valves[0], output="valve2", height_m=0.66, latency_s=0.03)
        first, other = DropInRig(valve="valve1"), DropInRig(valve="valve2")
        rig = replace(rig, valves=(*rig.valves, second), drops=(first, first, other))
    rig = rig.with_aim(drops=3)
    counts, right = [], 0
    for seed in range(1, 9):
        search = Search(rig, seed=seed)
        stages = seek(search, SimulatedRig(draw_model(rig, seed), seed), ages=True)
        best = stages[search.best]
        right += search.found and best is not None and abs(best - 0.002) < 0.002
        counts.append(len(stages))
    assert right >= 7  # of eight rigs: the figures of many are in benchmarks/seek_shots.py
    assert statistics.median(counts) <= 7


# -- weights ----------------------------------------------------------------------------------------
def make_weighted(**options) -> WeightedRigs:
    rig = example_rig()
    setting = make_setting(rig)
    return WeightedRigs(rig, setting, make_jet_prior(rig, setting), count=1500, **options)


def test_the_chances_of_all_words_make_one() -> None:
    weighted = make_weighted()
    timing = Timing.predict(weighted.rigs, (0.0, 0.105))
    for light in (0.38, 0.44, 0.455, 0.47, 0.52):
        words = weighted.look(timing, light).words
        assert words.shape == (len(WORDS), 1500)
        assert np.all(words >= 0.0)
        assert np.allclose(words.sum(axis=0), 1.0, atol=0.01)


def test_a_word_moves_the_belief_the_way_it_points() -> None:
    """'after' says the contact was earlier than thought, 'before' later."""

    def contact_after(word: str) -> float:
        weighted = make_weighted()
        second = weighted.rigs.drop(2)
        shot = Shot((0.0, 0.105), 0.4596, (0.1696, 0.2746))
        weighted.take(shot, Answer(word), 0.002, 0.001)
        contact, _ = weighted.rigs.find_contact((0.0, 0.105))
        since_edge = contact + weighted.offset_s - 0.105 - second.latency_s - second.to_edge_s
        good = np.isfinite(since_edge)
        return float(np.average(since_edge[good], weights=weighted.weights[good]))

    before, after = contact_after("before"), contact_after("after")
    light = 0.4596 - 0.2746
    assert after < light < before
    assert before - after > 0.004


def test_a_measured_dwell_tells_the_drops_size() -> None:
    sizes = {}
    for share in (0.95, 1.05):
        weighted = make_weighted()
        dwell = share * float(np.median(weighted.rigs.first.dwell_s))
        weighted.take(Shot((0.0, 0.105), 0.455, (), (dwell,)), Answer("after"), 0.002, 0.001)
        sizes[share] = float(weighted.weights @ weighted.rigs.first.diameter_m)
    assert sizes[1.05] / sizes[0.95] > 1.03


def test_drops_that_come_early_are_fast_or_leave_early() -> None:
    """Both edges of a shot agree, so drop 2's path from the beam is known better after it."""
    example = example_rig()
    rig = replace(example, valves=(replace(example.valves[0], head_m=0.3, opening_s=0.012),))
    setting = make_setting(rig)
    speeds, latencies = {}, {}
    for early_s in (-0.01, 0.01):
        weighted = WeightedRigs(rig, setting, make_jet_prior(rig, setting), count=1500)
        first = weighted.rigs.first
        way = first.to_surface_s - first.to_edge_s
        edge = float(np.median(first.latency_s + first.to_edge_s)) - early_s
        weighted.take(
            Shot((0.0, 0.105), edge + 0.3, (edge, edge + 0.105)), Answer("after"), 0.002, 0.001
        )
        first = weighted.rigs.first
        mean = float(weighted.weights @ (first.to_surface_s - first.to_edge_s))
        left = (first.to_surface_s - first.to_edge_s - mean) ** 2
        assert float(weighted.weights @ left) ** 0.5 < 0.8 * float(np.std(way))
        arrival = first.latency_s + first.to_edge_s
        assert float(weighted.weights @ arrival) == pytest.approx(edge, abs=0.0005)
        speeds[early_s] = float(weighted.weights @ first.start_speed_m_s)
        latencies[early_s] = float(weighted.weights @ first.latency_s)
    assert speeds[0.01] > 1.1 * speeds[-0.01]
    assert latencies[0.01] < latencies[-0.01] - 0.002


def test_the_belief_survives_an_answer_that_nothing_explains() -> None:
    weighted = make_weighted()
    shot = Shot((0.0, 0.105), 0.455, (0.165, 0.270), (5.0,))
    weighted.take(shot, Answer("after", 0.29, 0.29), 0.002, 0.001)
    assert np.isfinite(weighted.weights).all() and weighted.weights.sum() == pytest.approx(1.0)


def test_quantiles_of_weighted_values() -> None:
    values = np.array([3.0, 1.0, 2.0])
    assert quantiles(values, np.array([0.2, 0.3, 0.5]), (0.3, 0.8)) == pytest.approx([1.0, 2.0])


def test_shots_of_a_rig_scatter_as_a_normal_distribution() -> None:
    weighted = make_weighted()
    outlook = weighted.look(Timing.predict(weighted.rigs, (0.0, 0.105)), 0.455)
    rigs = np.isfinite(outlook.stage_s)
    shots = outlook.scattered.stage_s[:, rigs]
    assert np.allclose(shots.mean(axis=0), outlook.stage_s[rigs])
    shares = np.mean((shots >= 0.001) & (shots <= 0.003), axis=0)
    exact = [
        statistics.NormalDist(middle, spread).cdf(0.003)
        - statistics.NormalDist(middle, spread).cdf(0.001)
        for middle, spread in zip(outlook.stage_s[rigs], outlook.spread_s[rigs], strict=True)
    ]
    assert float(np.mean(shares)) == pytest.approx(float(np.mean(exact)), abs=0.01)


def test_a_later_answer_says_what_an_earlier_picture_showed() -> None:
    """An umbrella 1.8 ms after the contact is likely the one wanted."""
    search = Search(example_rig(), seed=1)
    first = search.propose()
    edge = 0.165 + first.spacing_s

    def answer(later_s: float, word: str) -> None:
        light = edge + first.delay_s + later_s
        search.take(Shot(first.times_s, light, (0.165, edge)), Answer(word))

    answer(0.0, "after")
    unsure = search.best_chance
    answer(-0.0018, "contact")
    assert search.chance < 0.1
    assert search.best == 0 and search.best_chance > unsure + 0.2


# -- the search -------------------------------------------------------------------------------------
@pytest.mark.full
def test_searches_end_soon_and_are_right_when_they_end() -> None:
    rig = example_rig()
    shots, right = [], 0
    for seed in range(12):
        search = Search(rig, seed=seed)
        stages = seek(search, build_rig(rig, seed))
        shots.append(search.shots)
        best = stages[search.best]
        right += search.found and best is not None and abs(best - 0.002) <= 0.001
    # The benchmark over 200 hidden rigs has median 4 and 95 % right; this small one leaves room.
    assert statistics.median(shots) <= 6
    assert right >= 9


@pytest.mark.full
def test_measured_heights_make_it_shorter() -> None:
    rig = example_rig()
    plain, measured = 0, 0
    for seed in range(20, 28):
        search = Search(rig, seed=seed)
        seek(search, build_rig(rig, seed))
        plain += search.shots
        search = Search(rig, seed=seed)
        seek(search, build_rig(rig, seed), heights=True)
        measured += search.shots
    assert measured < plain


@pytest.mark.full
def test_a_jet_law_that_the_planner_does_not_have_is_found_too() -> None:
    rig = example_rig()
    right = 0
    for seed in range(6):
        search = Search(rig, seed=seed)
        stages = seek(search, SimulatedRig(draw_model(rig, seed, shape=3.0), seed))
        best = stages[search.best]
        right += best is not None and abs(best - 0.002) <= 0.001
    assert right >= 4


def test_once_a_contact_was_seen_the_spacing_stays() -> None:
    search = Search(example_rig(), seed=1)
    first = search.propose()
    search.take(Shot(first.times_s, 0.46, (0.165, 0.165 + first.spacing_s)), Answer("after"))
    assert {search.propose().spacing_s for _ in range(3)} == {first.spacing_s}
    assert (
        search.keep(board="x", port="sim", simulated=True).recall_spacing(search.rig)
        == first.spacing_s
    )


def test_a_picture_is_judged_by_its_own_word_too() -> None:
    """What shows an umbrella is not a contact, and a contact is no picture 2 ms after it."""
    shot = Shot((0.0, 0.105), 0.455, (0.165, 0.270))
    # people err in one answer of twenty
    assert make_weighted().take(shot, Answer("after"), 0.0, 0.0002) < 0.1
    assert make_weighted().take(shot, Answer("contact"), 0.002, 0.001) < 0.1
    assert make_weighted().take(shot, Answer("contact"), 0.0, 0.001) > 0.75


def test_the_photographer_may_say_that_this_is_it() -> None:
    search = Search(example_rig(), seed=1)
    proposal = search.propose()
    search.take(Shot(proposal.times_s, 0.46, (0.165, 0.27)), Answer("found"))
    assert search.found


@pytest.mark.full
def test_what_was_learned_shortens_the_next_search() -> None:
    rig = example_rig()
    again = []
    for seed in (2, 3, 4, 6):
        first = Search(rig, seed=seed)
        seek(first, build_rig(rig, seed))
        kept = first.keep(board="x", port="sim", simulated=True)
        second = Search(rig, seed=seed + 100, learned=kept)
        chance = second.propose().chance
        again.append(chance > Search(rig, seed=seed).propose().chance + 0.2)
    assert sum(again) >= 3


def test_proposals_can_be_fired() -> None:
    for rig in (example_rig(), replace(example_rig(), beams=())):
        search = Search(rig, seed=1)
        sequence = search.build(search.propose())
        sequence.make_table_within(BoardLimits())
        assert sequence.flash_row() is not None
        assert sequence.awaits[0] == (2 if rig.beams else 0)


def test_answers_that_leave_no_rig_are_said_to() -> None:
    search = Search(example_rig(), seed=1)
    search._spacing_s = 1.5
    with pytest.raises(UserError, match="1500 ms.*--fresh"):
        search.propose()


def test_a_search_that_drifted_to_rigs_whose_drops_miss_recovers() -> None:
    search = Search(example_rig(), seed=1)
    shot = Shot((0.0, 0.09), 0.455, (0.165, 0.255))
    search.take(shot, Answer("after"))
    z = search.weighted._z.copy()
    z[:, NAMES.index("onset_factor")] = 30.0  # drop 2 strikes the surface before such a jet begins
    search.weighted._set(z)
    assert not search.weighted.may_meet(shot.times_s)
    assert search.propose().times_s == shot.times_s
    assert search.weighted.may_meet(shot.times_s)


# -- a search that cannot be fooled ------------------------------------------------------------------
def find_stage(answer: Answer) -> float:
    """The stage that a picture is believed to have after an answer."""
    weighted = make_weighted()
    shot = Shot((0.0, 0.105), 0.455, (0.165, 0.270))
    weighted.take(shot, answer, 0.002, 0.001)
    timing = Timing.read(weighted.rigs, shot)
    stage = weighted.look(timing, 0.455 + weighted.rigs.flash_latency_s).stage_s
    good = np.isfinite(stage)
    return float(np.average(stage[good], weights=weighted.weights[good]))


def test_the_gap_below_a_drop_tells_how_early_the_light_was() -> None:
    just, plain, long = (
        find_stage(Answer("before", age=age)) for age in ("just before", "", "long before")
    )
    # Drop 2 and the tip close 4 mm, one drop, in about 1 ms
    assert long < -0.003 < plain < just < 0.0 and just > -0.002


def test_an_umbrellas_age_and_width_tell_how_late_the_light_was() -> None:
    just, plain, late = (
        find_stage(Answer("after", age=age)) for age in ("just after", "", "long after")
    )
    assert just < plain < late
    narrow, wide = (find_stage(Answer("after", width_m=width)) for width in (0.012, 0.026))
    # physics.umbrella, 4 mm at 3.9 m/s: 12 mm wide 1.5 ms, 26 mm wide 6 ms after the contact
    assert narrow < 0.004 < wide


def test_without_a_picture_from_before_the_contact_there_is_no_certainty() -> None:
    """Eleven times 'after' once ended a search at 89 %, wrongly."""
    search = Search(example_rig(), seed=3)
    for _ in range(11):
        proposal = search.propose()
        edge = 0.165 + proposal.spacing_s
        light = edge + proposal.delay_s
        search.take(Shot(proposal.times_s, light, (0.165, edge)), Answer("after"))
        assert not search.found
    assert search.misfit


def test_after_two_misses_at_a_spacing_another_is_tried() -> None:
    search = Search(example_rig(), seed=1)
    first = search.propose()
    for _ in range(2):
        edge = 0.165 + first.spacing_s
        search.take(Shot(first.times_s, edge + first.delay_s, (0.165, edge)), Answer("missed"))
    assert abs(search.propose().spacing_s - first.spacing_s) > 0.005


def test_a_rig_that_is_no_longer_as_it_was_is_found_again_elsewhere() -> None:
    """What was learned puts the contact 14 ms too early: the search says so, and aims where the answers point."""
    rig = example_rig()
    narrow = Normal.of(NAMES, np.zeros(len(NAMES)), 0.01 * np.eye(len(NAMES)))
    step = Step(
        1, 0, 0, "sought", "2026-01-01", shots=5, found=True, certainty=0.95, spacing_s=0.1,
        state=narrow, basis=describe_basis(rig),
    )  # fmt: skip
    search = Search(rig, seed=1, learned=Belief("x", "sim", True, (step,), 1))
    first = search.propose()
    contact = 0.165 + first.spacing_s + first.delay_s - 0.002 + 0.014
    stages = []
    while not search.found and search.shots < 15:
        proposal = search.propose()
        edge = 0.165 + proposal.spacing_s
        stages.append(edge + proposal.delay_s - contact)
        word = "after" if stages[-1] > 0.0 else "before"
        age = "just after" if 0.0 < stages[-1] < 0.003 else ""
        shot = Shot(proposal.times_s, edge + proposal.delay_s, (0.165, edge))
        search.take(shot, Answer(word, age=age))
    assert search.misfit and search.found
    assert abs(stages[search.best] - 0.002) < 0.0015
    assert len(stages) <= 12
