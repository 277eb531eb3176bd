"""Words also say what control charts show: points beyond limits, slopes, and that a timing is simulated."""

from __future__ import annotations

import dataclasses
import html
import math
import random
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from changed_log import change_rows, change_shot
from scipy import stats

from beamfall.cli.repeatability import _print
from beamfall.repeatability import Assessment, assess_series, read_series
from beamfall.repeatability.formulas import D2, D4, fit_trend
from beamfall.repeatability.words import (
    BY_CHANCE,
    list_drifts,
    list_outside,
    say_steady,
    say_timing,
)
from beamfall.report import write_report
from beamfall.shots import ShotLog
from beamfall.sim.model import ValveModel

Fire = Callable[..., int]


def test_the_interval_of_a_slope_as_statsmodels() -> None:
    from statsmodels.regression.linear_model import OLS
    from statsmodels.tools import add_constant

    draws = random.Random(4)
    x = [float(n) for n in range(30)]
    y = [0.2 * n + draws.gauss(0.0, 2.0) for n in x]
    trend = fit_trend(x, y)
    assert trend is not None
    low, high = OLS(y, add_constant(x)).fit().conf_int(0.05)[1]
    assert trend.interval() == pytest.approx((low, high), rel=1e-6)


def test_what_chance_makes_is_what_is_said_of_it() -> None:
    """About 3 values in 1000 and 9 steps in 1000: normal values, and the difference of two of them."""
    assert round(1000 * 2 * stats.norm.sf(3.0)) == 3
    assert round(1000 * 2 * stats.norm.sf(D4 * D2 / math.sqrt(2.0))) == 9


def one_late(valve: ValveModel, number: int) -> ValveModel:
    """Shot 7 is late by half a dozen standard deviations of the rig's own scatter."""
    if number != 6:
        return valve
    return dataclasses.replace(valve, latency_s=valve.latency_s + 0.0010)


@pytest.fixture
def odd(log: ShotLog, fire_series: Fire) -> Assessment:
    return assess_series(read_series(log, fire_series(log, 30, change=one_late)))


def test_points_beyond_the_limits_are_named(odd: Assessment) -> None:
    texts = list_outside(odd)
    arrival = next(one for one in texts if one.startswith("arrival of drop 1"))
    assert [re.findall(r"\d+", part) for part in arrival.partition(":")[2].split(";")[:2]] == [
        ["7"],
        ["7", "8"],
    ], arrival


def test_drifts_are_told_with_their_intervals(odd: Assessment) -> None:
    arrival = next(one for one in odd.quantities if (one.name, one.of) == ("arrival", "drop 1"))
    text = next(one for one in list_drifts(odd) if one.startswith("arrival of drop 1: "))
    found = re.search(r"([-+][\d.]+) µs\D+100 shots \(95 %: ([-+][\d.]+) to ([-+][\d.]+)\)", text)
    assert found is not None, text
    slope, low, high = map(float, found.groups())
    fitted = stats.linregress(range(len(arrival.values_s)), arrival.values_s)
    half = stats.t.ppf(0.975, len(arrival.values_s) - 2) * fitted.stderr
    assert slope == pytest.approx(1e8 * fitted.slope, abs=0.051)
    assert (low, high) == pytest.approx(
        (1e8 * (fitted.slope - half), 1e8 * (fitted.slope + half)), abs=0.051
    )


def test_only_a_series_that_lasts_says_what_an_hour_does(odd: Assessment) -> None:
    arrival = odd.quantities[0]
    assert arrival.by_time is not None and arrival.lasts_s < 600.0 and arrival.trend_by_hour is None
    assert replace(arrival, lasts_s=600.0).trend_by_hour == arrival.by_time
    assert not any("hour" in one for one in list_drifts(odd))


def test_the_command_does_not_call_red_points_nothing(
    odd: Assessment, capsys: pytest.CaptureFixture[str]
) -> None:
    quiet = dataclasses.replace(odd, findings=())
    _print(quiet)
    said = capsys.readouterr().out
    assert list_outside(quiet) and say_steady(quiet) in said
    assert re.search(r"arrival of drop 1: .*shot 7\b", said) and BY_CHANCE in said
    assert re.search(r"\d to [\d.]+ µs", said), "the interval has its unit"
    assert say_timing("simulated") in said


def say_flash_timing(page: str) -> str:
    """What the report says of how its flashes were timed, behind their number."""
    found = re.search(r"\(\d+ flashes, ([^)]*)\)", page)
    assert found is not None
    return found[1]


@pytest.mark.full
def test_the_report_names_points_gives_slopes_and_says_what_is_simulated(
    log: ShotLog, fire_series: Fire, tmp_path: Path
) -> None:
    write_report(log, fire_series(log, 30, change=one_late), tmp_path / "report")
    page = html.unescape((tmp_path / "report" / "index.html").read_text("utf-8"))
    assert re.search(r"arrival of drop 1: .*shot 7\b", page)
    assert "control.png" in page and 'class="good"' not in page
    assert re.search(r"100 shots \(95 %: [-+][\d.]+ to [-+][\d.]+\)", page)
    assert re.search(r"<td>[\d.]+ to [\d.]+ µs</td>", page)
    assert "simulated" in say_flash_timing(page)
    for plot in re.findall(r'<img src="(\w+\.png)"', page):
        assert f'<a href="{plot}"' in page, "each plot opens by itself, large"


@pytest.mark.full
def test_a_boards_own_timing_is_said_to_be_its_own(
    log: ShotLog, fire_series: Fire, tmp_path: Path
) -> None:
    series = fire_series(log, 6)
    change_rows(log, "board", timing="hardware")  # as of a real board
    for line in log.list_shots(limit=None):
        change_shot(log, line.shot, timing="hardware")
    write_report(log, series, tmp_path / "report")
    page = (tmp_path / "report" / "index.html").read_text("utf-8")
    assert "board" in say_flash_timing(page) and "simulated" not in say_flash_timing(page)
