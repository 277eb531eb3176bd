"""Control charts against published figures, statistics against handbooks and statsmodels, findings against truth."""

from __future__ import annotations

import dataclasses
import json
import math
import random
import re
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from changed_log import add_edges

from beamfall.cli import main
from beamfall.errors import NoSuchShot
from beamfall.repeatability import assess_series, read_series
from beamfall.repeatability.assess import measure_quantity
from beamfall.repeatability.formulas import (
    D2,
    D4,
    chart_ewma,
    chart_individuals,
    chi_square_quantile,
    fit_trend,
    measure_spread,
    student_quantile,
    student_tail,
)
from beamfall.repeatability.words import TOO_FEW, is_steady, say_plainly, say_steady
from beamfall.shots import EdgeRecord, ShotLog
from beamfall.sim.model import ValveModel

Fire = Callable[..., int]

# NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2: flow rates of ten batches, and what the
# handbook makes of them.
FLOW = (49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1)
# 6.3.2.4: twenty values watched with λ = 0.3, EWMA_0 = 50, s = 2.0539; limits 47.4115 and 52.5884.
WATCHED = (
    52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5,
    49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1,
)  # fmt: skip
AVERAGES = (
    50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33,
    50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99,
)  # fmt: skip


def test_individuals_chart_of_the_handbook() -> None:
    chart = chart_individuals(FLOW)
    assert chart.centre == pytest.approx(50.81, abs=5e-5)
    assert chart.mean_range == pytest.approx(1.8778, abs=5e-5)
    assert chart.upper == pytest.approx(55.8041, abs=1e-4)
    assert chart.lower == pytest.approx(45.8159, abs=1e-4)
    assert chart.outside == ()


def test_ewma_chart_of_the_handbook() -> None:
    chart = chart_ewma(WATCHED, 50.0, 2.0539, weight=0.3)
    # The handbook prints two decimals and rounds on the way.
    assert chart.values == pytest.approx(AVERAGES, abs=0.011)
    assert 50.0 + chart.half_widths[-1] == pytest.approx(52.5884, abs=0.002)
    assert 50.0 - chart.half_widths[-1] == pytest.approx(47.4115, abs=0.002)
    assert chart.outside == ()


def test_first_limits_of_the_ewma_are_those_of_one_value() -> None:
    chart = chart_ewma([0.0, 0.0], 0.0, 1.0, weight=0.2)
    assert chart.half_widths[0] == pytest.approx(3.0 * 0.2)


def test_constants_are_the_range_of_two_normal_values() -> None:
    # d2 = 2/√π; D4 = 1 + 3·d3/d2 with d3 = √(2 − 4/π), as for the range of two.
    assert pytest.approx(2.0 / math.sqrt(math.pi), abs=5e-4) == D2
    assert pytest.approx(1.0 + 3.0 * math.sqrt(2.0 - 4.0 / math.pi) / D2, abs=2e-3) == D4


# NIST/SEMATECH e-Handbook, 1.3.6.7.4 (chi-square) and 1.3.6.7.2 (Student's t), from memory.
@pytest.mark.parametrize(
    ("p", "freedom", "value"),
    [
        (0.95, 1, 3.841),
        (0.975, 10, 20.483),
        (0.025, 10, 3.247),
        (0.975, 100, 129.561),
        (0.025, 2, 0.051),
    ],
)
def test_chi_square_as_the_handbook_prints(p: float, freedom: int, value: float) -> None:
    assert chi_square_quantile(p, freedom) == pytest.approx(value, abs=6e-4)


@pytest.mark.parametrize(
    ("freedom", "value"), [(1, 12.706), (10, 2.228), (30, 2.042), (100, 1.984)]
)
def test_student_as_the_handbook_prints(freedom: int, value: float) -> None:
    assert student_quantile(0.975, freedom) == pytest.approx(value, abs=6e-4)
    assert student_tail(-value, freedom) == pytest.approx(0.05, rel=1e-3)


@pytest.mark.full
def test_trend_as_statsmodels() -> None:
    from statsmodels import api

    draws = np.random.default_rng(4)
    x = np.sort(draws.uniform(0.0, 600.0, 40))
    y = 0.17 + 2e-8 * x + 4e-6 * draws.standard_normal(40)
    fit = api.OLS(y, api.add_constant(x)).fit()
    trend = fit_trend(list(x), list(y))
    assert trend is not None
    assert trend.slope == pytest.approx(fit.params[1], rel=1e-9)
    assert trend.slope_error == pytest.approx(fit.bse[1], rel=1e-9)
    assert trend.p == pytest.approx(fit.pvalues[1], rel=1e-7)


def test_interval_of_the_scatter_holds_the_truth_as_often_as_it_says() -> None:
    draws = random.Random(8)
    held = 0
    for _ in range(1000):
        spread = measure_spread([draws.gauss(3.0, 0.7) for _ in range(12)])
        assert spread is not None
        held += spread.low <= 0.7 <= spread.high
    assert 930 <= held <= 968  # 950 ± 2.6 standard deviations


def names(log: ShotLog, series: int) -> set[str]:
    return {finding.name for finding in assess_series(read_series(log, series)).findings}


@pytest.mark.full
def test_scatter_is_that_of_the_simulated_rig(log: ShotLog, fire_series: Fire) -> None:
    """200 µs of latency in the example rig file, drawn within about 30 % for this seed's rig."""

    def settle(valve: ValveModel, number: int) -> ValveModel:
        return dataclasses.replace(valve, latency_scatter_s=150e-6, volume_scatter=0.0)

    found = assess_series(read_series(log, fire_series(log, 150, change=settle)))
    by_name = {(one.name, one.of): one for one in found.quantities}
    for drop in ("drop 1", "drop 2"):
        spread = by_name["arrival", drop].spread
        assert spread is not None
        assert spread.low < 150e-6 < spread.high
    spacing = by_name["spacing", "drops 1-2"].spread
    assert spacing is not None
    assert spacing.deviation == pytest.approx(150e-6 * math.sqrt(2.0), rel=0.15)
    # Millimetres: at the speed of the nominal drop at the surface, about √(2·g·0.6 m) less drag.
    scene = by_name["arrival", "drop 1"].scene_mm
    deviation = by_name["arrival", "drop 1"].spread
    assert scene is not None and deviation is not None
    assert scene / (1e3 * deviation.deviation) == pytest.approx(3.3, abs=0.1)
    assert found.flash is not None and found.flash.deviation < 1e-8


@pytest.mark.full
def test_a_steady_rig_is_called_steady(log: ShotLog, fire_series: Fire) -> None:
    for seed in range(6):
        assert names(log, fire_series(log, 60, seed=seed)) <= {"outside-limits"}, seed


@pytest.mark.full
def test_a_falling_head_is_told_from_a_warming_valve(log: ShotLog, fire_series: Fire) -> None:
    def fall(valve: ValveModel, number: int) -> ValveModel:
        # The bottle's inlet is uncovered: 8 % less flow by the end.
        return dataclasses.replace(valve, flow_m3_s=valve.flow_m3_s * (1.0 - 0.08 * number / 60))

    def warm(valve: ValveModel, number: int) -> ValveModel:
        late = 0.8e-3 * (1.0 - math.exp(-number / 20))
        return dataclasses.replace(valve, latency_s=valve.latency_s + late)

    def jump(valve: ValveModel, number: int) -> ValveModel:
        return dataclasses.replace(
            valve, latency_s=valve.latency_s - (5e-4 if number > 30 else 0.0)
        )

    for seed in (1, 2, 3):
        falling = names(log, fire_series(log, 60, seed=seed, change=fall))
        assert "falling-head" in falling and "warming-valve" not in falling, seed
        warming = names(log, fire_series(log, 60, seed=seed, change=warm))
        assert "warming-valve" in warming and "falling-head" not in warming, seed
        jumping = names(log, fire_series(log, 60, seed=seed, change=jump))
        assert "drift" in jumping and not {"falling-head", "warming-valve"} & jumping, seed


def test_the_last_shots_are_said_to_differ_where_they_do() -> None:
    """In words, with the path that the drop falls in the time: 1 ms is 3 mm here."""
    shots = [(number, 60.0 * number) for number in range(1, 31)]
    steady = [0.2 + 1e-5 * (-1) ** number for number, _ in shots]
    later = [
        value + (6e-4 if number > 20 else 0.0)
        for (number, _), value in zip(shots, steady, strict=True)
    ]
    usual = say_plainly(measure_quantity("arrival", "drop 1", shots, steady, 3.0))
    moved = say_plainly(measure_quantity("arrival", "drop 1", shots, later, 3.0))
    spread = r"±\d+\.?\d* mm"
    assert re.search(spread, usual) and not re.search(r"\blast \d+|\b30\b", usual)
    few = say_plainly(measure_quantity("arrival", "drop 1", shots[:5], steady[:5], 3.0))
    assert re.search(rf"{spread}.*\b5 shots\b", few), "few shots say little of the scatter"
    found = re.search(r"last (\d+) .*later\D*([0-9.]+) mm", moved)
    assert found is not None and 7 <= int(found[1]) <= 10
    assert float(found[2]) == pytest.approx(1.8, abs=0.3)
    assert say_plainly(measure_quantity("arrival", "drop 1", shots[:1], [0.2], 3.0)) == TOO_FEW


def test_missing_drops_are_named_with_their_shots(log: ShotLog, fire_series: Fire) -> None:
    def starve(valve: ValveModel, number: int) -> ValveModel:
        return dataclasses.replace(valve, flow_m3_s=0.0) if number in (4, 9) else valve

    series = fire_series(log, 20, change=starve)
    found = assess_series(read_series(log, series))
    missing = [one for one in found.findings if one.name == "missing-drops"]
    first = log.list_shots(limit=None, series=series)[0].shot
    assert {finding.shots for finding in missing} == {(first + 4, first + 9)}
    assert len(missing) == 2  # drop 1 and drop 2
    by_name = {(one.name, one.of): one for one in found.quantities}
    assert len(by_name["arrival", "drop 2"].shots) == 18


def test_a_satellite_is_a_short_shadow_and_no_drop(log: ShotLog, fire_series: Fire) -> None:
    series = fire_series(log, 15)
    shot = log.list_shots(limit=None, series=series)[7].shot
    record = log.read_shot(shot).record
    dark = next(edge for edge in record.edges if edge.what == "beam1" and edge.edge == "clear")
    assert dark.ticks is not None
    # 12 ms behind the first drop: 0.4 ms of shadow.
    add_edges(
        log,
        shot,
        EdgeRecord("beam1", "dark", None, dark.ticks + 1_500_000, "stamped"),
        EdgeRecord("beam1", "clear", None, dark.ticks + 1_550_000, "stamped"),
    )
    found = assess_series(read_series(log, series))
    assert [one.shots for one in found.findings if one.name == "satellites"] == [(shot,)]
    assert found.data.missing == [[], []] and found.data.extra == []


def test_a_series_that_is_not_there(log: ShotLog) -> None:
    with pytest.raises(NoSuchShot, match="series 7"):
        read_series(log, 7)


def test_json_and_charts(log: ShotLog, fire_series: Fire, tmp_path: Path) -> None:
    from beamfall.plot.control import describe_control
    from beamfall.plot.draw import draw_chart
    from beamfall.plot.scene import Dots, Stems

    found = assess_series(read_series(log, fire_series(log, 12)))
    content = json.loads(json.dumps(found.to_json()))
    arrival = content["quantities"][0]
    assert arrival["name"] == "arrival" and arrival["scatter_us"] > 0.0
    file = tmp_path / "charts.png"
    draw_chart(describe_control(found), file)
    assert file.read_bytes().startswith(b"\x89PNG")
    main, side = describe_control(found).panels[0]
    values = found.quantities[0].values_s
    dots = next(shape for shape in main.shapes if isinstance(shape, Dots))
    assert dots.xs == tuple(map(float, found.quantities[0].shots))
    assert dots.ys[0] == pytest.approx(1e6 * (values[0] - sum(values) / len(values)), abs=1e-3)
    stems = next(shape for shape in side.shapes if isinstance(shape, Stems))
    assert stems.tops[0] == pytest.approx(1e6 * abs(values[1] - values[0]), abs=1e-3)
    assert (
        len(main.views) == 1
        and main.views[0].y[0] < min(dots.ys) < max(dots.ys) < main.views[0].y[1]
    )


def test_one_shot_is_too_few_to_say_that_nothing_drifts(
    log: ShotLog,
    fire_series: Fire,
    path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Its flash has a planned and a measured time, as `shots show` says."""
    fire_series(log, 1)
    monkeypatch.setenv("BEAMFALL_LOG", str(path))
    assert main(["repeatability"]) == 0
    found = assess_series(read_series(log, 1))
    assert not is_steady(found)
    assert say_steady(found) in capsys.readouterr().out and re.search(
        r"\b1\b.*\b5\b", say_steady(found)
    )
