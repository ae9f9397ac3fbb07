"""Backups: made while the database is written, checked, kept by number."""

import sqlite3
import threading
from collections.abc import Iterator
from contextlib import closing
from datetime import timedelta
from pathlib import Path

import pytest

from api.store import Store, make_engine
from api.store.backup import BackupError, check_backup, make_backup
from api.store.tanks import save_tank
from tests.api.conftest import NOW


@pytest.fixture
def home(sqlite_url: str) -> Iterator[Store]:
    """A home's database."""
    engine = make_engine(sqlite_url)
    yield Store(engine)
    engine.dispose()


def _add(store: Store) -> None:
    with store.write() as session:
        save_tank(session, name="Byre", zone="UTC", toml="", created_at=NOW)


def test_a_copy_holds_what_was_there(home: Store, tmp_path: Path) -> None:
    """A copy is one file that opens by itself and has every tank of its instant."""
    _add(home)
    made = make_backup(home, tmp_path / "copies", now=NOW, keep=7)
    assert made is not None
    assert made.tanks == 1
    assert [p.name for p in (tmp_path / "copies").iterdir()] == ["dipcast-20260110T120000Z.db"]
    with closing(sqlite3.connect(made.path)) as copy:
        assert copy.execute("SELECT name FROM tank").fetchall() == [("Byre",)]


def test_copying_stands_writers(home: Store, tmp_path: Path) -> None:
    """Copies made while tanks are added are sound, and no writer is turned away."""
    stop, added = threading.Event(), []

    def write() -> None:
        while not stop.is_set():
            _add(home)
            added.append(1)

    writer = threading.Thread(target=write)
    writer.start()
    copies = [make_backup(home, tmp_path, now=NOW + timedelta(hours=i), keep=9) for i in range(3)]
    stop.set()
    writer.join()
    tanks = [copy.tanks for copy in copies if copy is not None]
    assert len(tanks) == 3
    assert tanks == sorted(tanks)
    assert tanks[-1] <= len(added)


def test_the_newest_copies_stay(home: Store, tmp_path: Path) -> None:
    """Of five copies with three to keep the three newest are there."""
    for day in range(5):
        make_backup(home, tmp_path, now=NOW + timedelta(days=day), keep=3)
    assert [p.name[8:16] for p in sorted(tmp_path.glob("*.db"))[:2]] == ["20260112", "20260113"]
    assert len(list(tmp_path.glob("dipcast-*"))) == 3


def test_a_damaged_copy_is_found(home: Store, tmp_path: Path) -> None:
    """A copy with a page overwritten, and a file that is no database, are refused."""
    for _ in range(50):
        _add(home)
    made = make_backup(home, tmp_path, now=NOW, keep=3)
    assert made is not None
    raw = bytearray(made.path.read_bytes())
    raw[4096 : 4096 * 8] = b"\xff" * 4096 * 7
    made.path.write_bytes(raw)
    with pytest.raises(BackupError):
        check_backup(made.path)
    (tmp_path / "other.db").write_bytes(b"")
    with pytest.raises(BackupError):
        check_backup(tmp_path / "other.db")
