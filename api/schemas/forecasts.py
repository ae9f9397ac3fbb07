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
