"""A sweep takes every value once a round, changes one timing only, and goes on after a kill."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import pytest
from command_line import run_checked, run_cli

from beamfall.errors import UserError, WrongValue
from beamfall.planning.collision import plan_collision
from beamfall.planning.sweep.progress import Entry, list_open
from beamfall.planning.sweep.schedule import Sweep
from beamfall.setup.rig import example_rig
from beamfall.setup.sequence_file import sequence_to_file
from beamfall.setup.toml_write import write_toml

BASE = plan_collision(example_rig()).sequence


def sweep_of(**changes) -> Sweep:
    values = {"of": "flash", "first_s": 0.180, "last_s": 0.190, "step_s": 0.002, "base": BASE}
    return Sweep(**{**values, **changes})


@pytest.mark.parametrize("kept", ["no beam", "release", "edge 1"])
def test_a_flash_that_does_not_follow_drop_2_moves_with_its_opening(kept: str) -> None:
    """Move by as much as the collision does."""
    rig = example_rig()
    rig = {
        "no beam": replace(rig, beams=()),
        "release": rig.with_aim(anchor="release"),
        "edge 1": rig.with_aim(anchor="beam1", anchor_count=1),
    }[kept]
    base = plan_collision(rig).sequence
    sweep = Sweep("spacing", 0.09, 0.12, 0.015, base)
    flashes, seconds = [], []
    for value in sweep.values_s:
        rows = sweep.build(value).rows
        first, second = sorted(row.delay_s for row in rows if row.output.startswith("valve"))
        assert second - first == pytest.approx(value)
        seconds.append(second)
        (flash,) = (row for row in rows if row.output == "flash1")
        assert flash.count == (kept == "edge 1")
        flashes.append(flash.delay_s)
        (camera,) = (row for row in rows if row.output == "shutter")
        if kept != "edge 1":
            assert camera.delay_s + camera.width_s > flash.delay_s  # the shutter is still open
    apart = [flash - second for flash, second in zip(flashes, seconds, strict=True)]
    assert apart == pytest.approx([apart[0]] * 3)


def test_a_flash_that_follows_drop_2_stays_at_its_edge() -> None:
    sweep = Sweep("spacing", 0.09, 0.12, 0.015, BASE)
    assert BASE.flash_row().count == 2
    assert {sweep.build(value).flash_row().delay_s for value in sweep.values_s} == {
        BASE.flash_row().delay_s
    }


# -- values and order -------------------------------------------------------------------------------
def test_values_run_from_first_to_last() -> None:
    assert sweep_of().values_s == pytest.approx([0.18, 0.182, 0.184, 0.186, 0.188, 0.19])
    assert sweep_of(last_s=0.1895).values_s[-1] == pytest.approx(0.188)
    assert sweep_of(last_s=0.18).values_s == [0.18]
    # 0.1 + 2 · 0.1 is not 0.3 in floating point, and is met all the same
    assert len(sweep_of(first_s=0.1, last_s=0.3, step_s=0.1).values_s) == 3


def test_in_a_line_interleaved_and_shuffled() -> None:
    def order(**changes) -> list[int]:
        return [round((step.value_s - 0.18) / 0.002) for step in sweep_of(**changes).steps]

    assert order() == [0, 1, 2, 3, 4, 5]
    assert order(order="interleave") == [0, 2, 4, 5, 3, 1]
    mixed = order(order="shuffle", repeat=4, seed=3)
    rounds = [mixed[n : n + 6] for n in range(0, 24, 6)]
    assert all(sorted(one) == [0, 1, 2, 3, 4, 5] for one in rounds)
    assert len({tuple(one) for one in rounds}) > 1
    assert (
        mixed
        == order(order="shuffle", repeat=4, seed=3)
        != order(order="shuffle", repeat=4, seed=4)
    )


def test_interleaving_cancels_an_even_drift() -> None:
    """The drift that a value meets hardly depends on it: slope of position against value."""

    def slope(order: str) -> float:
        steps = sweep_of(last_s=0.22, order=order).steps
        middle = sum(step.value_s for step in steps) / len(steps)
        return sum(step.index * (step.value_s - middle) for step in steps) / sum(
            (step.value_s - middle) ** 2 for step in steps
        )

    assert abs(slope("interleave")) < 0.2 * abs(slope("line"))


@pytest.mark.parametrize(
    ("changes", "of", "found", "low", "high"),
    [
        ({"of": "colour"}, "of", "colour", None, None),
        ({"of": "row9.delay"}, "of", "row9.delay", 1, len(BASE.rows)),
        ({"of": "row1.count"}, "of", "row1.count", None, None),
        ({"order": "random"}, "order", "random", None, None),
        ({"step_s": 0.0}, "step", 0.0, 0.0, None),
        ({"first_s": 0.2}, "to", 0.19, 0.2, None),
        ({"first_s": -0.01}, "from", -0.01, 0.0, None),
        ({"step_s": 1e-6}, "steps", 2001, None, 2000),
        ({"repeat": 0}, "repeat", 0, 1, 100),
    ],
)
def test_what_cannot_be_swept_is_refused(changes, of, found, low, high) -> None:
    with pytest.raises(WrongValue) as caught:
        sweep_of(**changes)
    told = caught.value
    assert (told.of, told.found, told.low, told.high) == (of, found, low, high)
    if (low, high) == (None, None):
        assert found not in told.choices and {"of": "flash", "order": "line"}[of] in told.choices


# -- sequences --------------------------------------------------------------------------------------
def rows(sequence, kind: str) -> list[tuple[float, float]]:
    return [(row.delay_s, row.width_s) for row in sequence.rows if row.output.startswith(kind)]


def test_each_sweep_changes_one_timing() -> None:
    flash = sweep_of().build(0.2)
    assert rows(flash, "flash") == [(0.2, rows(BASE, "flash")[0][1])]
    assert rows(flash, "valve") == rows(BASE, "valve")
    spacing = sweep_of(of="spacing", first_s=0.08, last_s=0.12).build(0.15)
    (first, _), (second, _) = rows(spacing, "valve")
    assert second - first == pytest.approx(0.15)
    assert rows(spacing, "flash") == rows(BASE, "flash")
    opening = sweep_of(of="opening", first_s=0.01, last_s=0.02).build(0.015)
    assert [width for _, width in rows(opening, "valve")] == [0.015, 0.015]
    assert [delay for delay, _ in rows(opening, "valve")] == [d for d, _ in rows(BASE, "valve")]


@pytest.mark.parametrize("field", ["delay_s", "width_s"])
@pytest.mark.parametrize("number", range(1, len(BASE.rows) + 1))
def test_a_value_of_a_row_moves_alone(number: int, field: str) -> None:
    sweep = Sweep(f"row{number}.{field.removesuffix('_s')}", 0.003, 0.004, 0.001, BASE)
    assert Sweep.from_settings(sweep.to_settings()) == sweep
    moved = sweep.build(0.0035)
    assert getattr(moved.rows[number - 1], field) == 0.0035
    old = getattr(BASE.rows[number - 1], field)
    rows = list(moved.rows)
    rows[number - 1] = replace(rows[number - 1], **{field: old})
    assert replace(moved, rows=tuple(rows)) == BASE


@pytest.mark.full
def test_a_sequence_file_is_swept_by_a_row_and_kept_as_a_recipe(tmp_path) -> None:
    file = tmp_path / "shot.toml"
    file.write_text(write_toml(sequence_to_file(BASE)), encoding="utf-8")
    flash = BASE.rows.index(BASE.flash_row()) + 1
    swept = (
        "sweep",
        "--sequence",
        str(file),
        "--of",
        f"row{flash}.delay",
        "--port",
        "sim",
        "--rest",
        "0 s",
    )
    done = run_cli(*swept, folder=tmp_path)
    assert done.returncode == 2  # no range
    done = run_cli(*swept, "--from", "184 ms", "--to", "185 ms", "--json", folder=tmp_path)
    *shots, table = map(json.loads, done.stdout.splitlines())
    assert [entry["value_ms"] for entry in table["table"]] == [184.0, 185.0]
    hz = shots[0]["clock_hz"]
    assert [one["planned"]["flash_delay_ticks"] for one in shots] == [0.184 * hz, 0.185 * hz]
    kept = run_cli("recipe", "save", "by hand", folder=tmp_path)
    assert kept.returncode == 0, kept.stderr


def test_a_longer_shot_keeps_the_shutter_open_and_the_window_wide() -> None:
    spacing = sweep_of(of="spacing", first_s=0.08, last_s=0.12)
    planned = rows(BASE, "valve")[1][0] - rows(BASE, "valve")[0][0]
    longer = spacing.build(planned + 0.1)
    assert longer.window_s == pytest.approx(BASE.window_s + 0.1)
    assert rows(longer, "shutter")[0][1] == pytest.approx(rows(BASE, "shutter")[0][1] + 0.1)


def test_flashes_move_together() -> None:
    second = replace(
        next(row for row in BASE.rows if row.output == "flash1"), output="flash2", delay_s=0.184
    )
    base = replace(BASE, rows=(*BASE.rows, second))
    gap = rows(base, "flash")[0][0] - 0.184
    moved = rows(sweep_of(base=base).build(0.2), "flash")
    assert moved[0][0] == pytest.approx(0.2) and moved[0][0] - moved[1][0] == pytest.approx(gap)


def test_settings_bring_the_same_sweep_back() -> None:
    made = sweep_of(order="shuffle", repeat=3, seed=5)
    again = Sweep.from_settings(json.loads(json.dumps(made.to_settings())))
    assert again == made and again.steps == made.steps
    with pytest.raises(UserError):
        Sweep.from_settings({"of": "flash"})


# -- going on ---------------------------------------------------------------------------------------
def entry(step: int, state: str) -> Entry:
    return Entry(step, 0.0, 1, 1, 1, state, None, None)


def test_open_steps_are_those_that_never_fired() -> None:
    sweep = sweep_of()
    seen = [
        entry(1, "fired"),
        entry(2, "missed"),
        entry(3, "outcome unknown"),
        entry(4, "not-released"),
    ]
    assert [step.index for step in list_open(sweep, seen)] == [2, 3, 4, 5, 6]
    tired = [*seen, entry(2, "missed"), entry(2, "missed")]
    assert [step.index for step in list_open(sweep, tired)] == [3, 4, 5, 6]
    assert [step.index for step in list_open(sweep, [*seen, entry(2, "fired")])] == [3, 4, 5, 6]


@pytest.mark.full
def test_a_sweep_ends_with_its_table_and_a_sheet_of_pictures(tmp_path) -> None:
    sheet = tmp_path / "sheet.png"
    lines = run_checked("sweep", "--port", "sim?seed=3", "--from", "182 ms", "--to", "188 ms", "--step", "1 ms",
        "--shuffle", "--json", "--picture", str(sheet),
    ).stdout.splitlines()  # fmt: skip
    *shots, last = [json.loads(line) for line in lines]
    assert len(shots) == 7 == last["fired"] == last["steps"]
    assert sheet.read_bytes().startswith(b"\x89PNG")
    for shot, line in zip(shots, last["table"], strict=True):
        assert line["shot"] == shot["shot"]
        delay = shot["planned"]["flash_delay_ticks"] / shot["clock_hz"] * 1e3
        assert delay == pytest.approx(line["value_ms"], abs=1e-5)
        assert line["shows"] == shot["truth"]["pictures"][0]["shows"]
    assert [line["frame"] for line in last["table"]] == [1, 2, 3, 4, 5, 6, 7]
    # a later flash never shows an earlier stage than one 2 ms before it (scatter is some 0.4 ms)
    stages = {s["swept"]["value_ms"]: s["truth"]["pictures"][0]["stage_ms"] for s in shots}
    values = sorted(stages)
    assert all(stages[b] > stages[a] for a, b in zip(values, values[2:], strict=False))


@pytest.mark.full
def test_the_table_of_a_sweep_names_each_photograph_that_has_arrived(tmp_path) -> None:
    log = tmp_path / "shots.sqlite3"
    run = run_cli(
        "sweep", "--port", "sim?seed=3", "--from", "182 ms", "--to", "183 ms", "--step", "1 ms",
        "--camera", "sim", "--json", environment={**os.environ, "BEAMFALL_LOG": str(log)},
    )  # fmt: skip
    table = json.loads(run.stdout.splitlines()[-1])["table"]
    assert [Path(line["picture"]).is_file() for line in table] == [True, True]


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no SIGKILL")
@pytest.mark.full
def test_a_killed_sweep_goes_on_and_loses_and_doubles_nothing() -> None:
    arguments = [
        "--port",
        "sim?seed=3",
        "--from",
        "150 ms",
        "--to",
        "230 ms",
        "--step",
        "0.5 ms",
        "--shuffle",
    ]
    process = subprocess.Popen(
        [sys.executable, "-m", "beamfall", "sweep", *arguments, "--json"],
        stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True,
    )  # fmt: skip
    assert process.stdout is not None
    for _ in range(20):
        assert process.stdout.readline()
    time.sleep(0.01)
    process.send_signal(signal.SIGKILL)
    process.wait()
    last = json.loads(run_checked("sweep", "--resume", "0", "--json").stdout.splitlines()[-1])
    assert last["steps"] == 161 == last["fired"]
    fired = [line["step"] for line in last["table"] if line["state"] == "fired"]
    assert sorted(fired) == list(range(1, 162))
    unknown = [line for line in last["table"] if line["state"] == "outcome unknown"]
    assert len(unknown) <= 1 and len(last["table"]) == 161 + len(unknown)
    # nothing is left to do
    again = json.loads(
        run_checked("sweep", "--resume", str(last["series"]), "--json").stdout.splitlines()[-1]
    )
    assert again["table"] == last["table"]


@pytest.mark.parametrize(
    ("arguments", "named"),
    [
        (["--of", "colour"], ("colour", "flash", "spacing")),
        (["--from", "180"], ("--from", "180", "no unit")),
        (["--of", "opening", "--from", "190 ms", "--to", "260 ms", "--step", "10 ms"], ("valve1", "overlap")),
        (["--resume", "7"], ("series 7",)),
        (["--step", "0 ms"], ("step", "0 ms")),
    ],
)  # fmt: skip
def test_a_sweep_that_cannot_run_is_refused_before_a_drop_falls(arguments, named) -> None:
    done = run_checked("sweep", "--port", "sim", *arguments, status=2)
    assert all(part in done.stderr for part in named), done.stderr
    assert done.stdout == ""
