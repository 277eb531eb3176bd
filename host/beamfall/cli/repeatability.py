"""`beamfall repeatability`: how much the drops scatter, what drifts, and what the flash adds."""

from __future__ import annotations

from pathlib import Path

import typer

from beamfall.cli.open_log import choose_series, open_log
from beamfall.cli.options import JSON_ALL, SERIES
from beamfall.cli.output import print_json, print_pairs, print_table
from beamfall.cli.targets import DRAWINGS, check_target
from beamfall.plot.control import describe_control
from beamfall.plot.draw import draw_chart
from beamfall.repeatability import Assessment, assess_series, read_series
from beamfall.repeatability.assess import Quantity
from beamfall.repeatability.words import (
    BY_CHANCE,
    list_drifts,
    list_outside,
    list_spread,
    say_steady,
    say_timing,
)
from beamfall.text import list_first, show_text


def repeatability(
    series: int | None = SERIES,
    beam: str | None = typer.Option(
        None, help="beam1 or beam2; default: the one the flash follows."
    ),
    plot: Path | None = typer.Option(None, help="Draw the control charts (PNG)."),
    as_json: bool = JSON_ALL,
) -> None:
    """Show how much a series scatters and whether it drifts.

    Scatter is in µs and in mm of the scene. Arrival is the time from the valve's opening to the beam;
    spacing is how far the measured spacing is from the planned one.
    """
    check_target(plot, "--plot", DRAWINGS)
    with open_log() as log:
        data = read_series(log, choose_series(log, series), beam)
    assessment = assess_series(data)
    if plot is not None:
        draw_chart(describe_control(assessment), plot)
    if as_json:
        print_json(assessment.to_json())
        return
    _print(assessment)
    if plot is not None:
        print(f"\ncontrol charts drawn in {show_text(plot)}")


def _print(assessment: Assessment) -> None:
    data = assessment.data
    speed = assessment.impact_speed_m_s
    shown = "" if speed is None else f"distance a drop falls in the scatter time at {speed:.2f} m/s"
    if speed is not None and assessment.magnification is not None:
        shown += f"; on the sensor {assessment.magnification:g} times as much"
    print_pairs(
        (
            ("series", f"{data.series} ({data.kind}), {data.shots} shots, seen by {data.beam}"),
            ("rig", str((data.rig or {}).get("name", ""))),
            ("mm", shown),
            ("spacing", "how far the measured spacing is from the planned one"),
        )
    )
    print()
    print_table(
        ("what", "shots", "mean", "scatter", "95 % interval", "mm", "per 100 shots", "per hour"),
        [_describe(one) for one in assessment.quantities],
        numeric=("shots", "mean", "scatter", "mm", "per 100 shots", "per hour"),
    )
    print()
    print(_say_flash(assessment))
    print()
    drifts = list_drifts(assessment)
    if drifts:
        print("drift over the series:")
        for text in drifts:
            print(f"  {text}")
        print()
    outside = list_outside(assessment)
    if not assessment.findings:
        print(say_steady(assessment))
    for finding in assessment.findings:
        print(f"{finding.name}: {finding.text}")
        if finding.shots:
            print(f"  shots {list_first(finding.shots, 12)}")
    if outside:
        print("unusual shots (beyond the control limits):")
        for text in outside:
            print(f"  {text}")
        print(f"  {BY_CHANCE}")


def _describe(one: Quantity) -> tuple[str, ...]:
    name = f"{one.of} {one.name}"
    if one.spread is None:
        return (name, str(len(one.shots)), *["-"] * 6)
    trends = [
        "-" if trend is None else f"{scale * trend.slope:+.{digits}f} µs{_stars(trend.p)}"
        for trend, scale, digits in ((one.by_shot, 1e8, 1), (one.trend_by_hour, 3.6e9, 0))
    ]
    return (
        name,
        str(one.spread.count),
        *list_spread(one.name, one.spread),
        "-" if one.scene_mm is None else f"{one.scene_mm:.3f}",
        *trends,
    )


def _stars(p: float) -> str:
    """Mark a trend that chance alone would make in fewer than one of a thousand series."""
    return " *" if p < 0.001 else "  "


def _say_flash(assessment: Assessment) -> str:
    data, flash = assessment.data, assessment.flash
    if flash is None:
        if not data.flash_errors_s:
            return "flash timing: no flash of this series has both a planned and a measured time"
        off = f"off by {data.flash_errors_s[0] * 1e6:+.3f} µs"
        return f"flash timing: one flash, {off}; scatter needs at least 2 shots"
    tick_us = 1e6 / data.clock_hz
    if not data.flash_stamped:
        text = "flash timing: the board did not measure it, so its scatter is unknown"
    else:
        size = (
            f"below one tick ({tick_us:.3g} µs)" if flash.deviation < 0.5e-6 * tick_us
            else f"{flash.deviation * 1e6:.3f} µs"
        )  # fmt: skip
        text = (
            f"flash timing ({say_timing(data.timing)}): scatter {size}, "
            f"largest error of {flash.count} flashes {assessment.flash_worst_s * 1e6:.3f} µs"
        )
    last = [
        one for one in assessment.quantities if one.name == "arrival" and one.spread is not None
    ]
    spread = last[-1].spread if last else None
    if spread is not None and data.flash_stamped:
        ratio = spread.deviation / max(flash.deviation, 1e-6 * tick_us)
        size = (
            f"by {ratio:.0f} ticks"
            if flash.deviation < 1e-6 * tick_us
            else f"{ratio:.0f} times as much"
        )
        text += f"; the drops scatter {size}" if ratio >= 2.0 else ""
    return text
