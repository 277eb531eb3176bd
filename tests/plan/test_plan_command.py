"""`beamfall plan` as people and programs use it."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from beamfall.setup.rig import EXAMPLE

from .conftest import make_rig


@pytest.fixture
def environment(tmp_path: Path) -> dict[str, str]:
    return dict(os.environ, BEAMFALL_LOG=str(tmp_path / "shots.sqlite3"))


def run(environment, *arguments: str, status: int = 0) -> subprocess.CompletedProcess[str]:
    done = subprocess.run(
        [sys.executable, "-m", "beamfall", "plan", *arguments],
        capture_output=True, text=True, env=environment, timeout=120,
    )  # fmt: skip
    assert done.returncode == status, done.stdout + done.stderr
    assert "Traceback" not in done.stderr
    return done


def write_rig(tmp_path: Path, *changes: tuple[str, str]) -> str:
    content = EXAMPLE.read_text(encoding="utf-8")
    for old, new in changes:
        assert old in content
        content = content.replace(old, new, 1)
    file = tmp_path / "rig.toml"
    file.write_text(content, encoding="utf-8")
    return str(file)


def test_one_object_with_every_time_as_an_interval(environment, tmp_path) -> None:
    rig = write_rig(
        tmp_path, ('height = "60 cm"', 'height = "61 cm"'), ('height = "47 cm"', 'height = "48 cm"')
    )
    (line,) = run(environment, rig, "--json").stdout.splitlines()
    plan = json.loads(line)
    for name in ("nozzle_to_beam", "beam_to_surface", "jet_onset", "spacing", "flash_delay"):
        assert set(plan[name]) == {"p5", "p50", "p95"}
    # common practice, no source: 280 ms after the first edge
    assert plan["flash_after_first_edge"]["p5"] < 280 < plan["flash_after_first_edge"]["p95"]
    assert plan["anchor"] == {"beam": "beam1", "edge": "dark", "count": 2}


def test_in_words_with_a_picture(environment, tmp_path) -> None:
    picture = tmp_path / "plan.png"
    rig = write_rig(tmp_path, ('recycle = "1.5 s"', 'recycle = "9 s"'))
    said = run(environment, rig, "--plot", str(picture)).stdout
    for words in (
        "flash follows",
        "scatter of the picture",
        "It rests on this",
        "Warning: flash1 takes 9 s to recycle",
    ):
        assert words in said
    assert picture.read_bytes().startswith(b"\x89PNG")


def test_the_picture_draws_drops_beam_surface_jet_and_light(tmp_path, monkeypatch) -> None:
    from matplotlib.figure import Figure

    from beamfall.planning.make import make_plan
    from beamfall.plot.plan import draw_plan

    drawn: dict[str, object] = {}

    def spy(self: Figure, path: object, **_: object) -> None:
        drawn["axes"] = self.axes
        drawn["legend"] = [text.get_text() for text in self.legends[0].get_texts()]

    monkeypatch.setattr(Figure, "savefig", spy)
    plan = make_plan(make_rig(), traced=True)
    draw_plan(plan, tmp_path / "x.png")
    legend = drawn["legend"]
    assert isinstance(legend, list)
    for words in ("drop 1", "drop 2", "jet", "light", "beam1"):
        assert any(words in line for line in legend)
    axes = drawn["axes"]
    assert isinstance(axes, list)
    curves = {line.get_label(): line for line in axes[0].get_lines()}
    first = curves["drop 1, lowest point"]
    assert first.get_ydata()[-1] == pytest.approx(0.0, abs=1e-9)
    # drop 1 strikes where valve latency, fall to the beam and from it add up
    total = (
        22
        + plan.intervals["nozzle_to_beam"].p50 * 1e3
        + plan.intervals["beam_to_surface"].p50 * 1e3
    )
    assert first.get_xdata()[-1] == pytest.approx(total, abs=1.0)


def test_the_stage_moves_the_flash_by_itself(environment) -> None:
    early = json.loads(run(environment, "--json", "--stage", "0 ms").stdout)
    late = json.loads(run(environment, "--json", "--stage", "5 ms").stdout)
    moved = late["planned"]["flash_delay"] - early["planned"]["flash_delay"]
    assert moved == pytest.approx(5.0, abs=1e-3)
    assert early["planned"]["spacing"] == late["planned"]["spacing"]


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ([('height = "47 cm"', 'height = "62 cm"')], "the beam must lie below it"),
        ([('height = "60 cm"', 'height = "60"')], "valve.height = 60 has no unit"),
        ([('bore = "2 mm"', 'bore = "0 mm"')], "valve.bore"),
        ([('bore = "2 mm"', 'bore = "2 km"')], "valve.bore"),
        ([('name = "water"', 'name = "lava"')], "liquid.name = 'lava' is not known"),
        ([('opening = "13 ms"', 'opening = "80 ms"')], "drops of 1 to 5.5 mm take"),
        ([('temperature = "20 degC"', 'temperature = "90 degC"')], "temperature"),
    ],
)
def test_bad_rigs_are_told_key_value_and_range(environment, tmp_path, changes, words) -> None:
    said = run(environment, write_rig(tmp_path, *changes), status=2).stderr
    assert words in said


def test_a_picture_with_an_unknown_ending_is_refused(environment, tmp_path) -> None:
    assert ".png" in run(environment, "--plot", str(tmp_path / "plan.doc"), status=2).stderr
