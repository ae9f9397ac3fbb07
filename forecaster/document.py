"""A forecast as plain data: whole for keeping, and cut to what may leave a door.

Flow     forecast -> **document** -> store, JSON of every door
"""

from collections.abc import Mapping
from dataclasses import asdict
from datetime import date, datetime
from typing import Any

from forecaster.confidence import (
    Appointment,
    DayOutlook,
    Forecast,
    LastTrusted,
    LitresBand,
    OrderAdvice,
    OrderMoney,
    RunDryDates,
    ToldForecast,
    WithheldForecast,
)
from forecaster.states import Reason, State


def to_document(forecast: Forecast) -> dict[str, Any]:
    """Turn a forecast into plain data for keeping; times and dates as text, nothing rounded.

    A withheld forecast has ``litres``, ``run_dry`` and ``order`` as None and no ``daily``.
    """
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


def public_document(forecast: Forecast) -> dict[str, Any]:
    """Turn a forecast into the plain data that doors give out.

    Of a withheld forecast no date ahead and no quantity leaves: its appointment and the gauge reading
    at which to order are kept, and told only in the words that go with them. Paths go on below nothing, so that
    what is burned can be told from them; the litres of a day ahead that leave do not.
    """
    document = to_document(forecast)
    del document["order_below_l"]
    document["daily"] = [
        {name: value if isinstance(value, str) else max(value, 0.0) for name, value in day.items()}
        for day in document["daily"]
    ]
    if isinstance(forecast, WithheldForecast):
        document["appointment"] = None
    return document


def from_document(document: Mapping[str, Any]) -> Forecast:
    """Turn kept plain data back into the forecast it came from."""
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
            **{
                **order,
                "earliest": _date(order["earliest"]),
                "latest": _date(order["latest"]),
                "money": _money(order.get("money")),
            }
        ),
        daily=tuple(
            DayOutlook(**{**day, "date": date.fromisoformat(day["date"])}) for day in document["daily"]
        ),
    )


def _money(kept: Mapping[str, Any] | None) -> OrderMoney | None:
    if kept is None:
        return None
    dates = {"quoted": date.fromisoformat(kept["quoted"]), "safe_until": _date(kept["safe_until"])}
    return OrderMoney(**{**kept, **dates})


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
