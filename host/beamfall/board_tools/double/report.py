"""The report of a run against the double: figures as JSON, distributions as a picture."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from beamfall.files import explain_write, write_together

if TYPE_CHECKING:
    from beamfall.board_tools.double.bench import Bench
    from beamfall.board_tools.double.clocks import ClockRatio
    from beamfall.board_tools.double.run import BenchRun
    from beamfall.board_tools.double.self_test import SelfTest

JSON_NAME = "bench_report.json"
PNG_NAME = "bench_report.png"


def write_report(
    folder: Path,
    bench: Bench,
    wires: SelfTest,
    run: BenchRun,
    ratio_after: ClockRatio,
    *,
    made_at: str | None = None,
) -> tuple[Path, Path]:
    """Write both files into `folder`, which is made if necessary; return their paths.

    Raises FileWriteError; both files are then as they were.
    """
    content = {
        "made_at": made_at or datetime.now(UTC).isoformat(timespec="seconds"),
        "simulated": bench.controller.info.timing.name == "simulated",
        "controller": _describe(bench.controller.info),
        "double": _describe(bench.double.info),
        "wires": {finding.wire.name: finding.fault or "ok" for finding in wires.findings},
        "clock_ratio_after": ratio_after.to_dict(),
        **run.to_dict(),
    }
    with explain_write(folder):
        folder.mkdir(parents=True, exist_ok=True)
    text, picture = folder / JSON_NAME, folder / PNG_NAME
    with write_together() as begin:
        begin(text).write_text(json.dumps(content, indent=2) + "\n", encoding="utf-8")
        draw_report(begin(picture), content)
    return text, picture


def _describe(info: Any) -> dict[str, Any]:
    return {
        "name": info.name,
        "unique_id": info.unique_id.hex(),
        "clock_hz": info.clock_hz,
        "timing": info.timing.name,
        "stamp_ticks": info.stamp_ticks,
    }


def draw_report(path: Path, content: dict[str, Any]) -> None:
    """Draw a histogram for each kind of error, in nanoseconds."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    errors = content["errors"]
    columns = 2
    lines = max(1, -(-len(errors) // columns))
    figure = Figure(figsize=(9.0, 1.0 + 2.3 * lines), layout="constrained")
    FigureCanvasAgg(figure)
    ratio = content["clock_ratio"]
    figure.suptitle(
        f"{content['controller']['name']}, measured by {content['double']['name']}\n"
        f"double's clock {ratio['ppm']:+.3f} ± {ratio['uncertainty_ppm']:.3f} ppm"
        + (
            ", simulated: says nothing about the timing of real hardware"
            if content["simulated"]
            else ""
        ),
        fontsize=9,
    )
    for number, (name, found) in enumerate(errors.items(), 1):
        axes = figure.add_subplot(lines, columns, number)
        axes.hist([1e9 * error for error in found["errors_s"]], bins=25, color="0.35")
        axes.set_title(f"{name}: n = {found['count']}", fontsize=9)
        axes.set_xlabel("error, ns", fontsize=8)
        axes.set_ylabel("count", fontsize=8)
        axes.tick_params(labelsize=8)
    figure.savefig(path, dpi=110)
