"""A copy of the SQLite database while it is in use, opened and checked before it counts.

Flow     database -> **online copy** -> opened, checked -> folder; the oldest beyond a number go
Source   SQLite documentation, "Using the SQLite Online Backup API", "PRAGMA integrity_check"
"""

import os
import sqlite3
from contextlib import closing
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from api.store.engine import Store

PAGES = 1000
"""Pages copied at once; writers take turns with the copy. [pages]"""
PREFIX = "dipcast-"


class BackupError(Exception):
    """A copy could not be made, or is not sound; the copies before it stay."""


@dataclass(frozen=True, slots=True)
class Backup:
    """A copy that was opened and found sound."""

    path: Path
    tanks: int


def make_backup(store: Store, folder: Path, *, now: datetime, keep: int) -> Backup | None:
    """Copy the database, check the copy, and keep the newest copies only; None on PostgreSQL.

    Parameters
    ----------
    folder
        Where the copies lie; made where it is missing.
    now
        Names the copy.
    keep
        How many copies stay. The oldest by name goes, one at a time, and never the one just made.

    Raises
    ------
    BackupError
        When the copy cannot be made or is not sound; nothing is taken away then.
    """
    if store.engine.dialect.name != "sqlite":
        return None
    folder.mkdir(parents=True, exist_ok=True)
    made = folder / f"{PREFIX}{now:%Y%m%dT%H%M%SZ}.db"
    part = made.with_suffix(".part")
    try:
        with store.engine.connect() as connection:
            raw = connection.connection.driver_connection
            assert isinstance(raw, sqlite3.Connection)
            connection.exec_driver_sql("COMMIT")  # the copy takes its own look at the database
            with closing(sqlite3.connect(part)) as copy:
                raw.backup(copy, pages=PAGES)
                # a single file, whole by itself
                copy.execute("PRAGMA journal_mode = delete")
            connection.exec_driver_sql("BEGIN")
        tanks = check_backup(part)
        with part.open("rb+") as file:
            os.fsync(file.fileno())
        part.replace(made)
    except (sqlite3.Error, OSError) as bad:
        part.unlink(missing_ok=True)
        raise BackupError(type(bad).__name__) from bad
    except BackupError:
        part.unlink(missing_ok=True)
        raise
    copies = sorted(folder.glob(f"{PREFIX}*.db"))
    if len(copies) > keep and copies[0] != made:
        copies[0].unlink()
    return Backup(made, tanks)


def check_backup(path: Path) -> int:
    """Open a copy and check it whole; how many tanks are in it.

    Raises
    ------
    BackupError
        When it is damaged, or no database of this program.
    """
    try:
        with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)) as copy:
            verdict = copy.execute("PRAGMA integrity_check").fetchone()[0]
            broken = copy.execute("PRAGMA foreign_key_check").fetchone()
            tanks = int(copy.execute("SELECT count(*) FROM tank").fetchone()[0])
    except sqlite3.Error as bad:
        raise BackupError(type(bad).__name__) from bad
    if verdict != "ok" or broken is not None:
        raise BackupError("the copy is damaged")
    return tanks
