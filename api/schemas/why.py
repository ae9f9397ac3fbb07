"""Why this date, as JSON.

Flow     explanation -> **answer**
"""

from datetime import date, datetime
from typing import Any, Literal, cast

from pydantic import BaseModel, Field

from api.usecases.why import Aside, Explanation, Rate, Span
from forecaster.account import Entry, Figure

Ground = Literal["measured", "survey"]
StateName = Literal["OK", "WIDE", "CHECK", "STALE", "BLIND", "URGENT"]


class FigureOut(BaseModel):
    """A mean, and the ends of the interval that holds the truth eight times in ten."""

    mean: float
    low: float
    high: float


class MonthOut(BaseModel):
    """One month, or all of them: litres at 15 C. Burned = hot_water + heating; opening + delivered + unexplained - burned = closing."""  # noqa: E501 - one sentence

    first: date
    last: date
    burned: FigureOut
    hot_water: FigureOut = Field(description="with all else that does not follow the weather")
    heating: FigureOut
    sun: FigureOut = Field(description="spared by sun through windows")
    panels: FigureOut = Field(description="spared by panels heating the water")
    wood: FigureOut = Field(description="spared by the stove")
    opening: FigureOut
    delivered: float
    unexplained: FigureOut
    closing: FigureOut
    co2_kg: FigureOut | None = Field(description="null for a blend, of which no factor is published")


class AsideOut(BaseModel):
    """One reading that was not reckoned with."""

    at: datetime = Field(description="cut to its day for whoever is not an owner")
    quantity: Literal["ullage_mm", "dip_mm", "litres", "fraction"]
    value: float | None
    reason: str


class ReasonCountOut(BaseModel):
    """How many readings were set aside for one reason."""

    reason: str
    count: int


class ReadingsUsedOut(BaseModel):
    """What became of the readings."""

    known: int
    used: int
    at_least: int = Field(description="of those used, how many say only “at least so much”")
    first: datetime | None
    last: datetime | None
    set_aside: list[ReasonCountOut]
    newest_set_aside: list[AsideOut] = Field(description="at most 200, the newest first")


class SpanOut(BaseModel):
    """Civil days, both within."""

    first: date
    last: date
    days: int


class WeatherUsedOut(BaseModel):
    """Which days were observed, which assumed, which are forecast, which are drawn from weather years."""

    source: str | None = Field(
        description="whose observations they are and how old; null where they came by file"
    )
    observed: SpanOut | None
    assumed: list[SpanOut]
    forecast: SpanOut | None
    forecast_issued_at: datetime | None
    weather_years: SpanOut | None
    weather_years_from: str = Field(description="name of the normals; empty for a long record of the place")


class RateOut(BaseModel):
    """One rate of the house: by the survey, and as it stands now; `ground` says whether readings told it."""

    name: Literal["steady_l_per_day", "cold_l_per_kday", "wood_l_per_kwh"]
    survey: FigureOut
    now: FigureOut
    ground: Ground


class WhyOut(BaseModel):
    """What an answer was made from. Where the forecast is withheld, `months` and `rates` are empty, `total` is null."""

    as_of: datetime
    state: StateName
    readings: ReadingsUsedOut
    weather: WeatherUsedOut
    months: list[MonthOut]
    total: MonthOut | None
    grounds: dict[str, Ground] = Field(description="for each part of the account, what tells it")
    rates: list[RateOut]
    rests_on: list[str]


MOST_ASIDE = 200


def why_out(seen: Explanation, *, to_the_minute: bool) -> WhyOut:
    """Write an explanation.

    Parameters
    ----------
    seen
        As the page shows it.
    to_the_minute
        Whether the reader may know when in a day something was read.
    """
    read, weather, account = seen.readings, seen.weather, seen.account
    return WhyOut(
        as_of=seen.forecast.as_of,
        state=cast(StateName, seen.forecast.state.name),
        readings=ReadingsUsedOut(
            known=read.known, used=read.used, at_least=read.at_least,
            first=_at(read.first, to_the_minute), last=_at(read.last, to_the_minute),
            set_aside=[ReasonCountOut(reason=reason, count=count) for reason, count in read.by_reason],
            newest_set_aside=[_aside(one, to_the_minute) for one in read.aside[:MOST_ASIDE]],
        ),
        weather=WeatherUsedOut(
            source=weather.source, observed=_span(weather.observed),
            assumed=[SpanOut(**_plain(span)) for span in weather.assumed],
            forecast=_span(weather.outlook), forecast_issued_at=weather.issued_at,
            weather_years=_span(weather.years), weather_years_from=weather.years_from,
        ),
        months=[_month(month) for month in account.months] if account else [],
        total=_month(account.total) if account and account.total else None,
        grounds=dict(account.grounds) if account else {},
        rates=[_rate(rate) for rate in seen.rates],
        rests_on=list(seen.rests_on),
    )  # fmt: skip


def _at(at: datetime | None, to_the_minute: bool) -> datetime | None:
    if at is None or to_the_minute:
        return at
    return at.replace(hour=0, minute=0, second=0, microsecond=0)


def _aside(one: Aside, to_the_minute: bool) -> AsideOut:
    at = _at(one.at, to_the_minute)
    return AsideOut.model_validate(
        {"at": at, "quantity": one.quantity, "value": one.value, "reason": one.reason}
    )


def _plain(span: Span) -> dict[str, Any]:
    return {"first": span.first, "last": span.last, "days": span.days}


def _span(span: Span | None) -> SpanOut | None:
    return SpanOut(**_plain(span)) if span is not None else None


def _month(entry: Entry) -> MonthOut:
    values = {name: getattr(entry, name) for name in MonthOut.model_fields}
    return MonthOut.model_validate({k: _figure(v) if isinstance(v, Figure) else v for k, v in values.items()})


def _figure(figure: Figure) -> FigureOut:
    return FigureOut(mean=figure.mean, low=figure.low, high=figure.high)


def _rate(rate: Rate) -> RateOut:
    survey, now = (FigureOut(mean=m, low=low, high=high) for m, low, high in (rate.survey, rate.now))
    return RateOut(name=rate.name, survey=survey, now=now, ground="measured" if rate.measured else "survey")
