"""Outcomes from raw edges, and what physics expects, against the simulated rig."""

from __future__ import annotations

import statistics

import pytest

from beamfall.board import Board
from beamfall.faults import evidence
from beamfall.faults.evidence import Pulse
from beamfall.faults.setup import Expectation, Setup

DROP = Expectation(0.12, 0.157, 0.2, 0.003)


def pulse(start_ms: float, length_ms: float, *, dark: bool = True) -> Pulse:
    return Pulse(start_ms / 1e3, length_ms / 1e3, dark)


@pytest.mark.parametrize(
    ("pulses", "outcome"),
    [
        ([], "none"),
        ([pulse(160, 3)], "on-time"),
        ([pulse(160, 1.5)], "small"),
        ([pulse(300, 3)], "off-time"),
        ([pulse(160, 60)], "off-time"),
        ([pulse(160, 3), pulse(190, 1.2)], "extra"),
        ([pulse(160, 3), pulse(700, 3)], "stray"),
        ([pulse(160, 3, dark=False)], "inverted"),
        ([pulse(20 * i, 5) for i in range(9)], "busy"),
    ],
)
def test_a_drip_is_named_by_its_pulses(pulses: list[Pulse], outcome: str) -> None:
    assert evidence.judge_drip(pulses, DROP) == outcome


@pytest.mark.parametrize(
    ("dwells", "outcome"),
    [
        ([3.0, 3.01, 2.99, 3.0, 3.0, 3.02], "steady"),
        ([3.0, 2.6, 2.2, 1.9, 1.6, 1.4], "fading"),
        ([3.0, 2.5, 2.0, None, None, None], "fading"),
        ([3.0, 2.2, 3.1, 3.0, 2.0, 3.0], "scattered"),
        ([3.0, None, 3.0, 3.0, None, 3.0], "scattered"),
        ([None] * 6, "none"),
    ],
)
def test_a_row_of_drops_is_named_by_its_dwells(dwells: list[float | None], outcome: str) -> None:
    assert evidence.judge_repeat(dwells) == outcome


def test_finger_and_drop_are_told_apart_by_their_length() -> None:
    assert evidence.judge_finger([pulse(100, 3)]) == "none"
    assert evidence.judge_finger([pulse(100, 150)]) == "edges"
    assert evidence.judge_finger([pulse(100, 150, dark=False)]) == "inverted"


def test_what_the_supply_does_is_told_from_the_drop() -> None:
    early, later = evidence.split_opening([pulse(1, 12), pulse(160, 3)], 0.013)
    assert (len(early), len(later)) == (1, 1)


def test_sound_rigs_bring_their_drop_when_physics_says(setup: Setup) -> None:
    """40 rigs drawn around the file: the margins must hold nearly all, and the dwell be close."""
    assert setup.expected is not None
    on_time, starts = 0, []
    for seed in range(40):
        with Board.connect("sim", seed=seed) as board:
            edges = board.drip(1, setup.valve.opening_s).edges
        pulses = evidence.find_pulses(edges, 9, 125_000_000, 0)
        starts.append(pulses[0].start_s)
        on_time += evidence.judge_drip(pulses, setup.expected) == "on-time"
        assert pulses[0].length_s == pytest.approx(setup.expected.dwell_s, rel=0.25)
    assert on_time >= 39
    assert statistics.mean(starts) == pytest.approx(setup.expected.middle_s, abs=0.006)


def test_an_open_pulse_at_the_end_is_left_out() -> None:
    with Board.connect("sim?fault=beam-stuck-dark") as board:
        edges = board.drip(1, 0.013).edges
    assert evidence.find_pulses(edges, 9, 125_000_000, 1) == []


def test_delays_near_the_plan_fit() -> None:
    assert evidence.judge_delay(0.18, (0.17, 0.19)) == "fits"
    assert evidence.judge_delay(0.15, (0.17, 0.19)) == "short"
    assert evidence.judge_delay(0.22, (0.17, 0.19)) == "long"
