"""Connections that could lose a commit are refused; a write is all or nothing."""

import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
import sqlalchemy as sa

from api.store import Store, StoreUnavailableError, UnsafeDatabaseError, make_engine


@pytest.fixture
def counter(store: Store) -> Iterator[Store]:
    """A store with a table that holds one number."""
    with store.engine.begin() as connection:
        connection.execute(sa.text("CREATE TABLE counter (n INTEGER NOT NULL)"))
        connection.execute(sa.text("INSERT INTO counter VALUES (0)"))
    yield store
    with store.engine.begin() as connection:
        connection.execute(sa.text("DROP TABLE counter"))


def _count(store: Store) -> int:
    with store.read() as session:
        return int(session.scalar(sa.text("SELECT n FROM counter")))


@pytest.mark.parametrize(
    ("name", "value"), [("journal_mode", "wal"), ("synchronous", 2), ("foreign_keys", 1)]
)
def test_sqlite_connection_is_durable(sqlite_url: str, name: str, value: object) -> None:
    """Each SQLite connection writes ahead, syncs fully and checks foreign keys."""
    engine = make_engine(sqlite_url)
    with engine.connect() as connection:
        assert connection.exec_driver_sql(f"PRAGMA {name}").scalar() == value
    engine.dispose()


def test_sqlite_with_less_synchronisation_is_refused(sqlite_url: str) -> None:
    """A SQLite connection whose synchronisation was lowered is not given out again."""
    engine = make_engine(sqlite_url)
    with engine.connect() as connection:
        connection.connection.driver_connection.execute("PRAGMA synchronous = NORMAL")
    with pytest.raises(UnsafeDatabaseError, match="synchronous = 1"):
        engine.connect()
    engine.dispose()


@pytest.mark.parametrize("name", ["fsync", "full_page_writes", "synchronous_commit"])
def test_postgresql_without_syncs_is_refused(postgresql_url: sa.URL, name: str) -> None:
    """A PostgreSQL server that does not sync its commits is refused, unless a test says otherwise."""
    admin = sa.create_engine(postgresql_url, isolation_level="AUTOCOMMIT")
    url = postgresql_url.render_as_string(hide_password=False)
    with admin.connect() as connection:
        connection.exec_driver_sql(f"ALTER SYSTEM SET {name} = off")
        connection.exec_driver_sql("SELECT pg_reload_conf()")
        try:
            _wait_for(connection, name, "off")
            with pytest.raises(UnsafeDatabaseError, match=f"{name} = off"):
                make_engine(url).connect()
            allowed = make_engine(url, durable=False)
            with allowed.connect() as other:
                assert other.scalar(sa.text("SELECT 1")) == 1
            allowed.dispose()
        finally:
            connection.exec_driver_sql(f"ALTER SYSTEM RESET {name}")
            connection.exec_driver_sql("SELECT pg_reload_conf()")
            _wait_for(connection, name, "on")
    admin.dispose()


def _wait_for(connection: sa.Connection, name: str, value: str) -> None:
    for _ in range(500):
        if connection.exec_driver_sql(f"SHOW {name}").scalar() == value:
            return
        connection.exec_driver_sql("SELECT pg_sleep(0.01)")
    raise AssertionError(f"{name} did not become {value}")


def test_other_databases_are_refused() -> None:
    """Only a SQLite file and PostgreSQL are databases of ours."""
    for url in ("sqlite://", "sqlite:///:memory:", "mysql://localhost/x"):
        with pytest.raises(ValueError, match="sqlite"):
            make_engine(url)


def test_four_writers_lose_no_update(counter: Store) -> None:
    """Four threads that read and then write add up to all their additions."""

    def add() -> None:
        for _ in range(25):
            with counter.write() as session:
                lock = "" if counter.engine.dialect.name == "sqlite" else " FOR UPDATE"
                n = session.scalar(sa.text(f"SELECT n FROM counter{lock}"))
                session.execute(sa.text("UPDATE counter SET n = :n"), {"n": n + 1})

    threads = [threading.Thread(target=add) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert _count(counter) == 100


def test_a_failed_block_stores_nothing(counter: Store) -> None:
    """What an interrupted writing block did is undone."""

    def write_half() -> None:
        with counter.write() as session:
            session.execute(sa.text("UPDATE counter SET n = 7"))
            raise RuntimeError("the power went")

    with pytest.raises(RuntimeError, match="the power went"):
        write_half()
    assert _count(counter) == 0


def test_a_reading_block_stores_nothing(counter: Store) -> None:
    """Nothing done in a reading block stays."""
    with counter.read() as session:
        session.execute(sa.text("UPDATE counter SET n = 7"))
    assert _count(counter) == 0


def test_readers_do_not_wait_for_a_writer(counter: Store) -> None:
    """While one block writes, another reads the state before it."""
    with counter.write() as session:
        session.execute(sa.text("UPDATE counter SET n = 7"))
        assert _count(counter) == 0
    assert _count(counter) == 7


def test_a_locked_database_is_unavailable(sqlite_url: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """A database locked for too long is said to be unavailable, not a failure of the program."""
    monkeypatch.setattr("api.store.engine.BUSY_MS", 50)
    first, second = Store(make_engine(sqlite_url)), Store(make_engine(sqlite_url))
    with first.write(), pytest.raises(StoreUnavailableError), second.write():
        pass
    first.engine.dispose()
    second.engine.dispose()


def test_a_server_that_is_not_there_is_unavailable(tmp_path: Path) -> None:
    """A PostgreSQL that does not answer is said to be unavailable."""
    store = Store(make_engine(f"postgresql+psycopg://postgres@/x?host={tmp_path}"))
    with pytest.raises(StoreUnavailableError), store.read():
        pass
    store.engine.dispose()
