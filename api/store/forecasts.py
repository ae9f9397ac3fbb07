"""Forecasts as they were made, and the one JSON form in which they are kept and given out.

A withheld forecast has the members ``litres``, ``run_dry`` and ``order`` as null and ``daily`` empty:
it carries no number to leak.

Flow     use cases -> **forecasts** -> tables, doors
"""

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import date, datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from api.store import tables
from forecaster.confidence import (
    Appointment,
    DayOutlook,
    Forecast,
    LastTrusted,
    LitresBand,
    OrderAdvice,
    Reason,
    RunDryDates,
    State,
    ToldForecast,
    WithheldForecast,
)


@dataclass(frozen=True, slots=True)
class StoredForecast:
    """A forecast, when it was made, and on which state of the tank's data."""

    forecast: Forecast
    made_at: datetime
    tank_revision: int


def to_document(forecast: Forecast) -> dict[str, Any]:
    """Turn a forecast into its JSON form; times and dates as text, nothing rounded."""
    told = forecast if isinstance(forecast, ToldForecast) else None
    document = {
        "as_of": forecast.as_of,
        "state": forecast.state.name,
        "reasons": [{"code": r.code, "state": r.state.name, "text": r.text} for r in forecast.reasons],
        "horizon_days": forecast.horizon_days,
        "litres": asdict(told.litres) if told else None,
        "run_dry": asdict(told.run_dry) if told else None,
        "order": asdict(told.order) if told else None,
        "daily": [asdict(day) for day in told.daily] if told else [],
        "last_trusted": asdict(forecast.last_trusted) if forecast.last_trusted else None,
        "appointment": asdict(forecast.appointment) if forecast.appointment else None,
        "order_below_l": None if isinstance(forecast, ToldForecast) else forecast.order_below_l,
    }
    plain: dict[str, Any] = _plain(document)
    return plain


def from_document(document: Mapping[str, Any]) -> Forecast:
    """Turn the JSON form back into the forecast it came from."""
    last, appointment = document["last_trusted"], document["appointment"]
    common: dict[str, Any] = {
        "as_of": datetime.fromisoformat(document["as_of"]),
        "state": State[document["state"]],
        "reasons": tuple(Reason(r["code"], State[r["state"]], r["text"]) for r in document["reasons"]),
        "horizon_days": document["horizon_days"],
        "last_trusted": LastTrusted(datetime.fromisoformat(last["at"]), last["litres"]) if last else None,
        "appointment": Appointment(
            date.fromisoformat(appointment["order_by"]), datetime.fromisoformat(appointment["told_at"])
        )
        if appointment
        else None,
    }
    if document["litres"] is None:
        return WithheldForecast(**common, order_below_l=document["order_below_l"])
    order = document["order"]
    return ToldForecast(
        **common,
        litres=LitresBand(**document["litres"]),
        run_dry=RunDryDates(**{name: _date(text) for name, text in document["run_dry"].items()}),
        order=OrderAdvice(
            **{**order, "earliest": _date(order["earliest"]), "latest": _date(order["latest"])}
        ),
        daily=tuple(
            DayOutlook(**{**day, "date": date.fromisoformat(day["date"])}) for day in document["daily"]
        ),
    )


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


def _date(text: str | None) -> date | None:
    return None if text is None else date.fromisoformat(text)


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {name: _plain(member) for name, member in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(member) for member in value]
    if isinstance(value, datetime):
        return value.isoformat().replace("+00:00", "Z")
    if isinstance(value, date):
        return value.isoformat()
    return value
