"""Daily weather, long records and outlooks, by station.

A weather service corrects its own past, so a day given again replaces the old one; readings never do.

Flow     use cases -> **weather** -> tables
"""

from datetime import date, datetime
from typing import Any

import numpy as np
import sqlalchemy as sa
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.orm import Session

from api.store import tables
from forecaster.weather import Outlook, Weather
from forecaster.weather.series import Kind

CHUNK = 1_000
"""Days stored by one statement. [rows]"""


def save_station(session: Session, *, name: str, kind: str) -> int:
    """Find or make a station by its name; its row.

    Parameters
    ----------
    kind
        How its daily temperature is formed, ``mean`` or ``midrange``.

    Raises
    ------
    ValueError
        When the station is there with the other kind: the two are never mixed.
    """
    station = tables.station.c
    row = session.execute(sa.select(station.id, station.kind).where(station.name == name)).one_or_none()
    if row is None:
        made = session.execute(sa.insert(tables.station).values(name=name, kind=kind))
        return int(made.inserted_primary_key[0])  # type: ignore[attr-defined]
    if row.kind != kind:
        raise ValueError(f"this station's temperatures are {row.kind}, not {kind}")
    return int(row.id)


def save_weather(session: Session, station_id: int, weather: Weather) -> None:
    """Store daily weather; a day given again replaces the old one."""
    rows = [
        {
            "station_id": station_id,
            "date": day,
            "temp_c": _number(temp_c),
            "tmin_c": _number(tmin_c),
            "tmax_c": _number(tmax_c),
            "ghi_wh_m2": _number(ghi),
        }
        for day, temp_c, tmin_c, tmax_c, ghi in zip(
            weather.date.astype("datetime64[D]").tolist(),
            weather.temp_c,
            weather.tmin_c,
            weather.tmax_c,
            weather.ghi_wh_m2,
            strict=True,
        )
    ]
    _save(session, tables.weather_day, rows)


def load_weather(session: Session, station_id: int, *, before: date) -> Weather | None:
    """Load a station's daily weather of the days before a civil date; None where there is none.

    Days that are missing between the first and the last are gaps (NaN).
    """
    day = tables.weather_day.c
    kind: Kind | None = session.scalar(
        sa.select(tables.station.c.kind).where(tables.station.c.id == station_id)
    )
    if kind is None:
        return None
    rows = session.execute(
        sa.select(day.date, day.temp_c, day.tmin_c, day.tmax_c, day.ghi_wh_m2)
        .where(day.station_id == station_id, day.date < before)
        .order_by(day.date)
    ).all()
    if not rows:
        return None
    dates = np.array([row.date for row in rows], dtype="datetime64[D]")
    every = np.arange(dates[0], dates[-1] + 1)
    values = np.full((4, every.size), np.nan)
    values[:, (dates - dates[0]).astype(int)] = np.array([row[1:] for row in rows], dtype=float).T
    temp_c, tmin_c, tmax_c, ghi_wh_m2 = values
    return Weather(date=every, temp_c=temp_c, tmin_c=tmin_c, tmax_c=tmax_c, ghi_wh_m2=ghi_wh_m2, kind=kind)


def save_outlook(session: Session, station_id: int, outlook: Outlook) -> None:
    """Store a short-range weather forecast under the instant of its issue."""
    rows = [
        {
            "station_id": station_id,
            "issued_at": outlook.issued_at,
            "date": day,
            "temp_c": float(temp_c),
            "ghi_wh_m2": _number(ghi),
        }
        for day, temp_c, ghi in zip(
            outlook.date.astype("datetime64[D]").tolist(), outlook.temp_c, outlook.ghi_wh_m2, strict=True
        )
    ]
    _save(session, tables.outlook_day, rows)


def load_outlook(session: Session, station_id: int, *, since: datetime, until: datetime) -> Outlook | None:
    """Load the latest outlook issued within a span; None where there is none."""
    day = tables.outlook_day.c
    issued_at = session.scalar(
        sa.select(sa.func.max(day.issued_at, type_=day.issued_at.type)).where(
            day.station_id == station_id, day.issued_at >= since, day.issued_at <= until
        )
    )
    if issued_at is None:
        return None
    rows = session.execute(
        sa.select(day.date, day.temp_c, day.ghi_wh_m2)
        .where(day.station_id == station_id, day.issued_at == issued_at)
        .order_by(day.date)
    ).all()
    dates, temp_c, ghi_wh_m2 = zip(*rows, strict=True)
    return Outlook(
        issued_at=issued_at,
        date=np.array(dates, dtype="datetime64[D]"),
        temp_c=np.array(temp_c, dtype=float),
        ghi_wh_m2=np.array(ghi_wh_m2, dtype=float),
    )


def _save(session: Session, table: sa.Table, rows: list[dict[str, Any]]) -> None:
    insert = sqlite.insert if session.get_bind().dialect.name == "sqlite" else postgresql.insert
    statement = insert(table)
    key = [column.name for column in table.primary_key]
    values = {c.name: statement.excluded[c.name] for c in table.columns if c.name not in key}
    for start in range(0, len(rows), CHUNK):
        session.execute(
            statement.on_conflict_do_update(index_elements=key, set_=values), rows[start : start + CHUNK]
        )


def _number(value: float) -> float | None:
    return None if np.isnan(value) else float(value)
