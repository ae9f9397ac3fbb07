"""Tanks, the versions of their description, their sensors, and the texts about their house.

Flow     tables -> **tanks** -> use cases
"""

import re
import secrets
from dataclasses import dataclass
from datetime import UTC, datetime
from enum import StrEnum

import sqlalchemy as sa
from sqlalchemy.orm import Session

from api.store import tables

BEGINNING = datetime(2000, 1, 1, tzinfo=UTC)
"""A tank's first description holds from here on, so that old readings can be brought in."""


_PUBLIC_ID = re.compile(r"[A-Za-z0-9_-]{1,64}", re.ASCII)


class NotFoundError(Exception):
    """No such object; said alike whether it never was or is someone else's."""


class SensorKind(StrEnum):
    """What took a reading; each is a sensor of its own in the key of a reading."""

    LEVEL_SENSOR = "level_sensor"
    DIP_STICK = "dip_stick"
    GAUGE = "gauge"


class TextKind(StrEnum):
    """A text about the tank's house, kept in versions."""

    SURVEY = "survey"
    DIARY = "diary"
    STOVE_LOG = "stove_log"


@dataclass(frozen=True, slots=True)
class Sensor:
    """A sensor of a tank: its row, its public name, what it is."""

    id: int
    public_id: str
    kind: SensorKind
    label: str


@dataclass(frozen=True, slots=True)
class StoredTank:
    """A tank's row: who it is and where its civil days begin."""

    id: int
    public_id: str
    name: str
    zone: str
    station_id: int | None
    years_station_id: int | None
    revision: int
    sensors: tuple[Sensor, ...]


@dataclass(frozen=True, slots=True)
class TankVersion:
    """A tank's description and the instant from which it holds."""

    toml: str
    valid_from: datetime
    is_first: bool


def new_public_id() -> str:
    """Draw an id that cannot be guessed: 160 random bits, safe in an address."""
    return secrets.token_urlsafe(20)


def save_tank(session: Session, *, name: str, zone: str, toml: str, created_at: datetime) -> StoredTank:
    """Store a new tank with its first description and one sensor of each kind."""
    public_id = new_public_id()
    row = session.execute(
        sa.insert(tables.tank).values(
            public_id=public_id, name=name, zone=zone, revision=0, created_at=created_at
        )
    )
    tank_id: int = row.inserted_primary_key[0]  # type: ignore[attr-defined]
    save_tank_version(session, tank_id, toml=toml, valid_from=BEGINNING, created_at=created_at)
    session.execute(
        sa.insert(tables.sensor),
        [
            {
                "public_id": new_public_id(),
                "tank_id": tank_id,
                "kind": kind,
                "label": kind,
                "created_at": created_at,
            }
            for kind in SensorKind
        ],
    )
    return load_tank(session, public_id)


def load_tank(session: Session, public_id: str) -> StoredTank:
    """Find a tank by its public id.

    Raises
    ------
    NotFoundError
        When there is none.
    """
    if not _PUBLIC_ID.fullmatch(public_id):
        raise NotFoundError
    row = session.execute(sa.select(tables.tank).where(tables.tank.c.public_id == public_id)).one_or_none()
    if row is None:
        raise NotFoundError
    sensors = session.execute(
        sa.select(tables.sensor).where(tables.sensor.c.tank_id == row.id).order_by(tables.sensor.c.id)
    )
    return StoredTank(
        id=row.id,
        public_id=row.public_id,
        name=row.name,
        zone=row.zone,
        station_id=row.station_id,
        years_station_id=row.years_station_id,
        revision=row.revision,
        sensors=tuple(Sensor(s.id, s.public_id, SensorKind(s.kind), s.label) for s in sensors),
    )


def list_tanks(session: Session) -> tuple[StoredTank, ...]:
    """List every tank, in the order of their coming."""
    ids = session.scalars(sa.select(tables.tank.c.public_id).order_by(tables.tank.c.id)).all()
    return tuple(load_tank(session, public_id) for public_id in ids)


def lock_tank(session: Session, tank_id: int) -> None:
    """Let nobody else change what belongs to a tank until this transaction ends.

    SQLite has one writer at a time anyway.
    """
    session.execute(sa.select(tables.tank.c.id).where(tables.tank.c.id == tank_id).with_for_update())


def mark_changed(session: Session, tank_id: int) -> None:
    """Note that something changed which a forecast of this tank would feel."""
    session.execute(
        sa.update(tables.tank).where(tables.tank.c.id == tank_id).values(revision=tables.tank.c.revision + 1)
    )


def use_stations(
    session: Session, tank_id: int, *, station_id: int | None = None, years_station_id: int | None = None
) -> None:
    """Say which station's weather, and which long record, a tank's forecasts rest on."""
    changed = {
        name: value
        for name, value in (("station_id", station_id), ("years_station_id", years_station_id))
        if value is not None
    }
    if changed:
        session.execute(sa.update(tables.tank).where(tables.tank.c.id == tank_id).values(**changed))
        mark_changed(session, tank_id)


def save_tank_version(
    session: Session, tank_id: int, *, toml: str, valid_from: datetime, created_at: datetime
) -> None:
    """Store a changed description from an instant on; what was before it stays as it was."""
    session.execute(
        sa.insert(tables.tank_version).values(
            tank_id=tank_id, valid_from=valid_from, toml=toml, created_at=created_at
        )
    )
    mark_changed(session, tank_id)


def correct_tank_version(session: Session, tank_id: int, *, toml: str, valid_from: datetime) -> None:
    """Put a mistake in a description right, as if it had been told so at first."""
    version = tables.tank_version
    session.execute(
        sa.update(version)
        .where(version.c.tank_id == tank_id, version.c.valid_from == valid_from)
        .values(toml=toml)
    )
    mark_changed(session, tank_id)


def rename_tank(session: Session, tank_id: int, *, name: str, zone: str) -> None:
    """Call a tank otherwise, and let its civil days begin where its zone has it."""
    session.execute(sa.update(tables.tank).where(tables.tank.c.id == tank_id).values(name=name, zone=zone))


def load_tank_version(session: Session, tank_id: int, *, as_of: datetime) -> TankVersion:
    """Find the description that holds at an instant.

    Raises
    ------
    NotFoundError
        When none holds yet.
    """
    version = tables.tank_version.c
    rows = session.execute(
        sa.select(version.toml, version.valid_from)
        .where(version.tank_id == tank_id, version.valid_from <= as_of)
        .order_by(version.valid_from.desc())
        .limit(2)
    ).all()
    if not rows:
        raise NotFoundError
    return TankVersion(rows[0].toml, rows[0].valid_from, is_first=len(rows) == 1)


def list_tank_versions(session: Session, tank_id: int, *, as_of: datetime) -> tuple[TankVersion, ...]:
    """List the descriptions that held up to an instant, the newest first.

    Raises
    ------
    NotFoundError
        When none holds yet.
    """
    version = tables.tank_version.c
    rows = session.execute(
        sa.select(version.toml, version.valid_from)
        .where(version.tank_id == tank_id, version.valid_from <= as_of)
        .order_by(version.valid_from.desc())
    ).all()
    if not rows:
        raise NotFoundError
    return tuple(TankVersion(row.toml, row.valid_from, is_first=row is rows[-1]) for row in rows)


def save_text(
    session: Session, tank_id: int, kind: TextKind, *, body: str, valid_from: datetime, created_at: datetime
) -> None:
    """Store a survey, diary or stove log as a new version; the same text again is nothing new."""
    if load_text(session, tank_id, kind, as_of=valid_from) == body:
        return
    session.execute(
        sa.delete(tables.tank_text).where(
            tables.tank_text.c.tank_id == tank_id,
            tables.tank_text.c.kind == kind,
            tables.tank_text.c.valid_from == valid_from,
        )
    )
    session.execute(
        sa.insert(tables.tank_text).values(
            tank_id=tank_id, kind=kind, valid_from=valid_from, body=body, created_at=created_at
        )
    )
    mark_changed(session, tank_id)


def load_text(session: Session, tank_id: int, kind: TextKind, *, as_of: datetime) -> str | None:
    """Find the survey, diary or stove log that holds at an instant; None where there is none."""
    text = tables.tank_text.c
    return session.scalar(
        sa.select(text.body)
        .where(text.tank_id == tank_id, text.kind == kind, text.valid_from <= as_of)
        .order_by(text.valid_from.desc())
        .limit(1)
    )
