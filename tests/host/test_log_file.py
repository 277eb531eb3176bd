"""The file of the shot log: versions, rights, several programs at once, and a program that is killed."""

from __future__ import annotations

import contextlib
import os
import signal
import sqlite3
import subprocess
import sys
import textwrap
import threading
from pathlib import Path

import pytest
from log_helpers import EDGES, begin, make_outcome, make_table

from beamfall.errors import LogError, LogNewer
from beamfall.link.welcome import Welcome
from beamfall.setup.rig import example_rig
from beamfall.shots import ShotLog, database, find_log
from beamfall.shots.database import open_database
from beamfall.shots.migrations import APPLICATION_ID, MIGRATIONS
from beamfall.shots.record import PROGRAM_ENDED


# -- versions and rights ------------------------------------------------------------------------
def test_an_older_program_does_not_touch_a_newer_file(path: Path, log: ShotLog) -> None:
    log.close()
    with contextlib.closing(sqlite3.connect(path)) as connection:
        connection.execute(f"PRAGMA user_version={len(MIGRATIONS) + 1}")
    before = path.read_bytes()
    for read_only in (False, True):
        with pytest.raises(LogNewer, match=f"{len(MIGRATIONS) + 1}.* {len(MIGRATIONS)}"):
            ShotLog.open(path, read_only=read_only)
    assert path.read_bytes() == before


def add_mood(connection: sqlite3.Connection) -> None:
    connection.execute("ALTER TABLE series ADD COLUMN mood TEXT")


def fail_in_the_middle(connection: sqlite3.Connection) -> None:
    for _ in range(2):
        connection.execute("CREATE TABLE extra (id INTEGER)")


def test_a_file_of_an_older_version_is_brought_up_to_date(path: Path, log: ShotLog) -> None:
    series = log.begin_series("shoot")
    log.close()
    steps = (*MIGRATIONS, add_mood)
    for read_only in (True, False):  # reading does it as well as writing
        with contextlib.closing(
            open_database(path, read_only=read_only, migrations=steps)
        ) as connection:
            assert connection.execute("PRAGMA user_version").fetchone()[0] == len(steps)
            assert connection.execute("SELECT id, mood FROM series").fetchall() == [(series, None)]


def test_a_step_that_fails_leaves_the_file_as_it_was(path: Path, log: ShotLog) -> None:
    log.begin_series("shoot")
    log.close()
    before = path.read_bytes()
    for read_only in (True, False):
        with pytest.raises(LogError):
            open_database(path, read_only=read_only, migrations=(*MIGRATIONS, fail_in_the_middle))
    assert path.read_bytes() == before
    with ShotLog.open(path) as again:
        assert again.count_shots() == 0 and len(again.list_series()) == 1


def test_files_that_are_no_log_are_refused(tmp_path: Path) -> None:
    text = tmp_path / "notes.txt"
    text.write_text("dear diary, " * 100)
    with pytest.raises(LogError, match=text.name):
        ShotLog.open(text)
    other = tmp_path / "other.sqlite3"
    with contextlib.closing(sqlite3.connect(other)) as connection:
        connection.execute("CREATE TABLE music (title TEXT)")
    with pytest.raises(LogError, match=other.name):
        ShotLog.open(other)
    with pytest.raises(LogError, match=tmp_path.name):
        ShotLog.open(tmp_path)
    assert text.read_text().startswith("dear diary")


READ_ONLY = """
import os, sys
from beamfall.errors import LogReadOnly
from beamfall.shots import ShotLog
if os.geteuid() == 0:  # the superuser may write everywhere: let it be tried by nobody
    os.setgroups([]), os.setgid(65534), os.setuid(65534)
with ShotLog.open_existing(sys.argv[1]) as log:
    assert log.count_shots() == 1, log.count_shots()
    assert log.read_shot(1).record.state == "fired"
for attempt in (
    lambda: ShotLog.open(sys.argv[1]).begin_series("shoot"),
    lambda: ShotLog.open(sys.argv[1] + ".new"),
    lambda: ShotLog.open(sys.argv[2] + "/new/shots.sqlite3"),
):
    try:
        attempt()
    except LogReadOnly as error:
        assert "BEAMFALL_LOG" in str(error), error
    else:
        sys.exit("was written to")
"""


@pytest.mark.skipif(os.name == "nt", reason="rights of files work otherwise on Windows")
def test_a_log_that_may_not_be_written_can_be_read(tmp_path: Path, welcome: Welcome) -> None:
    import tempfile

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        path = folder / "shots.sqlite3"
        with ShotLog.open(path) as log:
            shot = begin(log, log.begin_series("shoot"), welcome)
            log.complete_shot(shot, make_outcome(make_table()))
        path.chmod(0o444)
        folder.chmod(0o555)
        try:
            done = subprocess.run(
                [sys.executable, "-c", READ_ONLY, str(path), str(folder)],
                env={**os.environ, "PYTHONPATH": HOST}, capture_output=True, text=True,
            )  # fmt: skip
        finally:
            folder.chmod(0o755)
        assert done.returncode == 0, done.stderr


TOP = Path(__file__).resolve().parents[2]
HOST = os.pathsep.join((str(TOP / "host"), str(TOP / "tests" / "support")))


def test_a_full_log_is_said_before_the_release(path: Path, log: ShotLog, welcome: Welcome) -> None:
    """SQLite's own limit of pages gives the same error as a full disk (SQLITE_FULL)."""
    series = log.begin_series("shoot")
    pages = log._connection.execute("PRAGMA page_count").fetchone()[0]
    log._connection.execute(f"PRAGMA max_page_count={pages}")
    released = 0
    with pytest.raises(LogError, match="full"):
        for n in range(200):
            begin(log, series, welcome, n + 1, table=make_table(0.15 + n * 1e-3))
            released += 1
    assert log.count_shots() == released


def test_where_the_log_lies(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("BEAMFALL_LOG", str(tmp_path / "my.sqlite3"))
    assert find_log() == tmp_path / "my.sqlite3"
    monkeypatch.setenv("BEAMFALL_LOG", str(tmp_path))
    assert find_log() == tmp_path / "shots.sqlite3"
    monkeypatch.delenv("BEAMFALL_LOG")
    assert find_log().name == "shots.sqlite3" and "beamfall" in find_log().parts


def test_no_log_yet(path: Path) -> None:
    assert ShotLog.open_existing(path) is None
    assert not path.parent.exists()


# -- other programs, and the end of this one -------------------------------------------------------
WRITER = textwrap.dedent(
    """
    import sys
    sys.path.insert(0, sys.argv[1])
    from beamfall.shots import ShotLog
    from log_helpers import begin, make_outcome, make_table
    from conftest import welcome
    board = getattr(welcome, "__wrapped__", None) or welcome._get_wrapped_function()
    board = board()
    with ShotLog.open(sys.argv[2]) as log:
        series = log.begin_series("shoot")
        for n in range(int(sys.argv[3])):
            shot = begin(log, series, board, n + 1)
            print(shot, flush=True)              # the release would come here
            log.complete_shot(shot, make_outcome(make_table()))
            print(-shot, flush=True)
    """
)


def start_writer(path: Path, shots: int) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", WRITER, str(Path(__file__).parent), str(path), str(shots)],
        stdout=subprocess.PIPE, text=True, env={**os.environ, "PYTHONPATH": HOST},
    )  # fmt: skip


def test_a_log_that_another_program_is_just_making_is_a_log(path: Path) -> None:
    """The other program makes the file between this one's first look and its last."""
    path.parent.mkdir(parents=True, exist_ok=True)
    looks: list[str] = []
    maker = threading.Thread(target=lambda: ShotLog.open(path).close())

    def watch(statement: str) -> None:
        if statement.startswith(("PRAGMA", "SELECT")):
            looks.append(statement)
            if len(looks) == 3:
                maker.start()
                maker.join(0.5)  # it may have to wait until this one has looked

    connection = sqlite3.connect(path, isolation_level=None)
    connection.set_trace_callback(watch)
    assert database._check_identity(connection, path, MIGRATIONS) == 0
    maker.join(60.0)
    assert database._check_identity(connection, path, MIGRATIONS) == len(MIGRATIONS)
    connection.close()


@pytest.mark.full
def test_two_programs_write_the_same_log_at_once(path: Path) -> None:
    """This includes making the file: both start without one."""
    writers = [start_writer(path, 60), start_writer(path, 60)]
    for writer in writers:
        writer.communicate(timeout=60)
        assert writer.returncode == 0
    with ShotLog.open(path) as log:
        lines = log.list_shots(limit=None)
        assert [line.state for line in lines] == ["fired"] * 120
        assert sorted((line.series, line.number) for line in lines) == [
            (series, number) for series in (1, 2) for number in range(1, 61)
        ]


@pytest.mark.full
@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="Windows has no SIGKILL")
def test_kill_9_loses_no_shot_that_may_have_been_released(path: Path) -> None:
    """Every shot whose id was given out is in the log once, with its outcome or as unknown."""
    kills = 6
    given_out: set[int] = set()
    completed: set[int] = set()
    for attempt in range(kills):
        writer = start_writer(path, 100_000)
        assert writer.stdout is not None
        for _ in range(15 + 13 * attempt):  # an odd number of lines: killed between the two
            number = int(writer.stdout.readline())
            (given_out if number > 0 else completed).add(abs(number))
        writer.kill()
        for line in writer.stdout.read().split():  # what it managed to say before it died
            number = int(line)
            (given_out if number > 0 else completed).add(abs(number))
        writer.wait()
        writer.stdout.close()
    with ShotLog.open(path) as log:
        check = log._connection.execute("PRAGMA integrity_check").fetchone()[0]
        assert check == "ok"
        states = {line.shot: line.state for line in log.list_shots(limit=None)}
        assert given_out <= states.keys()
        assert all(states[shot] == "fired" for shot in completed)
        unknown = {shot for shot, state in states.items() if state == "begun"}
        assert len(unknown) <= kills
        edges = {one.record.shot: len(one.record.edges) for one in log.read_shots(state="fired")}
        assert edges == {shot: len(EDGES) for shot, state in states.items() if state == "fired"}


def test_the_file_says_what_it_is(path: Path, log: ShotLog) -> None:
    with contextlib.closing(sqlite3.connect(path)) as other:
        assert other.execute("PRAGMA application_id").fetchone()[0] == APPLICATION_ID
        assert other.execute("PRAGMA journal_mode").fetchone()[0] == "wal"


def test_the_times_of_simulated_shots_follow_each_other(tmp_path: Path) -> None:
    """Virtual time runs ahead of the clock; no shot ends before it begins, no series begins within another."""
    from beamfall.board import Board
    from beamfall.planning.make import make_plan
    from beamfall.workflows.series import Shooter

    rig = example_rig()
    with ShotLog.open(tmp_path / "log.sqlite3") as log:
        for _ in range(2):
            with Board.connect("sim", rig=rig, seed=2) as board:
                shooter = Shooter.begin(board, log, "shoot", rig=rig)
                for _ in range(3):
                    shooter.fire(make_plan(rig).sequence)
                    shooter.rest(rig.aim.rest_s)
        times = [
            time
            for one in log.read_shots()
            for time in (one.record.begun_us, one.record.completed_us)
        ]
        begun = log.query("SELECT begun_us FROM series ORDER BY id")
    assert times == sorted(times)
    assert times[2] - times[0] > 5e6  # the rest was kept
    assert begun[1][0] > times[5]


def test_a_shot_that_another_program_may_yet_release_is_left_alone(
    path: Path, log: ShotLog, welcome: Welcome
) -> None:
    """Two hosts use one board and one log: the second must not say that the first one's shot never fired."""
    program = (
        "import time\nfrom beamfall.shots.find import name_process\n"
        "print(name_process(), flush=True)\ntime.sleep(600)\n"
    )
    other = subprocess.Popen(
        [sys.executable, "-c", program], env={**os.environ, "PYTHONPATH": HOST},
        stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert other.stdout is not None
    host = other.stdout.readline().strip()
    shot = begin(log, log.begin_series("shoot"), welcome, 5)
    from changed_log import change_shot  # writers in processes of their own import this file

    change_shot(log, shot, host=host)
    try:
        assert log.find_never_released(welcome.unique_id, welcome.boot_id, 4) == []
    finally:
        other.kill()
        other.wait()
        other.stdout.close()
    assert log.find_never_released(welcome.unique_id, welcome.boot_id, 4) == [shot]
    change_shot(log, shot, host="another machine/1/2")
    assert log.find_never_released(welcome.unique_id, welcome.boot_id, 4) == []


def test_an_outcome_is_truer_than_the_guess_that_its_program_had_ended(
    log: ShotLog, welcome: Welcome
) -> None:
    shot = begin(log, log.begin_series("shoot"), welcome)
    log.cancel_shot(shot, PROGRAM_ENDED)
    log.complete_shot(shot, make_outcome(make_table()))
    record = log.read_shot(shot).record
    assert (record.state, record.cause, len(record.edges)) == ("fired", None, len(EDGES))
