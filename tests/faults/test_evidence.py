"""Outcomes from raw edges, and what physics expects, against the simulated rig."""

from __future__ import annotations

import statistics

import pytest

from beamfall.board import Board
from beamfall.events import Edge, Readings
from beamfall.faults import evidence
from beamfall.faults.evidence import Pulse
from beamfall.faults.setup import Expectation, Setup
from beamfall.setup.signals import Signal

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
    ("blanking_ms", "dwell_ms", "outcome"),
    [(20, 0, "extra"), (40, 0, "on-time"), (20, 2, "on-time"), (20, 1, "extra"), (0, 5, "on-time")],
)
def test_a_satellite_that_no_shot_counts_is_none(
    blanking_ms: float, dwell_ms: float, outcome: str
) -> None:
    """30 ms behind the drop and 1.2 ms long; the drop itself stays, however short."""
    counted = evidence.leave_out_uncounted(
        [pulse(160, 3), pulse(190, 1.2)], DROP, blanking_s=blanking_ms / 1e3, dwell_s=dwell_ms / 1e3
    )
    assert evidence.judge_drip(counted, DROP) == outcome


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


def rest(pulses: list[Pulse], dark_share: float = 0.01) -> str:
    return evidence.judge_rest(pulses, DROP, dark=False, changed=True, dark_share=dark_share)


@pytest.mark.parametrize(
    ("pulses", "outcome"),
    [
        ([pulse(500, 3)], "drops"),
        ([pulse(500, 3), pulse(1300, 3.1), pulse(2200, 2.9)], "drops"),
        ([pulse(500, 4.5), pulse(1500, 4.6)], "drops"),  # a drop that hung until it was heavy
        ([pulse(500, 3), pulse(530, 1.2), pulse(1500, 3), pulse(1530, 1.3)], "drops"),
        ([pulse(500, 0.4)], "flicker"),  # too short for a drop
        ([pulse(500, 18)], "flicker"),  # and too long
        ([pulse(500, 2), pulse(1500, 5)], "flicker"),  # drops of one valve are alike
        ([pulse(500, 3), pulse(512, 3)], "flicker"),  # no nozzle lets two go so soon
        ([pulse(500, 6), pulse(510, 2), pulse(520, 2), pulse(530, 2)], "flicker"),
        ([], "flicker"),  # it changed, once
    ],
)
def test_drops_that_fall_by_themselves_are_told_from_a_loose_contact(
    pulses: list[Pulse], outcome: str
) -> None:
    assert rest(pulses) == outcome


def test_a_stream_darkens_the_beam_for_much_of_the_time() -> None:
    """Rayleigh, 1878 (from memory): drops 1.9 jet diameters wide and 4.5 apart."""
    assert rest([pulse(9.0 * i, 3.8) for i in range(200)], dark_share=1.9 / 4.5) == "much-dark"


@pytest.mark.parametrize("dark", [False, True])
def test_a_beam_that_never_changed_is_named_by_how_it_stood(dark: bool) -> None:
    share = float(dark)
    named = evidence.judge_rest([], DROP, dark=dark, changed=False, dark_share=share)
    assert named == ("dark" if dark else "clear")


@pytest.mark.parametrize(("dark", "share"), [(False, 0.3 + 0.1), (True, 0.1 + 0.5)])
def test_the_share_of_darkness_is_added_up_to_the_end(dark: bool, share: float) -> None:
    """Of ten ticks, the line changes at 1, 4 and 9."""
    beam1, beam2 = (Signal[name] for name in ("beam1", "beam2"))
    edges = [
        Edge(beam1, int(not dark), 1, True),
        Edge(beam2, 1, 2, True),
        Edge(beam1, int(dark), 4, True),
        Edge(beam1, int(not dark), 9, True),
    ]
    assert evidence.share_dark(edges, beam1, 10, dark=dark, seconds=1.0) == pytest.approx(share)


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
        edges = board.drip(1, 0.026).edges
    assert evidence.find_pulses(edges, 9, 125_000_000, 1) == []


def test_delays_near_the_plan_fit() -> None:
    assert evidence.judge_delay(0.18, (0.17, 0.19)) == "fits"
    assert evidence.judge_delay(0.15, (0.17, 0.19)) == "short"
    assert evidence.judge_delay(0.22, (0.17, 0.19)) == "long"


def test_current_tells_a_dead_coil_from_a_stuck_plunger_and_a_sound_valve() -> None:
    def judge(current_ma: list[int], supply_mv: int = 24000) -> dict[str, str]:
        return evidence.judge_coil(Readings(0, 1, tuple(current_ma), (supply_mv,) * len(current_ma)))  # fmt: skip

    assert judge([0, 100, 200, 240, 210, 260, 300]) == {"drip-coil": "moved", "drip-supply": "holds"}  # fmt: skip
    assert judge([0, 100, 200, 240, 270, 290, 300])["drip-coil"] == "still"
    assert judge([0, 2, 0, 1, 0, 0, 0])["drip-coil"] == "none"
    assert judge([0, 2, 0, 1, 0, 0, 0], 15)["drip-supply"] == "absent"
    assert judge([]) == {}
