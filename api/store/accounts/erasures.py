"""What was erased, remembered by names that tell nothing; and no trace left in the database's files.

Flow     erasing -> **erasures** -> tables, files of the database
Source   SQLite documentation, "PRAGMA secure_delete", "PRAGMA wal_checkpoint"; GDPR article 17
"""

import time
from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.orm import Session

from api.store.engine import Store, StoreUnavailableError
from api.store.tables.access import erasure

TRIES = 50
PAUSE_S = 0.1


def note_erasure(session: Session, kind: str, public_id: str, *, now: datetime) -> None:
    """Remember that an ``account`` or a ``tank`` was erased."""
    session.execute(sa.delete(erasure).where(erasure.c.public_id == public_id))
    session.execute(sa.insert(erasure).values(kind=kind, public_id=public_id, erased_at=now))


def list_erasures(session: Session) -> tuple[tuple[str, str], ...]:
    """List all that was erased: what it was, and its public id."""
    rows = session.execute(sa.select(erasure.c.kind, erasure.c.public_id).order_by(erasure.c.id))
    return tuple((row.kind, row.public_id) for row in rows)


def overwrite_what_is_deleted(session: Session) -> None:
    """Have whatever this transaction deletes overwritten, not only let go (SQLite)."""
    if session.get_bind().dialect.name == "sqlite":
        session.connection().exec_driver_sql("PRAGMA secure_delete = ON")


def leave_no_trace(store: Store) -> None:
    """Bring deletions from the write-ahead log into the file itself, and cut the log off.

    PostgreSQL is asked to make the room free; the bytes go when it is used again, or with
    ``VACUUM FULL``.

    Raises
    ------
    StoreUnavailableError
        When others read all the while; what was deleted is deleted, its traces go with the next checkpoint.
    """
    if store.engine.dialect.name != "sqlite":
        with store.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
            connection.exec_driver_sql("VACUUM")
        return
    raw = store.engine.raw_connection()
    try:
        for _ in range(TRIES):
            busy, *_rest = raw.driver_connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()  # type: ignore[union-attr]
            if not busy:
                return
            time.sleep(PAUSE_S)
    finally:
        raw.close()
    raise StoreUnavailableError("the write-ahead log is being read")
