"""Which stations' weather comes over the network: from where, when last, and when to ask again.

Flow     fetch_weather -> **weather sources** -> tables
"""

from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.orm import Session

from api.ports import Place
from api.store import tables

source = tables.doors.weather_source


@dataclass(frozen=True, slots=True)
class WeatherSource:
    """A station's source and its state.

    Attributes
    ----------
    fetched_at, tried_at
        When weather last came, and when it was last asked for; None where never.
    next_at
        Not to be asked for before; None where at once.
    failures
        Tries in a row that brought nothing.
    trouble
        Why the last try brought nothing; None where it did.
    """

    station_id: int
    place: Place
    fetched_at: datetime | None
    tried_at: datetime | None
    next_at: datetime | None
    failures: int
    trouble: str | None


def add_source(session: Session, station_id: int, place: Place) -> None:
    """Say where a station's weather is asked for; once said it stays."""
    known = session.scalar(sa.select(source.c.station_id).where(source.c.station_id == station_id))
    if known is None:
        session.execute(
            sa.insert(source).values(
                station_id=station_id,
                latitude=place.latitude,
                longitude=place.longitude,
                zone=place.zone,
                failures=0,
            )
        )


def load_source(session: Session, station_id: int) -> WeatherSource | None:
    """Find a station's source; None where its weather comes from files."""
    row = session.execute(sa.select(source).where(source.c.station_id == station_id)).one_or_none()
    if row is None:
        return None
    return WeatherSource(
        row.station_id,
        Place(row.latitude, row.longitude, row.zone),
        row.fetched_at,
        row.tried_at,
        row.next_at,
        row.failures,
        row.trouble,
    )


def note_weather(session: Session, station_id: int, *, at: datetime, next_at: datetime) -> None:
    """Note that weather came."""
    _note(session, station_id, fetched_at=at, tried_at=at, next_at=next_at, failures=0, trouble=None)


def note_trouble(
    session: Session, station_id: int, *, at: datetime, next_at: datetime, failures: int, trouble: str
) -> None:
    """Note that none came, why, and when to ask again."""
    _note(session, station_id, tried_at=at, next_at=next_at, failures=failures, trouble=trouble)


def forget_outlooks(session: Session, station_id: int, *, before: datetime) -> None:
    """Drop a station's outlooks issued before an instant: they forecast nothing any more."""
    day = tables.outlook_day.c
    session.execute(sa.delete(tables.outlook_day).where(day.station_id == station_id, day.issued_at < before))


def _note(session: Session, station_id: int, **values: object) -> None:
    session.execute(sa.update(source).where(source.c.station_id == station_id).values(**values))
