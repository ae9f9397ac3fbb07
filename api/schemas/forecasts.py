"""A forecast as it is answered: the form in which it is kept, described for those who read it.

Flow     forecast -> **answer**
"""

from datetime import date, datetime
from typing import Any, Literal

from pydantic import BaseModel, Field

from forecaster.confidence import Forecast
from forecaster.document import public_document


class ReasonOut(BaseModel):
    """Why a forecast is in its state."""

    code: str
    state: str
    text: str


class LitresOut(BaseModel):
    """Bulk litres in the tank at the as-of instant, heel included. [L]"""

    p10: float
    p50: float
    p90: float


class RunDryOut(BaseModel):
    """First dates by which the heel is reached with that chance (%); null: not within the horizon."""

    p02: date | None
    p05: date | None
    p10: date | None
    p50: date | None
    p90: date | None
    p95: date | None


class OrderMoneyOut(BaseModel):
    """What an order costs, in the money of its quotes; null members where the budget reaches no delivery."""

    quoted: date
    price_per_l: float | None
    cost: float | None
    budget: float | None
    limited_by_budget: bool
    smallest_l: float
    smallest_cost: float
    drift_per_month: float
    safe_until: date | None
    waiting_cost: float | None


class OrderOut(BaseModel):
    """Between which dates to order (not: to have it delivered), and how many litres. [L]"""

    earliest: date | None
    latest: date | None
    litres: float | None
    note: str
    text: str
    money: OrderMoneyOut | None = Field(default=None, description="null where no prices were given")


class DayOut(BaseModel):
    """One civil day's end: litres if nothing is delivered, and the chance of being dry. [L]"""

    date: date
    p10: float
    p50: float
    p90: float
    p_dry: float
    p025: float
    p25: float
    p75: float
    p975: float


class LastTrustedOut(BaseModel):
    """The last level that was believed. [L]"""

    at: datetime
    litres: float


class AppointmentOut(BaseModel):
    """The order date promised by the last told forecast."""

    order_by: date
    told_at: datetime


class ForecastOut(BaseModel):
    """A forecast. In any state but OK and WIDE its numbers are withheld: null, and no days."""

    as_of: datetime
    state: Literal["OK", "WIDE", "CHECK", "STALE", "BLIND", "URGENT"]
    reasons: list[ReasonOut]
    horizon_days: int
    litres: LitresOut | None
    run_dry: RunDryOut | None
    order: OrderOut | None
    daily: list[DayOut] = Field(description="empty where numbers are withheld")
    last_trusted: LastTrustedOut | None
    appointment: AppointmentOut | None


def forecast_json(forecast: Forecast) -> dict[str, Any]:
    """Turn a forecast into the JSON object that every door gives out."""
    return public_document(forecast)


COARSE_L = 10.0
"""To so much litres are rounded for whoever is not of the household. [L]"""


def coarse_forecast_json(forecast: Forecast) -> dict[str, Any]:
    """Turn a forecast into what a distributor may see: enough to plan a round, too little to see a home empty.

    Litres are rounded to ten, instants cut to their day; why a forecast is in its state, what it was
    promised before, and what the household pays is left out.
    """
    document = forecast_json(forecast)
    document["as_of"] = _day_of(document["as_of"])
    document["reasons"] = []
    document["appointment"] = None
    if document["litres"] is not None:
        document["litres"] = {name: _coarse(litres) for name, litres in document["litres"].items()}
    if document["last_trusted"] is not None:
        last = document["last_trusted"]
        document["last_trusted"] = {"at": _day_of(last["at"]), "litres": _coarse(last["litres"])}
    if document["order"] is not None:
        document["order"] = {**document["order"], "money": None, "note": "", "text": ""}
    document["daily"] = [
        {name: _coarse(value) if name in _LITRES_OF_A_DAY else value for name, value in day.items()}
        for day in document["daily"]
    ]
    return document


_LITRES_OF_A_DAY = frozenset(DayOut.model_fields) - {"date", "p_dry"}


def _coarse(litres: float) -> float:
    return COARSE_L * round(litres / COARSE_L)


def _day_of(instant: str) -> str:
    return f"{instant[:10]}T00:00:00Z"
