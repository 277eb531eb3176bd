"""The profiles' limits keep what the circuit asks of them."""

from __future__ import annotations

import dataclasses

import pytest
from circuit import limits, profiles


@pytest.fixture(scope="module")
def boards():
    found = profiles.read_profiles()
    assert {board.board for board in found} >= {"pico", "pico_w", "pico2"}
    return found


def test_every_profile_keeps_every_must(results, boards):
    broken = []
    for board in boards:
        for bound in limits.bounds(results, board["DUTY_PERCENT"]):
            value = board.values.get(bound.name)
            if bound.force == "must":
                assert value is not None, f"{board.board} has no {bound.name}"
                if not bound.holds(value):
                    broken.append(
                        f"{board.board}: {bound.name} = {value}, asked {bound.kind} {bound.value}"
                    )
    assert broken == []


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("VALVE_GAP_US", 500),
        ("VALVE_MAX_US", 2_000_000),
        ("VALVE_MAX_US", 2_000),
        ("DUTY_PERCENT", 95),
        ("DUTY_WINDOW_MS", 60_000),
        ("RINSE_MAX_MS", 60_000),
        ("FLASH_MAX_US", 50),
        ("FLASH_GAP_US", 50),
    ],
)
def test_a_profile_beyond_a_must_is_found(results, name, value):
    musts = [b for b in limits.bounds(results, 30) if b.name == name and b.force == "must"]
    assert any(not bound.holds(value) for bound in musts)


def test_every_limit_of_a_profile_is_justified(results):
    assert {b.name for b in limits.bounds(results, 30)} >= set(profiles.LIMIT_NAMES)


def test_heating_by_hand():
    # 15 g of copper take 5.775 J/K; a coil of 0.5 A at 12.6 V gives 6.3 W: 0.917 s for 1 K. By hand.
    assert limits.heating_s(1.0) == pytest.approx(0.9167, rel=1e-3)


def test_warm_duty_by_hand():
    # 0.95/1.1 = 0.8636 of the current is left cold, 0.72 is needed: 0.1995/0.00393 = 50.8 K of 66.15 K. By hand.
    assert limits.warm_duty_percent() == pytest.approx(76.7, abs=0.2)


def test_limits_page_marks_what_is_beyond(results, boards):
    wide = dataclasses.replace(boards[0], values={**boards[0].values, "DUTY_PERCENT": 99})
    assert "99 (**beyond**)" in limits.limits_page(results, [wide])
