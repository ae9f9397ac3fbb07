"""Which rows are whose: the one register behind export and erasure.

Every table stands here, as belonging to somebody, with the columns that lead to whose it is, or as
nobody's, with the reason; a table that stands nowhere fails the tests. What is taken out and what is
erased both follow the register, so neither can forget what the other knows.

Flow     tables -> **belongings** -> exporting, erasing
Source   GDPR articles 15, 17, 20
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from api.store.tables import metadata


@dataclass(frozen=True, slots=True)
class Whose:
    """How a table's rows lead to a person.

    Attributes
    ----------
    by
        Columns that point towards the account or the tank a row belongs to; any one of them is enough.
    secret
        Columns that open something, or would if they were guessed: erased, but never taken out.
    """

    by: tuple[str, ...] = ()
    secret: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Nobodys:
    """A table without anything of a person, and why."""

    why: str


@dataclass(frozen=True, slots=True)
class OfItsTanks:
    """A source of weather, or what came from it: belongs to whose tanks rest on it, and goes with the last."""

    column: str


_OF_TANK, _OF_SENSOR = Whose(("tank_id",)), Whose(("sensor_id",))
REGISTER: Mapping[str, Whose | Nobodys | OfItsTanks] = MappingProxyType(
    {
        # the two that things belong to
        "account": Whose(secret=("password_hash", "totp_secret", "totp_waiting")),
        "tank": Whose(),
        # of tanks
        "tank_version": _OF_TANK,
        "tank_text": _OF_TANK,
        "sensor": _OF_TANK,
        "reading": _OF_SENSOR,
        "reading_aside": _OF_SENSOR,
        "delivery": _OF_TANK,
        "receipt": _OF_TANK,
        "forecast": _OF_TANK,
        "refit": _OF_TANK,
        "ordering": _OF_TANK,
        "mapping": _OF_SENSOR,
        "letter": Whose(("mapping_id",)),
        "oil_order": _OF_TANK,
        "order_change": Whose(("order_id",)),
        "refill": _OF_TANK,
        "reminder": _OF_TANK,
        "contact": Whose(("tank_id",), secret=("secret", "earlier_secret", "token_hash")),
        "outbox": Whose(("reminder_id", "contact_id")),
        "silence": _OF_TANK,
        "calendar_feed": Whose(("tank_id",), secret=("token_hash",)),
        # of accounts, and between accounts and tanks
        "account_session": Whose(("account_id",), secret=("token_hash",)),
        "tank_grant": Whose(("account_id", "tank_id")),
        "installer_job": Whose(("account_id", "tank_id")),
        "supply_link": Whose(("account_id", "tank_id")),
        "invitation": Whose(("account_id", "invited_by", "tank_id"), secret=("token_hash",)),
        "setup_draft": Whose(("account_id", "tank_id")),
        "access_key": Whose(("tank_id",), secret=("secret_hash",)),
        # weather
        "station": OfItsTanks("id"),
        "weather_day": OfItsTanks("station_id"),
        "outlook_day": OfItsTanks("station_id"),
        "weather_source": OfItsTanks("station_id"),
        # nobody's
        "attempt": Nobodys("subjects are hashed; an account's is forgotten with it, others after a month"),
        "pairing_code": Nobodys("a code for some minutes, of whoever is in the house"),
        "erasure": Nobodys("names that tell nothing, kept so that a restored backup is erased again"),
        "dropped": Nobodys("counts of messages by topic, without their content"),
        "job_claim": Nobodys("which run of a job was taken by which process"),
        "notice": Nobodys("trouble of the service, told to the person who runs it"),
        "pulse": Nobodys("when something was last seen in order"),
    }
)


def rows_of(session: Session, root: str, root_id: int) -> Iterator[tuple[str, list[dict[str, Any]]]]:
    """Go through all that belongs to an account or a tank (``root``), table by table, without secrets."""
    for table in metadata.sorted_tables:
        condition = belongs_to(table, root, root_id)
        if condition is None:
            continue
        entry = REGISTER[table.name]
        secret = entry.secret if isinstance(entry, Whose) else ()
        columns = [column for column in table.c if column.name not in secret]
        found = session.execute(sa.select(*columns).where(condition).order_by(*table.primary_key.columns))
        yield table.name, [dict(row._mapping) for row in found]


def delete_rows_of(session: Session, root: str, root_id: int) -> None:
    """Delete all that belongs to an account or a tank, and itself; weather with the last tank on it."""
    tank = metadata.tables["tank"]
    rested_on = {
        station
        for row in session.execute(
            sa.select(tank.c.station_id, tank.c.years_station_id).where(tank.c.id == root_id)
        )
        for station in row
        if root == "tank" and station is not None
    }
    for table in reversed(metadata.sorted_tables):
        if isinstance(REGISTER[table.name], Whose):
            condition = belongs_to(table, root, root_id)
            if condition is not None:
                session.execute(sa.delete(table).where(condition))
    needed = {
        station
        for row in session.execute(sa.select(tank.c.station_id, tank.c.years_station_id))
        for station in row
    }
    for table in reversed(metadata.sorted_tables):
        entry = REGISTER[table.name]
        if isinstance(entry, OfItsTanks):
            session.execute(sa.delete(table).where(table.c[entry.column].in_(rested_on - needed)))


def belongs_to(table: sa.Table, root: str, root_id: int) -> sa.ColumnElement[bool] | None:
    """Say which rows of a table belong to an account or a tank; None where none can."""
    if table.name == root:
        return table.c.id == root_id
    entry = REGISTER[table.name]
    if isinstance(entry, OfItsTanks):
        return _rests_on(table.c[entry.column], root_id) if root == "tank" else None
    if isinstance(entry, Nobodys):
        return None
    found = []
    for name in entry.by:
        target = _target(table, name)
        condition = belongs_to(target, root, root_id)
        if condition is not None:
            found.append(table.c[name].in_(sa.select(target.c.id).where(condition)))
    return sa.or_(*found) if found else None


def _rests_on(column: sa.ColumnElement[Any], tank_id: int) -> sa.ColumnElement[bool]:
    tank = metadata.tables["tank"]
    return sa.or_(
        *(
            column.in_(sa.select(tank.c[name]).where(tank.c.id == tank_id))
            for name in ("station_id", "years_station_id")
        )
    )


def _target(table: sa.Table, column: str) -> sa.Table:
    (key,) = table.c[column].foreign_keys
    return key.column.table
