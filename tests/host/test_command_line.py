"""What the commands print, against tests/host/golden; exit statuses and messages.

After an intended change of a text, rewrite the golden files with WRITE_GOLDEN=1 in the environment,
and read the difference.
"""

from __future__ import annotations

import inspect
import json
import os
import re
import subprocess
import sys
from pathlib import Path
from unittest import mock

import pytest
from command_line import run_cli
from two_drops import make_two_drops
from typer.models import OptionInfo

from beamfall.cli import main, shots_list
from beamfall.cli.help import list_commands
from beamfall.link.welcome import Welcome
from beamfall.setup.rig import example_rig
from beamfall.shots import EdgeRecord, ShotLog, ShotRecord
from beamfall.shots.outcome import plan_of

GOLDEN = Path(__file__).parent / "golden"
SEQUENCE = """
name = "two drops"
window = "1 s"
blanking = "20 ms"
dwell = "500 us"
[[row]]
output = "valve1"
delay = "100 ms"
width = "13 ms"
[[row]]
output = "valve1"
delay = "185 ms"
width = "13 ms"
[[row]]
anchor = "beam1"
count = 2
output = "flash1"
delay = "190 ms"
width = "2 ms"
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "good.toml").write_text(SEQUENCE, encoding="utf-8")
    bad = SEQUENCE.replace('"13 ms"', '"300 ms"').replace('"2 ms"', '"0 ms"')
    (tmp_path / "limits.toml").write_text(bad, encoding="utf-8")
    wrong = SEQUENCE.replace("window", "windo").replace('"190 ms"', "190")
    (tmp_path / "wrong.toml").write_text(wrong, encoding="utf-8")
    return tmp_path


def run(folder: Path, *arguments: str, **environment: str) -> subprocess.CompletedProcess[str]:
    own = {"BEAMFALL_LOG": str(folder / "log.sqlite3"), "TZ": "UTC", "COLUMNS": "100"}
    return run_cli(*arguments, folder=folder, environment={**os.environ, **own, **environment})


@pytest.fixture
def log(folder: Path, welcome: Welcome) -> Path:
    """A log with a fired, a missed, a refused and an unfinished shot; invented."""
    path = folder / "log.sqlite3"
    table = make_two_drops().to_table(125_000_000)
    edges = (
        EdgeRecord("valve1", "on", 12_500_000, 12_500_000, "stamped"),
        EdgeRecord("valve1", "off", 14_125_000, 14_125_000, "stamped"),
        EdgeRecord("beam1", "dark", None, 35_387_500, "stamped"),
        EdgeRecord("beam1", "clear", None, 35_750_000, "stamped"),
        EdgeRecord("flash1", "on", 69_793_750, 69_793_875, "derived"),
        EdgeRecord("flash1", "off", 70_043_750, None),
    )
    with ShotLog.open(path) as log:
        series = log.begin_series("shoot", rig=example_rig(), seed=7)
        for number in range(1, 5):
            shot = log.begin_shot(
                series, table=table, board=welcome, port="sim?seed=7", release=number,
                rig=example_rig(), seed=7,
            )  # fmt: skip
            if number == 3:
                log.cancel_shot(shot, "beam-blocked")
            if number > 2:
                continue
            record = ShotRecord(
                shot=shot, state="fired" if number == 1 else "missed",
                cause=None if number == 1 else "few-edges", seed=7, clock_hz=125_000_000, timing="simulated",
                **plan_of(table), edges=edges,
                counts={"rows_late": 1, "worst_late_ticks": 125, "edges_lost": 0},
            )  # fmt: skip
            log.complete_shot(shot, record)
        log.set_note(1, "umbrella, a little left")
        log.set_rating(1, 4)
    return path


def check_golden(name: str, text: str, folder: Path) -> None:
    shown = text.replace(str(folder), "FOLDER")
    shown = re.sub(r"\d{4}-\d\d-\d\d \d\d:\d\d:\d\d", "2026-01-01 12:00:00", shown)
    path = GOLDEN / f"{name}.txt"
    if os.environ.get("WRITE_GOLDEN"):
        path.write_text(shown, encoding="utf-8")
    assert shown == path.read_text(encoding="utf-8")


GOOD = {
    "sequence-check": ("sequence", "check", "good.toml"),
    "shots-list": ("shots", "list"),
    "shots-list-state": ("shots", "list", "--state", "outcome unknown"),
    "shots-show-fired": ("shots", "show", "1"),
    "shots-show-unknown": ("shots", "show", "4"),
    "shots-where": ("shots", "where"),
}
MISTAKES = {
    "sequence-check-limits": ("sequence", "check", "limits.toml"),
    "sequence-check-wrong": ("sequence", "check", "wrong.toml"),
    "sequence-check-missing": ("sequence", "check", "none.toml"),
    "shots-show-none": ("shots", "show", "99"),
}


@pytest.mark.parametrize("name", GOOD)
@pytest.mark.usefixtures("log")
def test_what_commands_print(name: str, folder: Path) -> None:
    done = run(folder, *GOOD[name])
    assert (done.returncode, done.stderr) == (0, "")
    check_golden(name, done.stdout, folder)


@pytest.mark.parametrize("name", MISTAKES)
@pytest.mark.usefixtures("log")
def test_a_mistake_of_the_users_ends_with_2_and_no_traceback(name: str, folder: Path) -> None:
    done = run(folder, *MISTAKES[name])
    assert done.returncode == 2
    assert "Traceback" not in done.stderr and done.stdout == ""
    check_golden(name, done.stderr, folder)


@pytest.mark.parametrize(
    ("arguments", "word"),
    [
        (("rinze",), "rinze"),
        (("shots", "list", "--limt", "3"), "--limt"),
        (("shots", "show", "last"), "'last'"),
        (("shots", "list", "--limit", "0"), "--limit"),
        (("sequence", "check"), "file"),
        (
            ("shoot", "--trace", "t.pcapng"),
            ": beamfall --trace t.pcapng shoot",
        ),
        (("shots", "list", "--trace=t.pcapng"), "before the command"),
        (("drip", "--verbose"), ": beamfall --verbose shoot"),
    ],
)
def test_what_typer_refuses_is_a_mistake_too(
    arguments: tuple[str, ...], word: str, folder: Path
) -> None:
    """The words are Typer's and differ from version to version."""
    done = run(folder, *arguments)
    assert done.returncode == 2
    assert word in done.stderr.lower() and "Traceback" not in done.stderr


@pytest.mark.parametrize("command", [(), ("sequence", "check"), ("shots", "list"), ("ports",)])
def test_help_is_no_mistake(command: tuple[str, ...], folder: Path) -> None:
    done = run(folder, *command, "--help")
    assert done.returncode == 0 and "Usage: beamfall" in done.stdout


def test_no_log_yet(folder: Path) -> None:
    done = run(folder, "shots", "list")
    assert done.returncode == 0
    assert "--port sim" in done.stdout
    assert run(folder, "shots", "list", "--json").stdout == ""
    done = run(folder, "shots", "show", "1")
    assert (done.returncode, done.stdout) == (2, "")
    assert not (folder / "log.sqlite3").exists()


@pytest.mark.usefixtures("log")
def test_json_is_one_object_a_line(folder: Path) -> None:
    lines = run(folder, "shots", "list", "--json").stdout.splitlines()
    states = [json.loads(line)["state"] for line in lines]
    assert states == ["fired", "missed", "not-released", "outcome unknown"]
    shot = json.loads(run(folder, "shots", "show", "1", "--json").stdout)
    assert shot["planned"] == {"flash_delay_ticks": 23_750_000, "spacing_ticks": 10_625_000}
    table = json.loads(run(folder, "sequence", "check", "good.toml", "--json").stdout)
    assert table["clock_hz"] == 125_000_000 and len(table["rows"]) == 3


@pytest.mark.usefixtures("log")
def test_a_shot_can_be_drawn_from_the_log(folder: Path) -> None:
    done = run(folder, "shots", "show", "1", "--plot", "one.png")
    assert done.returncode == 0 and "one.png" in done.stdout
    assert (folder / "one.png").read_bytes().startswith(b"\x89PNG")


def test_a_failure_ends_with_1_and_a_cure(folder: Path) -> None:
    (folder / "log.sqlite3").write_text("dear diary, " * 100)
    done = run(folder, "shots", "list")
    assert done.returncode == 1
    assert "BEAMFALL_LOG" in done.stderr
    assert "Traceback" not in done.stderr
    assert "Traceback" in run(folder, "shots", "list", BEAMFALL_DEBUG="1").stderr


def test_the_limits_of_a_board_are_asked_of_the_board(folder: Path) -> None:
    done = run(folder, "sequence", "check", "good.toml", "--port", "sim")
    assert done.returncode == 0
    assert done.stdout == run(folder, "sequence", "check", "good.toml").stdout


def test_ports_lists_the_simulated_ones_last(folder: Path) -> None:
    done = run(folder, "ports")
    assert done.returncode == 0
    lines = [line.split("  ")[0] for line in done.stdout.splitlines()]
    assert lines[0] == "port"
    assert [name for name in lines if name.startswith("sim")] == ["sim", "sim:micropython"]
    objects = [json.loads(line) for line in run(folder, "ports", "--json").stdout.splitlines()]
    assert [o["port"] for o in objects if o["simulated"]] == ["sim", "sim:micropython"]


@pytest.mark.parametrize(
    ("error", "status", "message"),
    [
        (KeyboardInterrupt(), 130, "beamfall: interrupted"),
        (
            RuntimeError("odd"),
            1,
            "beamfall: Internal error: RuntimeError: odd\nThis is a bug in Beamfall",
        ),
    ],
)
def test_interrupts_and_faults_of_the_program(
    error: BaseException,
    status: int,
    message: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setattr(shots_list, "find_log", mock.Mock(side_effect=error))
    assert main(["shots", "where"]) == status
    said = capsys.readouterr().err
    assert said.startswith(message) and "Traceback" not in said


@pytest.mark.usefixtures("log")
@pytest.mark.skipif(os.name == "nt", reason="needs a POSIX shell")
def test_a_reader_that_leaves_is_no_fault(folder: Path) -> None:
    command = f"'{sys.executable}' -m beamfall shots show 1 | head -1"
    environment = {**os.environ, "BEAMFALL_LOG": str(folder / "log.sqlite3")}
    environment["PYTHONPATH"] = str(Path(__file__).resolve().parents[2] / "host")
    done = subprocess.run(
        command, shell=True, capture_output=True, text=True, env=environment, check=False
    )
    assert done.stdout.startswith("shot") and done.stderr == ""


def test_help_starts_fast_because_it_imports_little() -> None:
    """The imports that cost; the time itself is printed by tests/benchmarks."""
    heavy = "{'numpy','scipy','matplotlib','pint','construct','serial','rich.table','sqlite3',"
    heavy += "'beamfall.link','beamfall.wire','beamfall.shots'}"
    code = f"import sys; from beamfall.cli import app; assert not {heavy} & set(sys.modules)"
    # What measures coverage in processes that tests start loads sqlite3 itself.
    environment = {name: value for name, value in os.environ.items() if not name.startswith("COV")}
    environment["PYTHONPATH"] = str(Path(__file__).resolve().parents[2] / "host")
    subprocess.run([sys.executable, "-c", code], check=True, env=environment)


def test_a_list_needs_no_library_of_figures_or_models(folder: Path) -> None:
    heavy = "{'numpy', 'pydantic', 'scipy', 'matplotlib', 'pint'}"
    code = f"import sys; from beamfall.cli import main; print(main(['shots', 'list']), {heavy} & set(sys.modules))"
    environment = {**os.environ, "BEAMFALL_LOG": str(folder / "none.sqlite3")}
    done = subprocess.run(
        [sys.executable, "-c", code], check=True, env=environment, capture_output=True, text=True
    )
    assert done.stdout.splitlines()[-1] == "0 set()"


def test_every_option_has_a_long_name() -> None:
    """`-o` alone is a riddle, and scripts use the long name."""
    for title, function in list_commands():
        for name, parameter in inspect.signature(function).parameters.items():
            flags = getattr(parameter.default, "param_decls", None) or ("--",)
            if isinstance(parameter.default, OptionInfo):
                assert any(flag.startswith("--") for flag in flags), f"{title}: {name}"
