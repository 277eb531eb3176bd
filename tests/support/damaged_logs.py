"""Damaged logs by the thousand: flipped bytes, values of wrong types, missing rows. The same seed damages the same
way."""

from __future__ import annotations

import contextlib
import io
import json
import os
import random
import sqlite3
import traceback
from pathlib import Path
from typing import Any

from PIL import Image

from beamfall.cli import main
from beamfall.errors import BeamfallError
from beamfall.fault_report import BUG
from beamfall.photos.find import find_drawn
from beamfall.setup.rig import example_rig
from beamfall.shots import ShotLog
from beamfall.shots.stored import make_checksum

SHOTS = 8
_HEAVY_SHARES = (4, 4, 1, 4, 4)  # a report takes ten times as long as anything else
_DRAWN = 10  # one damage in 10 has a shot whose picture must be drawn

TEXTS = {
    "shot": "record",
    "series": "record",
    "board": "record",
    "rig": "snapshot",
    "sequence": "content",
}
WRONG: tuple[Any, ...] = (
    None, True, 0, -1, 2**63, 10**30, 1.5, float("inf"), "", "x", "\x1b[2J", "\u202e", [], [None], {}, {"a": []}, "=1",
    [["valve1", "on", "x", 1, "stamped"]], [["nothing", "on", 1, 1, "stamped"]],
)  # fmt: skip


def damage_log(path: Path, seed: int) -> str:
    """Damage the log at `path`; return how, in words."""
    draws = random.Random(seed)
    kinds = (flip_bytes, flip_bytes, wipe_page, cut_end, replace_values, replace_values, replace_texts,
             remove_rows, replace_columns, change_header, drop_parts)  # fmt: skip
    return draws.choice(kinds)(path, draws)


def flip_bytes(path: Path, draws: random.Random) -> str:
    content = bytearray(path.read_bytes())
    count = draws.choice((1, 3, 30, 300))
    low = draws.choice((0, 100, len(content) // 2))
    for _ in range(count):
        content[draws.randrange(low, len(content))] = draws.randrange(256)
    path.write_bytes(content)
    return f"{count} bytes from {low} on"


def wipe_page(path: Path, draws: random.Random) -> str:
    content = bytearray(path.read_bytes())
    page = draws.randrange(len(content) // 4096)
    content[page * 4096 : page * 4096 + 4096] = draws.choice((bytes(4096), draws.randbytes(4096)))
    path.write_bytes(content)
    return f"page {page}"


def cut_end(path: Path, draws: random.Random) -> str:
    content = path.read_bytes()
    size = draws.choice((0, 1, 99, 4096, draws.randrange(len(content))))
    path.write_bytes(content[:size])
    return f"cut to {size} bytes"


@contextlib.contextmanager
def _open(path: Path) -> Any:
    with contextlib.closing(sqlite3.connect(path, isolation_level=None)) as connection:
        connection.execute("PRAGMA foreign_keys=OFF")
        yield connection


def replace_values(path: Path, draws: random.Random) -> str:
    """Give values of a record other types, with a right checksum, as another kind of program might."""
    table = draws.choice(list(TEXTS))
    with _open(path) as connection:
        rows = connection.execute(f"SELECT id, {TEXTS[table]} FROM {table}").fetchall()
        said = []
        for number, text in draws.sample(rows, min(len(rows), draws.choice((1, 3, 100)))):
            content = json.loads(text)
            inside = content
            name = draws.choice(list(content))
            if isinstance(content[name], dict) and content[name] and draws.random() < 0.5:
                inside, name = content[name], draws.choice(list(content[name]))
            if draws.random() < 0.2:
                del inside[name]
            else:
                inside[name] = draws.choice(WRONG)
            said.append(f"{table} {number} {name}={inside.get(name, 'gone')!r}")
            text = json.dumps(content, ensure_ascii=False)
            with contextlib.suppress(sqlite3.Error):
                connection.execute(
                    f"UPDATE {table} SET {TEXTS[table]} = ?, checksum = ? WHERE id = ?",
                    (text, make_checksum(text), number),
                )
    return "; ".join(said[:3])


def replace_texts(path: Path, draws: random.Random) -> str:
    """What is not JSON, not an object, not UTF-8, or has no end."""
    table = draws.choice(list(TEXTS))
    text = draws.choice(
        (
            "{bad",
            "",
            "[]",
            "null",
            "1",
            '"x"',
            "[" * 5000,
            '{"state": 1}',
            b"\xff\xfe{}",
            b"\x00",
            None,
            5,
        )
    )
    checksum = make_checksum(text) if isinstance(text, str) else draws.choice((0, None, "x"))
    with _open(path) as connection, contextlib.suppress(sqlite3.Error):
        connection.execute(
            f"UPDATE {table} SET {TEXTS[table]} = coalesce(?, {TEXTS[table]}), checksum = coalesce(?, checksum)"
            " WHERE id % ? = 0",
            (text, checksum, draws.choice((1, 2, 3))),
        )
    return f"{table}: {text!r:.40}"


def remove_rows(path: Path, draws: random.Random) -> str:
    table = draws.choice((*TEXTS, "calibration"))
    with _open(path) as connection:
        connection.execute(f"DELETE FROM {table} WHERE id % ? = 0", (draws.choice((1, 2, 3)),))
    return f"rows of {table} removed"


def replace_columns(path: Path, draws: random.Random) -> str:
    column = draws.choice(("series_id", "number", "rig_id", "sequence_id", "board_id", "checksum"))
    value = draws.choice((0, 999, -1, "x", 1.5, b"\xff"))
    with _open(path) as connection, contextlib.suppress(sqlite3.Error):
        connection.execute(
            f"UPDATE shot SET {column} = ? WHERE id % ? = 0", (value, draws.choice((1, 2, 5)))
        )
    return f"{column} = {value!r}"


def change_header(path: Path, draws: random.Random) -> str:
    what = draws.choice(("user_version", "application_id"))
    value = draws.choice((0, 1, 2, 4, 99, -1))
    with _open(path) as connection:
        connection.execute(f"PRAGMA {what} = {value}")
    return f"{what} = {value}"


def drop_parts(path: Path, draws: random.Random) -> str:
    what = draws.choice(("TABLE series", "TABLE board", "TABLE rig", "TABLE sequence", "TABLE shot", "INDEX shot_state",
                         "VIEW edge_ms", "TABLE calibration"))  # fmt: skip
    with _open(path) as connection, contextlib.suppress(sqlite3.Error):
        connection.execute(f"DROP {what}")
    return f"without {what}"


def fill(path: Path) -> None:
    """Two series of the simulated rig, with note, rating and picture."""
    from beamfall.board import Board
    from beamfall.planning.make import make_plan
    from beamfall.workflows.series import Shooter

    rig = example_rig()
    sequence = make_plan(rig).sequence
    with ShotLog.open(path) as log:
        for count in (6, 2):
            with Board.connect("sim", rig=rig, seed=2) as board:
                shooter = Shooter.begin(board, log, "shoot", rig=rig)
                for _ in range(count):
                    shooter.fire(sequence, swept={"of": "flash", "value_ms": 190.0})
                    shooter.rest(5.0)
        log.set_note(3, "umbrella")
        log.set_rating(3, 4)
        how, exposure = {"probability": 0.99, "offset_s": 1.5}, {"time_s": 0.5, "iso": 200}
        log.add_photograph(3, "/photos/IMG_3.JPG", match=how, exposure=exposure)
        log.set_picture_measured(3, {"stage": "umbrella", "confidence": 0.9, "tip": {"value": 9.0}})
        log._connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        log._connection.execute("PRAGMA journal_mode=DELETE")


def list_commands(folder: Path, draws: random.Random, *, slow: bool) -> list[tuple[str, ...]]:
    """Every command that reads or writes the log; the slow ones only if `slow`."""
    shot = str(draws.randint(1, SHOTS))
    quick: list[tuple[str, ...]] = [
        ("shots", "list"),
        ("shots", "list", "--json"),
        ("shots", "list", "--series", "1", "--state", "fired"),
        ("shots", "show", shot),
        ("shots", "show", shot, "--json"),
        ("shots", "export", "--out", str(folder / "x.csv")),
        ("shots", "export", "--out", str(folder / "x.jsonl")),
        ("shots", "note", shot, "again"),
        ("shots", "rate", shot, "3"),
        ("shots", "sheet", "--series", "2", "--out", str(folder / "sheet.html")),
        ("shots", "catalogue", "--series", "1"),
        ("recipe", "save", "kept", "--shot", shot, "--replace"),
        ("shots", "fetch", "--port", "sim"),
    ]
    heavy: list[tuple[str, ...]] = [
        ("repeatability", "--series", "1"),
        ("shots", "match", str(folder / "photos")),
        ("report", "--series", "2", "--out", str(folder / "report")),
        ("shots", "repeat", shot, "--port", "sim"),
        ("shoot", "--port", "sim", "--no-warm-up"),
    ]
    return [
        *quick,
        *(heavy if slow else draws.choices(heavy, _HEAVY_SHARES)),
        ("shots", "mend"),
        ("shots", "list"),
    ]


def run(command: tuple[str, ...]) -> tuple[int | str, str]:
    """The status and the output of a command that runs in this process."""
    out, err = io.StringIO(), io.StringIO()
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            status: int | str = main(list(command))
    except BaseException as error:
        status = type(error).__name__
    return status, out.getvalue() + err.getvalue()


def judge(status: int | str, words: str) -> bool:
    """Whether a command ended as it should."""
    fine = status == 0 or (status in (1, 2) and bool(words.strip()))
    return fine and BUG not in words and "Traceback" not in words


def read_as_page(path: Path, shot: int) -> str:
    """Read what the page shows of a log and a shot; return what it calls a bug in Beamfall, if anything."""
    from beamfall.page import review

    reads = (
        review.list_lines,
        review.list_series,
        lambda log: review.describe_shot(log, shot),
        lambda log: review.compare(log, 1, shot),
        lambda log: review.assess(log, 1),
    )
    for read in reads:
        try:
            with ShotLog.open(path, read_only=True) as log:
                json.dumps(read(log), allow_nan=False)
        except BeamfallError:
            continue
        except Exception as error:
            last = traceback.extract_tb(error.__traceback__)[-1]
            return f"{error!r} at {Path(last.filename).name}, line {last.lineno}"
    return ""


def _keep_pictures(log: Path, undrawn: int) -> None:
    """Make a simulated picture ready for each shot but one: drawing one from its record takes longer than all the
    rest."""
    for shot in range(1, SHOTS + 1):
        file = find_drawn(log, shot)
        file.parent.mkdir(exist_ok=True)
        if shot == undrawn:
            file.unlink(missing_ok=True)
        elif not file.exists():
            Image.new("RGB", (8, 6)).save(file)


def try_damage(whole: bytes, folder: Path, seed: int, *, slow: bool = False) -> list[str]:
    """Damage the log as the seed says, and run the commands; return what went wrong, in words."""
    path = folder / "shots.sqlite3"
    for left in folder.glob("shots*"):
        if left.is_file():
            left.unlink()
    _keep_pictures(path, undrawn=1 + seed // _DRAWN % SHOTS if seed % _DRAWN == 0 else 0)
    (folder / "photos").mkdir(exist_ok=True)
    path.write_bytes(whole)
    how = damage_log(path, seed)
    os.environ["BEAMFALL_LOG"] = str(path)
    said = read_as_page(path, 1 + seed % SHOTS)
    wrong = [f"seed {seed}, {how}: the page: {said}"] if said else []
    for command in list_commands(folder, random.Random(seed), slow=slow):
        status, words = run(command)
        if not judge(status, words):
            wrong.append(f"seed {seed}, {how}: {' '.join(command)}: {status} {words.strip()[:300]}")
    return wrong
