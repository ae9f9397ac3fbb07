"""Export and erasure are complete: every table stands in the register, and nothing of an erased home is left."""

import io
import json
import zipfile
from collections.abc import Iterator
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from api.settings import Settings
from api.store import Session
from api.store.accounts.belongings import REGISTER, Nobodys, Whose, belongs_to, rows_of
from api.store.accounts.erasures import list_erasures
from api.store.tables import metadata
from api.store.tables.access import account
from api.usecases.accounts.erasing import erase_account, erase_again, erase_tank
from api.usecases.accounts.exporting import export_account, export_tank
from api.wiring import Services, make_services
from tests.api.access.worlds import World, make_world
from tests.api.conftest import NOW, StandingClock

CANARY = "CANARY-a-row"
ROWS_EACH = 20
"""Rows put into every table of a home: some hundreds together."""


@pytest.fixture
def services(database_url: str, clock: StandingClock) -> Iterator[Services]:
    """A service with accounts, once on each of the two databases."""
    made = make_services(Settings(database=database_url, mode="server"), clock=clock)
    yield made
    made.store.engine.dispose()


def test_every_table_stands_in_the_register() -> None:
    """A table is somebody's by some way, or nobody's for some reason; none is forgotten, and none made up."""
    assert set(REGISTER) == set(metadata.tables)
    for name, entry in REGISTER.items():
        if isinstance(entry, Nobodys):
            assert len(entry.why.split()) > 3, name


def test_every_way_of_the_register_leads_to_a_person() -> None:
    """Each table that belongs to somebody leads to an account or a tank, by columns that are there."""
    for name, entry in REGISTER.items():
        table = metadata.tables[name]
        found = [root for root in ("account", "tank") if belongs_to(table, root, 1) is not None]
        assert bool(found) == (not isinstance(entry, Nobodys)), name
        if isinstance(entry, Whose):
            assert {*entry.by, *entry.secret} <= set(table.c.keys()), name


def test_whatever_points_at_a_person_belongs_to_one() -> None:
    """A table with a key towards something that is somebody's is itself somebody's, by such a key."""
    for name, entry in REGISTER.items():
        pointing = {
            key.parent.name
            for key in metadata.tables[name].foreign_keys
            if isinstance(REGISTER[key.column.table.name], Whose)
        }
        by = set(entry.by) if isinstance(entry, Whose) else set()
        assert by <= pointing, name
        assert bool(by) == bool(pointing), name


def test_nobody_owns_what_hashes_and_opens() -> None:
    """What opens something is a hash or is called secret, and each such column is marked as never taken out."""
    for name, entry in REGISTER.items():
        columns = [column.name for column in metadata.tables[name].c]
        opening = {c for c in columns if c.endswith("_hash") or "secret" in c or c == "totp_waiting"}
        if isinstance(entry, Whose):
            assert opening <= set(entry.secret), name


def fill(session: Session, world: World) -> int:
    """Put rows with the canary in every text into every table that belongs to the world's tank; how many."""
    count = 0
    for table in metadata.sorted_tables:
        entry = REGISTER[table.name]
        is_its = isinstance(entry, Whose) and belongs_to(table, "tank", world.tank_id) is not None
        if not is_its or table.name == "tank":
            continue
        for number in range(ROWS_EACH):
            row = made_up_row(session, table, world, number)
            with session.begin_nested() as attempt:
                try:
                    session.execute(sa.insert(table).values(**row))
                    count += 1
                except sa.exc.IntegrityError:
                    attempt.rollback()
    return count


def made_up_row(session: Session, table: sa.Table, world: World, number: int) -> dict[str, Any]:
    """Make a row up that a table takes: allowed words where only some are, the canary in every other text."""
    allowed = {
        str(c.name): str(c.sqltext) for c in table.constraints if isinstance(c, sa.CheckConstraint) and c.name
    }
    row: dict[str, Any] = {}
    for column in table.c:
        key = next(iter(column.foreign_keys), None)
        words = next((t for t in allowed.values() if t.startswith(f"{column.name} IN")), None)
        if key is not None:
            row[column.name] = pointed_at(session, key.column.table, world, number)
        elif column.primary_key and isinstance(column.type, sa.Integer):
            continue
        elif words is not None:
            row[column.name] = words.split("'")[1]
        else:
            row[column.name] = made_up_value(column, number)
    if table.name == "account_session":
        row["paired_as"] = None
    return row


def pointed_at(session: Session, table: sa.Table, world: World, number: int) -> Any:
    """Find a row of another table of the same world to point at."""
    if table.name == "account":
        return [p.account_id for p in world.people.values() if p.account_id][number % 9]
    if table.name == "station":
        return None
    key = next(iter(table.primary_key.columns))
    condition = belongs_to(table, "tank", world.tank_id)
    found = session.scalars(sa.select(key).where(condition).order_by(key)).all()  # type: ignore[arg-type]
    return found[number % len(found)] if found else None


def made_up_value(column: sa.Column[Any], number: int) -> Any:
    """Make a value up that no other row has."""
    kind = column.type
    if isinstance(kind, sa.Boolean):
        return False
    if isinstance(kind, sa.Integer):
        return number + 1
    if isinstance(kind, sa.Date):
        return date(2025, 1, 1) + timedelta(days=number)
    if isinstance(kind, sa.LargeBinary):
        return f"{CANARY}-{number}".encode()
    if isinstance(kind, sa.Float) or "Finite" in type(kind).__name__:
        return 10.0 + number
    if "Instant" in type(kind).__name__:
        late = column.name.startswith("end")
        return datetime(2025, 1, 1, tzinfo=NOW.tzinfo) + timedelta(days=number, hours=12 * late)
    return f"{CANARY}-{column.name}-{number}"


def unpack(archive: bytes) -> tuple[dict[str, list[dict[str, Any]]], list[str]]:
    """Read an archive: everything as one object, and the names of its files."""
    with zipfile.ZipFile(io.BytesIO(archive)) as packed:
        assert packed.testzip() is None
        return json.loads(packed.read("everything.json")), packed.namelist()


def count_canaries(services: Services) -> int:
    """Count the rows of all tables in which a canary of world ``a`` stands."""
    with services.store.read() as session:
        return sum(
            "canary-a" in repr(tuple(row)).lower()
            for table in metadata.sorted_tables
            for row in session.execute(table.select())
        )


def test_an_export_has_every_row_of_the_home_and_no_secret(services: Services) -> None:
    """Some hundreds of canary rows all stand in the archive, as JSON and as CSV; the other home's do not."""
    own, other = (make_world(services.store, name, NOW) for name in ("a", "b"))
    with services.store.write() as session:
        made = fill(session, own)
    assert made >= 200
    with services.store.read() as session:
        everything, names = unpack(export_account(session, own.people["owner"].account_id or 0))
        alone, _ = unpack(export_tank(session, own.tank_id))
        kept = {name: len(rows) for name, rows in rows_of(session, "tank", own.tank_id) if rows}
    assert {name: len(rows) for name, rows in alone.items() if rows} == kept
    for name, count in kept.items():
        assert len(everything[name]) >= count, name
        assert f"tables/{name}.csv" in names
    text = json.dumps(everything)
    assert text.count(CANARY) >= made
    assert other.canary not in text
    assert "canary-b" not in text
    for entry in REGISTER.values():
        if isinstance(entry, Whose):
            assert [secret for secret in entry.secret if f'"{secret}"' in text] == []


def test_a_member_takes_out_only_their_own_part(services: Services) -> None:
    """Whoever looks on takes out their account and their share, not the tank's readings."""
    own = make_world(services.store, "a", NOW)
    with services.store.read() as session:
        everything, _ = unpack(export_account(session, own.people["member"].account_id or 0))
    assert len(everything["account"]) == 1
    assert len(everything["tank_grant"]) == 1
    assert "reading" not in everything


def test_after_erasure_no_row_of_the_home_is_left_and_all_of_the_other(services: Services) -> None:
    """Erasing the owner takes the tank that only they own with it; the other home is as it was."""
    own, other = (make_world(services.store, name, NOW) for name in ("a", "b"))
    with services.store.write() as session:
        fill(session, own)
    with services.store.read() as session:
        before, _ = unpack(export_account(session, other.people["owner"].account_id or 0))
    for person in own.people.values():
        if person.account_id is not None:
            erase_account(services.store, services.clock, person.account_id)
    assert count_canaries(services) == 0
    with services.store.read() as session:
        after, _ = unpack(export_account(session, other.people["owner"].account_id or 0))
        assert ("tank", own.tank) in list_erasures(session)
    assert after == before


def test_no_byte_of_an_erased_home_is_left_in_the_files(sqlite_url: str, clock: StandingClock) -> None:
    """The database, its log and whatever lies beside it hold no canary after erasure, in plain bytes."""
    services = make_services(Settings(database=sqlite_url, mode="server"), clock=clock)
    own = make_world(services.store, "a", NOW)
    for part in range(3):
        with services.store.write() as session:
            fill(session, own)
            session.execute(account.update().values(totp_waiting=f"{CANARY}-changed-{part}"))
    assert traces(sqlite_url) > 200
    for person in own.people.values():
        if person.account_id is not None:
            erase_account(services.store, services.clock, person.account_id)
    assert traces(sqlite_url) == 0
    services.store.engine.dispose()


def traces(url: str) -> int:
    """Count the canaries in the bytes of a SQLite database's files."""
    file = Path(sa.make_url(url).database or "")
    found = 0
    for path in file.parent.glob(f"{file.name}*"):
        raw = path.read_bytes().lower()
        found += raw.count(b"canary-a")
    return found


def test_an_older_backup_is_erased_again(services: Services) -> None:
    """What the list of erasures names is erased wherever it comes back; what is not there is passed over."""
    own, other = (make_world(services.store, name, NOW) for name in ("a", "b"))
    listed = [("tank", own.tank), ("tank", "never-was"), ("account", "never-was")]
    assert erase_again(services.store, services.clock, listed) == 1
    with services.store.read() as session:
        assert list_erasures(session) == (("tank", own.tank),)
        assert unpack(export_tank(session, other.tank_id))[0]["reading"]


def test_weather_goes_with_the_last_tank_that_rests_on_it(services: Services) -> None:
    """A station, which is named after its tank, goes with it, and stays while another tank rests on it."""
    own, other = (make_world(services.store, name, NOW) for name in ("a", "b"))
    tank, station = metadata.tables["tank"], metadata.tables["station"]
    with services.store.write() as session:
        for number, name in enumerate(("shared", f"weather of {own.tank}"), 1):
            session.execute(station.insert().values(id=number, name=name, kind="mean"))
        session.execute(tank.update().values(station_id=1))
        session.execute(tank.update().where(tank.c.id == own.tank_id).values(years_station_id=2))
        day = {"station_id": 2, "date": date(2025, 1, 1), "temp_c": 3.0}
        session.execute(metadata.tables["weather_day"].insert().values(**day))
    erase_tank(services.store, services.clock, own.tank_id)
    with services.store.read() as session:
        assert session.scalars(sa.select(station.c.name)).all() == ["shared"]
        assert session.scalars(sa.select(metadata.tables["weather_day"].c.station_id)).all() == []
    erase_tank(services.store, services.clock, other.tank_id)
    with services.store.read() as session:
        assert session.scalars(sa.select(station.c.name)).all() == []


def test_a_text_that_looks_like_a_formula_is_none_in_a_table(services: Services) -> None:
    """A spreadsheet does not reckon with what somebody typed: such a text begins with an apostrophe."""
    own = make_world(services.store, "a", NOW)
    with services.store.write() as session:
        tank = metadata.tables["tank"]
        session.execute(tank.update().where(tank.c.id == own.tank_id).values(name='=HYPERLINK("x")'))
    with (
        services.store.read() as session,
        zipfile.ZipFile(io.BytesIO(export_tank(session, own.tank_id))) as packed,
    ):
        assert "\"'=HYPERLINK(" in packed.read("tables/tank.csv").decode()
