"""Forecasts as they were made.

Flow     use cases -> **forecasts** -> tables, doors
"""

import json
from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.orm import Session

from api.store import tables
from forecaster.confidence import Forecast
from forecaster.document import from_document, to_document
from forecaster.states import State


@dataclass(frozen=True, slots=True)
class StoredForecast:
    """A forecast, when it was made, and on which state of the tank's data."""

    forecast: Forecast
    made_at: datetime
    tank_revision: int


def save_forecast(session: Session, tank_id: int, stored: StoredForecast) -> None:
    """Keep a forecast, with the appointment that stands after it."""
    forecast = stored.forecast
    appointment = forecast.appointment
    session.execute(
        sa.insert(tables.forecast).values(
            tank_id=tank_id,
            as_of=forecast.as_of,
            made_at=stored.made_at,
            tank_revision=stored.tank_revision,
            state=forecast.state.name,
            order_by=appointment.order_by if appointment else None,
            told_at=appointment.told_at if appointment else None,
            body=json.dumps(to_document(forecast), allow_nan=False, separators=(",", ":")),
        )
    )


def load_forecast(session: Session, tank_id: int, *, as_of: datetime) -> StoredForecast | None:
    """Load the newest forecast that is not later than an instant; None where there is none."""
    row = session.execute(
        sa.select(tables.forecast)
        .where(tables.forecast.c.tank_id == tank_id, tables.forecast.c.as_of <= as_of)
        .order_by(tables.forecast.c.as_of.desc(), tables.forecast.c.id.desc())
        .limit(1)
    ).one_or_none()
    if row is None:
        return None
    return StoredForecast(from_document(json.loads(row.body)), row.made_at, row.tank_revision)


def last_told_at(session: Session, tank_id: int) -> datetime | None:
    """Find the as-of instant of the newest forecast that was told; None where none ever was."""
    forecast = tables.forecast
    told = [state.name for state in State if state.is_told]
    at: datetime | None = session.scalar(
        sa.select(sa.func.max(forecast.c.as_of)).where(
            forecast.c.tank_id == tank_id, forecast.c.state.in_(told)
        )
    )
    return at
