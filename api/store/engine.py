"""The connection to the database, and the two ways of using it: reading and writing.

An acknowledged reading must outlive a crash and a power cut, so a connection that could lose a
commit is refused: SQLite must keep a write-ahead log with full synchronisation, PostgreSQL must
not have its syncs switched off.

Flow     settings -> **engine** -> Store -> use cases
Source   SQLite documentation, "PRAGMA synchronous", "Write-Ahead Logging"; PostgreSQL manual, "Reliability"
"""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy.exc import DBAPIError, OperationalError
from sqlalchemy.exc import TimeoutError as PoolTimeout
from sqlalchemy.orm import Session

BUSY_MS = 5_000
"""How long a writer waits for another on SQLite. [ms]"""
WAIT_S = 2
"""How long to wait for a connection to PostgreSQL before saying that it is down. [s]"""
_SQLITE = {"journal_mode": "wal", "synchronous": 2, "foreign_keys": 1}
_POSTGRESQL = ("fsync", "synchronous_commit", "full_page_writes")


class UnsafeDatabaseError(Exception):
    """The database could lose what it has acknowledged; the service does not start on it."""


class StoreUnavailableError(Exception):
    """The database does not answer, or cannot write (down, locked, disk full); try again later."""


def make_engine(url: str, *, durable: bool = True) -> sa.Engine:
    """Make the engine for a database address.

    Parameters
    ----------
    url
        ``sqlite:///file`` or ``postgresql+psycopg://...``.
    durable
        Refuse a PostgreSQL server with its syncs switched off. Only tests of other things turn
        this off.

    Raises
    ------
    ValueError
        For another kind of database, or SQLite in memory.

    Examples
    --------
    >>> make_engine("sqlite://")
    Traceback (most recent call last):
    ValueError: give a file for the SQLite database: sqlite:///file
    """
    address = sa.make_url(url)
    backend = address.get_backend_name()
    if backend == "sqlite":
        return _sqlite_engine(address)
    if backend == "postgresql":
        return _postgresql_engine(address, durable=durable)
    raise ValueError("give a database address that begins with sqlite:// or postgresql+psycopg://")


def _sqlite_engine(address: sa.URL) -> sa.Engine:
    if not address.database or address.database == ":memory:":
        raise ValueError("give a file for the SQLite database: sqlite:///file")
    Path(address.database).parent.mkdir(parents=True, exist_ok=True)
    engine = sa.create_engine(address, hide_parameters=True, pool_timeout=WAIT_S)

    @sa.event.listens_for(engine, "connect")
    def prepare(connection: Any, record: object) -> None:
        connection.isolation_level = None  # the driver's own BEGIN comes too late: lost updates
        connection.execute(f"PRAGMA busy_timeout = {BUSY_MS}")
        for name, value in _SQLITE.items():
            connection.execute(f"PRAGMA {name} = {value}")

    @sa.event.listens_for(engine, "checkout")
    def verify(connection: Any, record: object, proxy: object) -> None:
        for name, wanted in _SQLITE.items():
            if (got := connection.execute(f"PRAGMA {name}").fetchone()[0]) != wanted:
                raise UnsafeDatabaseError(
                    f"SQLite has {name} = {got}, not {wanted}: is it on a network drive?"
                )

    @sa.event.listens_for(engine, "begin")
    def begin(connection: sa.Connection) -> None:
        reading = connection.get_execution_options().get("reading", False)
        connection.exec_driver_sql("BEGIN" if reading else "BEGIN IMMEDIATE")

    return engine


def _postgresql_engine(address: sa.URL, *, durable: bool) -> sa.Engine:
    engine = sa.create_engine(
        address.set(drivername="postgresql+psycopg"),
        hide_parameters=True,
        pool_pre_ping=True,
        pool_timeout=WAIT_S,
        connect_args={"connect_timeout": WAIT_S},
    )

    @sa.event.listens_for(engine, "connect")
    def verify(connection: Any, record: object) -> None:
        if not durable:
            return
        with connection.cursor() as cursor:
            for name in _POSTGRESQL:
                if cursor.execute(f"SHOW {name}").fetchone()[0] == "off":
                    raise UnsafeDatabaseError(f"PostgreSQL has {name} = off: a power cut would lose readings")
        connection.rollback()

    return engine


class Store:
    """The database as use cases see it: a transaction to read in, or one to write in."""

    def __init__(self, engine: sa.Engine) -> None:
        self.engine = engine

    @contextmanager
    def write(self) -> Iterator[Session]:
        """Open a transaction that is committed when the block ends, and only then.

        This is the one place where the service commits: what is answered after the block is stored.

        Raises
        ------
        StoreUnavailableError
            When the database is down, locked or full; nothing of the block is stored.
        """
        with _plainly(), Session(self.engine, expire_on_commit=False) as session, session.begin():
            session.connection()  # SQLite: take the write lock now, before anything is looked at
            yield session

    @contextmanager
    def read(self) -> Iterator[Session]:
        """Open a transaction that sees one state of the database and stores nothing.

        Raises
        ------
        StoreUnavailableError
            When the database is down.
        """
        with _plainly(), Session(self.engine) as session:
            session.connection(execution_options={"reading": True})
            yield session
            session.rollback()


@contextmanager
def _plainly() -> Iterator[None]:
    try:
        yield
    except (OperationalError, PoolTimeout) as trouble:
        raise StoreUnavailableError(type(trouble).__name__) from trouble
    except DBAPIError as trouble:
        if trouble.connection_invalidated:
            raise StoreUnavailableError(type(trouble).__name__) from trouble
        raise
