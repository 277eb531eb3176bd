"""Opens the shot log's file: permissions, versions, and SQLite's errors in words.

The file is in WAL mode with synchronous=NORMAL. A commit then reaches the operating system but is
not forced to the disk, which is what lets a log keep up with hundreds of shots a second. It is
enough: a program that is killed, even by kill -9, has lost nothing that it committed, since the
operating system holds the pages; only a power cut or a crash of the whole system can take the last
commits with it, and then the file is still whole (sqlite.org/pragma.html#pragma_synchronous), and
the shots it forgets are the ones whose board lost its power too.
"""

from __future__ import annotations

import contextlib
import os
import sqlite3
import stat
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

from beamfall.errors import LogDamaged, LogError, LogNewer, LogReadOnly, UserError
from beamfall.shots.migrations import APPLICATION_ID, MIGRATIONS
from beamfall.shots.stored import DamagedRow

Steps = Sequence[Callable[[sqlite3.Connection], None]]

BUSY_S = 10.0  # how long to wait for another program's transaction


@contextlib.contextmanager
def explain_errors(path: Path) -> Iterator[None]:
    """Turn SQLite's errors inside the block into LogError, and values it cannot hold into UserError."""
    try:
        yield
    except OverflowError as error:
        raise UserError(
            f"a number is too large for the shot log {path}: it holds whole numbers below 2^63"
        ) from error
    except UnicodeEncodeError as error:
        raise UserError(
            f"the text {error.object!r} contains invalid characters, so the shot log cannot hold it: "
            "the terminal and this program disagree on the encoding (UTF-8 is expected)"
        ) from error
    except UnicodeDecodeError as error:
        # SQLite's own message quotes the damaged bytes, and Python cannot read it.
        raise LogDamaged(path, "the list of its tables", "bytes that are not text") from error
    except sqlite3.Error as error:
        raise _explain(path, error) from error


def open_database(
    path: Path, *, read_only: bool = False, migrations: Steps = MIGRATIONS
) -> sqlite3.Connection:
    """Open the log at `path`; create it or upgrade it to this version if needed.

    With `read_only` an older log is upgraded if it may be written to, otherwise a copy in memory is.
    Raises LogNewer, LogReadOnly, LogDamaged, LogError.
    """
    check_kind(path)
    with explain_errors(path):
        if read_only:
            return _open_read_only(path, migrations)
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise LogReadOnly(
                f"the folder of the shot log {path} cannot be created ({error.strerror}); {_CURE}"
            ) from error
        connection = connect(str(path))
        try:
            _check_identity(connection, path, migrations)
            _set_up(connection)
            _migrate(connection, path, migrations)
            connection.execute("PRAGMA foreign_keys=ON")
        except BaseException:
            connection.close()
            raise
        return connection


_CURE = "change its permissions, or set BEAMFALL_LOG to a file that you may write to"


def check_kind(path: Path) -> None:
    """Refuse anything but a file before opening it: a pipe would block for ever."""
    try:
        mode = path.stat().st_mode
    except OSError:
        return  # missing, or not accessible: opening it shows which
    if stat.S_ISDIR(mode):
        raise LogError(f"the shot log {path} is a folder; set BEAMFALL_LOG to a file")
    if not stat.S_ISREG(mode):
        raise LogError(f"the shot log {path} is a device or a pipe; set BEAMFALL_LOG to a file")


def connect(address: str, *, uri: bool = False) -> sqlite3.Connection:
    """Open a database with the settings that every part of the log uses."""
    connection = sqlite3.connect(address, uri=uri, timeout=BUSY_S, isolation_level=None)
    # Damaged bytes must reach the checksum comparison and not end the whole query.
    connection.text_factory = lambda raw: raw.decode("utf-8", "surrogateescape")
    return connection


def _open_read_only(path: Path, migrations: Steps) -> sqlite3.Connection:
    address = path.resolve().as_uri()
    connection = connect(f"{address}?mode=ro", uri=True)
    try:
        try:
            version = _check_identity(connection, path, migrations)
        except (sqlite3.OperationalError, LogReadOnly):
            # In a folder that may not be written to, SQLite cannot make the file that readers of a
            # WAL database share. With no WAL left over, nobody writes, and it can be read without.
            connection.close()
            wal = path.with_name(path.name + "-wal")
            if not path.is_file() or (wal.exists() and wal.stat().st_size):
                raise
            connection = connect(f"{address}?immutable=1", uri=True)
            version = _check_identity(connection, path, migrations)
        if version == len(migrations):
            return connection
        if version and os.access(path, os.W_OK) and os.access(path.parent, os.W_OK):
            connection.close()
            open_database(path, migrations=migrations).close()
            return connect(f"{address}?mode=ro", uri=True)
        copy = connect(":memory:")
        connection.backup(copy)
        connection.close()
        _migrate(copy, path, migrations)
        return copy
    except BaseException:
        connection.close()
        raise


def _check_identity(connection: sqlite3.Connection, path: Path, migrations: Steps) -> int:
    """Return the file's version; refuse a file of another program and of a newer Beamfall."""
    # Read as of one moment: another program may just be making the log.
    with contextlib.ExitStack() as stack:
        if not connection.in_transaction:
            connection.execute("BEGIN")
            stack.callback(connection.rollback)
        tables = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
        version: int = connection.execute("PRAGMA user_version").fetchone()[0]
        identity = connection.execute("PRAGMA application_id").fetchone()[0]
    if identity != APPLICATION_ID and (tables or version):
        raise LogError(
            f"{path} is an SQLite file, but not a Beamfall shot log; set BEAMFALL_LOG to another"
        )
    if version > len(migrations):
        raise LogNewer(
            f"the shot log {path} has version {version}, but this Beamfall reads up to {len(migrations)}; "
            "update Beamfall, or set BEAMFALL_LOG to another file. It has not been touched"
        )
    return version


def _set_up(connection: sqlite3.Connection) -> None:
    deadline = time.monotonic() + BUSY_S
    while True:
        try:
            mode = connection.execute("PRAGMA journal_mode=WAL").fetchone()[0]
            break
        except sqlite3.OperationalError as error:
            # Changing the mode does not wait for another program that does the same.
            if error.sqlite_errorname != "SQLITE_BUSY" or time.monotonic() > deadline:
                raise
            time.sleep(0.02)
    # Some network folders cannot do WAL; then every commit is forced to the disk.
    connection.execute(f"PRAGMA synchronous={'NORMAL' if mode == 'wal' else 'FULL'}")


def _migrate(connection: sqlite3.Connection, path: Path, migrations: Steps) -> None:
    if connection.execute("PRAGMA user_version").fetchone()[0] == len(migrations):
        return
    connection.execute("BEGIN IMMEDIATE")
    try:
        # Another program may have done it while this one waited for its turn.
        version = _check_identity(connection, path, migrations)
        for step in migrations[version:]:
            step(connection)
        connection.execute(f"PRAGMA application_id={APPLICATION_ID}")
        connection.execute(f"PRAGMA user_version={len(migrations)}")
        connection.execute("COMMIT")
    except BaseException as error:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        if isinstance(error, DamagedRow):
            raise LogDamaged(path, f"{error.table} {error.number}", str(error)) from error
        raise


def _explain(path: Path, error: sqlite3.Error) -> LogError:
    name = getattr(error, "sqlite_errorname", "")
    if name.startswith("SQLITE_READONLY"):
        return LogReadOnly(f"the shot log {path} may not be written to; {_CURE}")
    if name.startswith("SQLITE_CANTOPEN"):
        writable = os.access(path if path.exists() else path.parent, os.W_OK)
        kind = LogError if writable else LogReadOnly
        return kind(f"the shot log {path} cannot be opened ({error}); {_CURE}")
    if name.startswith("SQLITE_CORRUPT"):
        return LogDamaged(path, "a part of the file", str(error))
    words = {
        "SQLITE_FULL": "the disk is full; make room. Shots already in the log are safe",
        "SQLITE_BUSY": f"another program has held it for more than {BUSY_S:.0f} s; close that one",
        "SQLITE_NOTADB": "this is not an SQLite file; set BEAMFALL_LOG to another",
        "SQLITE_IOERR": "the disk is full or reports an error; make room, or set BEAMFALL_LOG to another disk. "
        "Shots already in the log are safe",
    }
    for start, text in words.items():
        if name.startswith(start):
            return LogError(f"the shot log {path}: {text}")
    why = f"{error}, {name or type(error).__name__}"
    if name.startswith(("SQLITE_CONSTRAINT", "SQLITE_LOCKED", "SQLITE_NOMEM", "SQLITE_INTERRUPT")):
        return LogError(f"the shot log {path}: {why}")
    return LogDamaged(path, "a part of the file", why)
