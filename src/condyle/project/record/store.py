"""The record's file: one SQLite database, opened safely, brought up to date by numbered steps.

Write-ahead logging keeps what was committed through a crash or a pulled plug; a check of the whole file at each opening
finds damage before anything is added to it. Nothing is ever overwritten: what was entered by mistake is withdrawn.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from condyle.errors import InputError, Place

APPLICATION = 0x436F6E64  # "Cond": tells our files from other databases
WAIT_S = 10.0

MIGRATIONS: tuple[str, ...] = (
    """
    CREATE TABLE job (
        id INTEGER PRIMARY KEY,
        build TEXT,
        printer TEXT NOT NULL,
        material TEXT NOT NULL,
        at TEXT NOT NULL,
        time_s REAL CHECK (time_s IS NULL OR time_s > 0),
        mass_g REAL CHECK (mass_g IS NULL OR mass_g > 0),
        laid_mm3 REAL, layers INTEGER, part_layers INTEGER,
        withdrawn TEXT
    ) STRICT;
    CREATE TABLE attempt (
        id INTEGER PRIMARY KEY,
        job INTEGER NOT NULL REFERENCES job (id),
        figure TEXT NOT NULL,
        part TEXT NOT NULL,
        part_hash TEXT,
        at TEXT NOT NULL,
        outcome TEXT NOT NULL CHECK (outcome IN ('printed', 'failed')),
        how TEXT CHECK ((how IS NULL) = (outcome = 'printed')),
        up_x REAL, up_y REAL, up_z REAL,
        settings TEXT NOT NULL DEFAULT '{}',
        note TEXT NOT NULL DEFAULT '',
        withdrawn TEXT
    ) STRICT;
    CREATE INDEX attempt_by_part ON attempt (figure, part, id);
    CREATE INDEX attempt_by_job ON attempt (job);
    CREATE TABLE tick (
        id INTEGER PRIMARY KEY,
        figure TEXT NOT NULL,
        part TEXT NOT NULL,
        part_hash TEXT,
        step TEXT NOT NULL,
        done INTEGER NOT NULL CHECK (done IN (0, 1)),
        at TEXT NOT NULL
    ) STRICT;
    CREATE INDEX tick_by_part ON tick (figure, part, step, id);
    """,
)


@contextmanager
def opened(path: Path) -> Iterator[sqlite3.Connection]:
    """The record at ``path``, made when it is not there; one transaction, kept whole when the block ends well.

    Raises InputError: ``record.unreadable`` when the place cannot be used, ``record.foreign`` for another program's
    database, ``record.newer`` for one of a later Condyle, ``record.damaged`` when the check of the file fails,
    ``record.busy`` when another program holds it for longer than 10 s. The file is left as it was.
    """
    place = Place(file=str(path))
    _refuse_special(path, place)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        connection = sqlite3.connect(path, timeout=WAIT_S, isolation_level=None)
    except (OSError, sqlite3.Error) as error:
        raise _unreadable(error, place) from error
    try:
        with _told(place):
            _prepare(connection, place)
            connection.execute("BEGIN IMMEDIATE")
        try:
            with _told(place):
                yield connection
        except BaseException:
            with suppress(sqlite3.Error):  # a full disk has rolled it back already
                connection.execute("ROLLBACK")
            raise
        with _told(place):
            connection.execute("COMMIT")
    finally:
        connection.close()


def _refuse_special(path: Path, place: Place) -> None:
    if path.exists() and not path.is_file():
        hint = "give the name of a file, such as record.sqlite"
        raise InputError("record.unreadable", "this is not a regular file", hint=hint, place=place)


@contextmanager
def _told(place: Place) -> Iterator[None]:
    """Whatever SQLite says, in our words."""
    try:
        yield
    except sqlite3.IntegrityError:
        raise  # what breaks a rule of the tables is a mistake of ours
    except sqlite3.OperationalError as error:
        if "locked" in str(error) or "busy" in str(error):
            hint = "close the other program that is writing to it, and try again"
            raise InputError("record.busy", "another program holds this record", hint=hint, place=place) from error
        raise _unreadable(error, place) from error
    except sqlite3.DatabaseError as error:
        raise _damaged(str(error), place) from error


def _prepare(connection: sqlite3.Connection, place: Place) -> None:
    (application,) = connection.execute("PRAGMA application_id").fetchone()
    (version,) = connection.execute("PRAGMA user_version").fetchone()
    (tables,) = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
    if application != APPLICATION and (application or tables):
        hint = "give the record a file of its own"
        raise InputError("record.foreign", "this database is not a record of ours", hint=hint, place=place)
    if version > len(MIGRATIONS):
        raise InputError(
            "record.newer",
            f"this record is of version {version}, and this Condyle knows up to {len(MIGRATIONS)}",
            hint="use the newer Condyle that wrote it",
            place=place,
        )
    if tables:
        (verdict,) = connection.execute("PRAGMA quick_check(1)").fetchone()
        if verdict != "ok":
            raise _damaged(str(verdict), place)
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("PRAGMA synchronous = FULL")
    if version < len(MIGRATIONS):
        _migrate(connection)


def _migrate(connection: sqlite3.Connection) -> None:
    """Bring the tables up to date, all steps or none; another program may have done it while we waited."""
    connection.execute("BEGIN IMMEDIATE")
    try:
        (version,) = connection.execute("PRAGMA user_version").fetchone()
        for number, step in enumerate(MIGRATIONS[version:], start=version + 1):
            for statement in filter(str.strip, step.split(";")):
                connection.execute(statement)
            connection.execute(f"PRAGMA user_version = {number}")
        connection.execute(f"PRAGMA application_id = {APPLICATION}")
        connection.execute("COMMIT")
    except BaseException:
        connection.execute("ROLLBACK")
        raise


def _damaged(words: str, place: Place) -> InputError:
    return InputError(
        "record.damaged",
        f"this record is damaged: {words.splitlines()[0]}",
        hint="set it aside and put a backup in its place; nothing was changed in it",
        place=place,
    )


def _unreadable(error: Exception, place: Place) -> InputError:
    words = getattr(error, "strerror", None) or str(error)
    hint = "check the path, the rights and the room on the disk; what was entered before stands as it was"
    return InputError("record.unreadable", f"cannot be opened or written: {words}", hint=hint, place=place)
