"""The answer in one flat object, for whatever shows it: a home hub, a display in the kitchen.

Where the forecast is withheld, or too old to be told, every number and date is null and only the
sentence says what is known.

Flow     forecast -> **flat answer** -> HTTP, MQTT
"""

from datetime import datetime, timedelta
from typing import Any

from api.reminders.known import OLD
from api.store import Session
from api.store.forecasts import load_forecast
from api.store.tanks import StoredTank
from api.usecases.order_settings import settings_of_tank
from forecaster.civil import civil_date, zone_of
from forecaster.confidence import Forecast, ToldForecast
from forecaster.phrases import moment_text
from forecaster.reorder import OrderSettings
from forecaster.states import State
from forecaster.wording import answer


def flat_answer(
    forecast: Forecast | None, tank: StoredTank, *, now: datetime, settings: OrderSettings
) -> dict[str, Any]:
    """Say a tank's answer as one flat object.

    Parameters
    ----------
    forecast
        The newest that is kept; None where there is none yet.
    settings
        Lead time and risk that it was made with.
    """
    zone = zone_of(tank.zone)
    is_fresh = forecast is not None and now - forecast.as_of <= OLD
    told = forecast if isinstance(forecast, ToldForecast) and is_fresh else None
    if forecast is None:
        sentence = "No forecast has been made yet."
    elif is_fresh:
        sentence = answer(forecast, zone=zone, settings=settings).sentence
    else:
        at = moment_text(forecast.as_of, zone, today=civil_date(now, zone))
        sentence = (
            f"Our forecast could not be renewed since {at}, so it is not told any more. Read the gauge."
        )
    order, dry = (told.order, told.run_dry) if told else (None, None)
    return {
        "tank": tank.public_id,
        "name": tank.name,
        "as_of": forecast.as_of.isoformat() if forecast else None,
        "valid_until": (forecast.as_of + OLD).isoformat() if forecast else None,
        "state": (forecast.state if forecast and is_fresh else State.STALE).name,
        "sentence": sentence,
        "litres": round(told.litres.p50) if told else None,
        "litres_low": round(told.litres.p10) if told else None,
        "litres_high": round(told.litres.p90) if told else None,
        "order_note": order.note if order else None,
        "order_from": _day(order.earliest) if order else None,
        "order_by": _day(order.latest) if order else None,
        "order_litres": order.litres if order else None,
        "stops_1_in_10": _day(dry.p10) if dry else None,
        "stops_1_in_2": _day(dry.p50) if dry else None,
    }


def answer_of(session: Session, tank: StoredTank, *, now: datetime) -> dict[str, Any]:
    """Say the answer of the newest forecast that is kept; nothing is made anew for it."""
    kept = load_forecast(session, tank.id, as_of=now + timedelta(seconds=1))
    settings = settings_of_tank(session, tank.id, today=civil_date(now, zone_of(tank.zone)))
    return flat_answer(kept.forecast if kept else None, tank, now=now, settings=settings)


def _day(day: Any) -> str | None:
    return day.isoformat() if day is not None else None
