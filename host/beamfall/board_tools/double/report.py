"""The report of a run against the double: figures as JSON, distributions as a picture."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from beamfall.board_tools.double.bench import Bench
from beamfall.board_tools.double.clocks import ClockRatio
from beamfall.board_tools.double.run import BenchRun
from beamfall.board_tools.double.self_test import SelfTest
from beamfall.board_tools.draw import SIMULATED
from beamfall.files import explain_write, write_together
from beamfall.plot.draw import draw_chart
from beamfall.plot.histogram import describe_histogram
from beamfall.plot.scene import Chart

JSON_NAME = "bench_report.json"
PNG_NAME = "bench_report.png"


def write_report(
    folder: Path,
    bench: Bench,
    wires: SelfTest,
    run: BenchRun,
    ratio_after: ClockRatio,
) -> tuple[Path, Path]:
    """Write both files into `folder`, which is made if necessary; return their paths.

    Raises FileWriteError; both files are then as they were.
    """
    content = {
        "made_at": datetime.now(UTC).isoformat(timespec="seconds"),
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
    import numpy as np

    panels = []
    for name, found in content["errors"].items():
        errors = [1e9 * error for error in found["errors_s"]]
        bins = np.histogram_bin_edges(errors, 25).tolist()
        title = f"{name}: n = {found['count']}"
        panels.append(describe_histogram(title, "error, ns", bins, [("dot", "", errors)]))
    ratio = content["clock_ratio"]
    title = (
        f"{content['controller']['name']}, measured by {content['double']['name']}: "
        f"double's clock {ratio['ppm']:+.3f} ± {ratio['uncertainty_ppm']:.3f} ppm"
    )
    rows = tuple(tuple(panels[n : n + 2]) for n in range(0, len(panels), 2))
    draw_chart(Chart(title, rows, SIMULATED if content["simulated"] else ""), path)
