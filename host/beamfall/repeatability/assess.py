"""What a series shows about its rig: scatter, trends, charts, and findings in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from beamfall.errors import BeamfallError
from beamfall.physics.fall import fall
from beamfall.planning.setting import compute_drop, make_setting
from beamfall.repeatability.formulas import (
    EwmaChart,
    IndividualsChart,
    Spread,
    Trend,
    chart_ewma,
    chart_individuals,
    fit_trend,
    measure_spread,
)
from beamfall.repeatability.read import SeriesData
from beamfall.shots.record import rebuild_rig

SURE_P = 0.001  # a trend that chance makes less often than this counts (our choice)
RUN = 5  # EWMA values in a row beyond the limits that make a drift (our choice)
_FAR = 5.0  # standard deviations: one such value is worth a word
LEAST_SHOTS = 8  # fewer say nothing about trends (our choice)
# A smaller drop is later, too: it comes free higher and darkens the beam later. Per µs that the dwell
# is shorter by, up to so many µs of arrival are its doing (simulated rigs of the example: 0.8 to 1.5).
_LATER_PER_DWELL = 1.6
_LEAST_FOR_HOURS_S = 600.0  # our choice: half a minute's drift says nothing about an hour


@dataclass(frozen=True)
class Quantity:
    """One thing that is measured in each shot, in s. `scene_mm` is its scatter as a path in the picture's plane."""

    name: str  # arrival, dwell, spacing
    of: str  # drop 1; drops 1-2
    shots: tuple[int, ...]
    values_s: tuple[float, ...]
    spread: Spread | None
    scene_mm: float | None
    by_shot: Trend | None  # per shot
    by_time: Trend | None  # per second
    individuals: IndividualsChart | None
    ewma: EwmaChart | None
    lasts_s: float = 0.0  # from the first shot to the last

    @property
    def trend_by_hour(self) -> Trend | None:
        """`by_time` of a series that is long enough to say something about an hour."""
        return self.by_time if self.lasts_s >= _LEAST_FOR_HOURS_S else None

    def to_json(self) -> dict[str, Any]:
        """Plain values; times in µs."""

        def micros(seconds: float) -> float:
            return round(seconds * 1e6, 4)

        content: dict[str, Any] = {"name": self.name, "of": self.of, "shots": len(self.shots)}
        if self.spread is not None:
            content |= {
                "mean_us": micros(self.spread.mean),
                "scatter_us": micros(self.spread.deviation),
                "scatter_95_us": [micros(self.spread.low), micros(self.spread.high)],
                "scatter_scene_mm": None if self.scene_mm is None else round(self.scene_mm, 5),
            }
        if self.by_shot is not None and self.by_time is not None:
            content |= {
                "trend_us_per_100_shots": micros(100.0 * self.by_shot.slope),
                "trend_95_us_per_100_shots": [micros(100.0 * x) for x in self.by_shot.interval()],
                "trend_us_per_hour": micros(3600.0 * self.by_time.slope),
                "trend_95_us_per_hour": [micros(3600.0 * x) for x in self.by_time.interval()],
                "trend_change_us": micros(self.by_shot.change),
                "trend_p": self.by_shot.p,
            }
        if self.individuals is not None and self.ewma is not None:
            content["chart"] = {
                "centre_us": micros(self.individuals.centre),
                "limits_us": [micros(self.individuals.lower), micros(self.individuals.upper)],
                "outside_shots": [self.shots[n] for n in self.individuals.outside],
                "range_limit_us": micros(self.individuals.upper_range),
                "range_outside_shots": [self.shots[n] for n in self.individuals.ranges_outside],
                "ewma_outside_shots": [self.shots[n] for n in self.ewma.outside],
            }
        return content


@dataclass(frozen=True, slots=True)
class Finding:
    """Something that a photographer should know: `name` for programs, `text` with the cure for people."""

    name: str
    text: str
    shots: tuple[int, ...] = ()


@dataclass(frozen=True)
class Assessment:
    """The complete result. The speed is that of the rig's nominal drop; None if not known."""

    data: SeriesData
    quantities: tuple[Quantity, ...]
    findings: tuple[Finding, ...]
    flash: Spread | None  # flash contact: measured minus planned
    flash_worst_s: float
    impact_speed_m_s: float | None
    magnification: float | None

    def to_json(self) -> dict[str, Any]:
        """Plain values; times in µs."""
        data, flash = self.data, self.flash
        return {
            "series": data.series,
            "kind": data.kind,
            "beam": data.beam,
            "shots": data.shots,
            "impact_speed_m_s": self.impact_speed_m_s,
            "magnification": self.magnification,
            "quantities": [one.to_json() for one in self.quantities],
            "missing": [len(shots) for shots in data.missing],
            "satellites": len(data.satellites),
            "extra": len(data.extra),
            "flash": {
                "timing": data.timing,
                "stamped": data.flash_stamped,
                "tick_us": 1e6 / data.clock_hz,
                "count": len(data.flash_errors_s),
                "scatter_us": None if flash is None else round(flash.deviation * 1e6, 4),
                "mean_us": None if flash is None else round(flash.mean * 1e6, 4),
                "worst_us": round(self.flash_worst_s * 1e6, 4),
                "rows_late": data.rows_late,
                "worst_late_us": round(data.worst_late_s * 1e6, 4),
                "edges_lost": data.edges_lost,
            },
            "findings": [
                {"name": one.name, "text": one.text, "shots": list(one.shots)}
                for one in self.findings
            ],
        }


@dataclass
class _Speeds:
    impact: float | None = None
    beam: float | None = None
    magnification: float | None = None


def assess_series(data: SeriesData) -> Assessment:
    """Work out scatter, trends, charts and findings of a series."""
    speeds = _find_speeds(data)
    quantities: list[Quantity] = []
    for number, drops in enumerate(data.drops, 1):
        shots = [(drop.shot, drop.begun_s) for drop in drops]
        arrivals = [drop.arrival_s for drop in drops]
        quantities.append(
            measure_quantity("arrival", f"drop {number}", shots, arrivals, speeds.impact)
        )
        whole = [drop for drop in drops if drop.dwell_s is not None]
        quantities.append(
            measure_quantity(
                "dwell",
                f"drop {number}",
                [(drop.shot, drop.begun_s) for drop in whole],
                [drop.dwell_s for drop in whole if drop.dwell_s is not None],
                speeds.beam,
            )
        )
    for number, spacings in enumerate(data.spacings, 1):
        shots = [(one.shot, one.begun_s) for one in spacings]
        values = [one.measured_s - one.commanded_s for one in spacings]
        of = f"drops {number}-{number + 1}"
        quantities.append(measure_quantity("spacing", of, shots, values, speeds.impact))
    errors = data.flash_errors_s
    return Assessment(
        data=data,
        quantities=tuple(quantities),
        findings=tuple(_find(data, {(one.name, one.of): one for one in quantities})),
        flash=measure_spread(errors),
        flash_worst_s=max((abs(error) for error in errors), default=0.0),
        impact_speed_m_s=speeds.impact,
        magnification=speeds.magnification,
    )


def measure_quantity(
    name: str,
    of: str,
    shots: Sequence[tuple[int, float]],
    values: Sequence[float],
    speed: float | None,
) -> Quantity:
    """Work out one quantity from shots with their times in s, and values in s; `speed` in m/s makes paths of times."""
    spread = measure_spread(values)
    individuals = ewma = None
    if len(values) >= 2:
        individuals = chart_individuals(values)
        ewma = chart_ewma(values, individuals.centre, individuals.sigma)
    times = [begun for _, begun in shots]
    return Quantity(
        name=name,
        of=of,
        shots=tuple(shot for shot, _ in shots),
        values_s=tuple(values),
        spread=spread,
        scene_mm=None if spread is None or speed is None else 1e3 * speed * spread.deviation,
        by_shot=fit_trend(range(len(values)), values),
        by_time=fit_trend(times, values),
        individuals=individuals,
        ewma=ewma,
        lasts_s=max(times, default=0.0) - min(times, default=0.0),
    )


def _find_speeds(data: SeriesData) -> _Speeds:
    """How fast the rig's nominal drop is at the beam and at the surface, to convert times into distances."""
    if data.rig is None:
        return _Speeds()

    rig = rebuild_rig(data.rig, f"the rig of series {data.series}")
    found = _Speeds(magnification=None if rig.camera is None else rig.camera.magnification)
    beam = next((one for one in rig.beams if one.input == data.beam), None)
    try:
        setting = make_setting(rig, rig.valves[0].output)
        diameter = compute_drop(rig.valves[0], setting)

        def speed_after(distance_m: float) -> float:
            return fall(distance_m, diameter, setting.conditions).speed_m_s

        found.impact = speed_after(rig.valves[0].height_m)
        if beam is not None:
            found.beam = speed_after(rig.valves[0].height_m - beam.height_m)
    except BeamfallError:
        pass  # a rig beyond the physics has scatter in µs all the same
    return found


@dataclass
class _Findings:
    found: list[Finding] = field(default_factory=list)

    def add(self, name: str, text: str, shots: Sequence[int] = ()) -> None:
        self.found.append(Finding(name, text, tuple(dict.fromkeys(shots))))


def _find(data: SeriesData, quantities: dict[tuple[str, str], Quantity]) -> list[Finding]:
    out = _Findings()
    for number, missing in enumerate(data.missing, 1):
        if missing:
            out.add(
                "missing-drops",
                f"drop {number} did not cross the beam in {len(missing)} of {data.shots} shots: "
                "air in the valve, an opening too short, or the beam off the fall line",
                missing,
            )
    if data.satellites:
        out.add(
            "satellites",
            f"{len(data.satellites)} short shadows beside the drops in {data.shots} shots: "
            "satellites; a slower start (less head) or another nozzle makes fewer, and `blanking` "
            "keeps them from counting",
            data.satellites,
        )
    if data.extra:
        out.add(
            "extra-drops",
            f"{len(data.extra)} more drops than were released: the valve drips after closing, or "
            "one opening releases two drops",
            data.extra,
        )
    heads: list[str] = []
    warm: list[str] = []
    for number in range(1, len(data.drops) + 1):
        of = f"drop {number}"
        arrival, dwell = quantities["arrival", of], quantities["dwell", of]
        explained = _judge_drop(of, arrival, dwell, heads, warm)
        if not explained:
            _judge_drift(of, arrival, out)
            if dwell.by_shot is not None and dwell.by_shot.change > 0.0:
                _judge_drift(of, dwell, out)
    if heads:
        out.add(
            "falling-head",
            f"the drops grow smaller: {'; '.join(heads)}. The head is falling: is the air inlet of the "
            "Mariotte bottle still below the liquid's level, and the bottle's cap tight?",
        )
    if warm:
        out.add(
            "warming-valve",
            f"the drops come later but are as large as before: {'; '.join(warm)}. The valve's coil "
            "is warming up: fire a few shots before the ones that count, or lower its current or rate",
        )
    for (name, of), one in quantities.items():
        chart = one.individuals
        if chart is None:
            continue
        # 3 values in 1000 lie outside by chance alone; say so only where there are more, or one far off.
        far = any(abs(one.values_s[n] - chart.centre) > _FAR * chart.sigma for n in chart.outside)
        if far or len(chart.outside) > max(2, 0.01 * len(one.shots)):
            out.add(
                "outside-limits",
                f"{name} of {of}: {len(chart.outside)} of {len(one.shots)} values beyond the control limits",
                [one.shots[n] for n in chart.outside],
            )
    if data.rows_late:
        out.add(
            "late-rows",
            f"the board was late with {data.rows_late} rows, the worst by "
            f"{data.worst_late_s * 1e6:.1f} µs",
        )
    if data.edges_lost:
        out.add(
            "lost-edges", f"the board lost {data.edges_lost} edges: it saw more than it could keep"
        )
    return out.found


def _judge_drop(
    of: str, arrival: Quantity, dwell: Quantity, heads: list[str], warm: list[str]
) -> bool:
    """Falling head and warming valve from the trends of arrival and dwell; True if one explains them."""
    later, shorter = arrival.by_shot, dwell.by_shot
    if later is None or shorter is None or len(arrival.shots) < LEAST_SHOTS:
        return False
    explained = False
    if shorter.p < SURE_P and shorter.change < 0.0:
        mean = dwell.spread.mean if dwell.spread is not None else 0.0
        heads.append(
            f"{of}'s dwell fell by {-shorter.change * 1e6:.0f} µs "
            f"({-100.0 * shorter.change / mean:.1f} %) over the series"
        )
        explained = True
    by_size = _LATER_PER_DWELL * max(0.0, -shorter.change)
    rest = later.change - by_size
    if later.p < SURE_P and rest > 3.3 * later.change_error:
        warm.append(f"{of} later by {later.change * 1e6:.0f} µs over the series")
        explained = True
    return explained


def _judge_drift(of: str, quantity: Quantity, out: _Findings) -> None:
    trend, ewma = quantity.by_shot, quantity.ewma
    if trend is None or ewma is None or len(quantity.shots) < LEAST_SHOTS:
        return
    run = _longest_run(ewma.outside)
    if trend.p < SURE_P:
        way = "later" if trend.change > 0.0 else "earlier"
        if quantity.name == "dwell":
            way = "longer" if trend.change > 0.0 else "shorter"
        out.add(
            "drift",
            f"{quantity.name} of {of} drifts: {abs(trend.change) * 1e6:.0f} µs {way} over the series "
            f"(by chance this happens in {trend.p:.1g} of series)",
        )
    elif len(run) >= RUN:
        out.add(
            "drift",
            f"{quantity.name} of {of} wandered: its moving average was beyond its limits for "
            f"{len(run)} shots in a row",
            [quantity.shots[n] for n in run],
        )


def _longest_run(indices: Sequence[int]) -> list[int]:
    best: list[int] = []
    run: list[int] = []
    for index in indices:
        run = [*run, index] if run and index == run[-1] + 1 else [index]
        if len(run) > len(best):
            best = run
    return best
