"""The answer in words: the same sentence on the page, in the command and in every message.

It takes a forecast and nothing else that could disagree with it: every litre, date and chance in a
sentence is one of the forecast's own. A withheld forecast has no dates ahead, so none can be said.

Flow     forecast -> **words** -> doors
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from zoneinfo import ZoneInfo

from forecaster.civil import civil_date
from forecaster.confidence import Forecast, OrderAdvice, State, ToldForecast, WithheldForecast
from forecaster.phrases import chance_text, day_text, litres_text, moment_text, span_text
from forecaster.reorder import OrderSettings

SD_PER_BAND = 2.563
"""Width of a normal's 10 to 90 % band in standard deviations. [-]"""
ORDER_BELOW_STEP_L = 20.0
"""The gauge reading at which to order is told in steps of that. [L]"""
HALF_YEAR_D = 182
NEAR_DAYS = 14
"""An appointment that close is said to be near when the tank cannot be seen. [d]"""

ESTIMATE = (
    "This is an estimate from a sensor and the weather, not a measurement. Read the gauge, or dip the "
    "tank at its dip point, before you order and before you rely on it."
)
"""Stands beside every forecast. Common practice, no source."""
NOT_AN_ALARM = (
    "This is not a leak detector, not an overfill alarm and not a safety device; that nothing is "
    "reported does not mean that nothing is wrong."
)
"""Stands with every possible loss. Common practice, no source."""
ROOM_TO_EXPAND = (
    "The driver decides at the tank what is safe to fill: oil needs room to expand. Do not order more "
    "than the tank can safely take."
)
"""Stands with every quantity. UK government advice: do not order more oil than you can safely store."""


@dataclass(frozen=True, slots=True)
class Answer:
    """What a person is told, in reading order.

    ``sentence`` the answer itself; ``reasons`` why it is wide or withheld, a sentence each;
    ``cautions`` those that belong beside this answer.
    """

    sentence: str
    reasons: tuple[str, ...]
    cautions: tuple[str, ...]

    @property
    def text(self) -> str:
        """All of it, a line each."""
        return "\n".join((self.sentence, *self.reasons, *self.cautions))


def answer(forecast: Forecast, *, zone: ZoneInfo, settings: OrderSettings) -> Answer:
    """Say a forecast.

    Parameters
    ----------
    forecast : ToldForecast or WithheldForecast
    zone : ZoneInfo
        Of the tank.
    settings : OrderSettings
        Lead time and risk that the order advice was made with.
    """
    reasons = tuple(r.text for r in forecast.reasons if r.text)
    match forecast:
        case ToldForecast():
            sentence = _told(forecast, zone=zone, settings=settings)
            risk = risk_text(forecast, settings)
            reasons = (*reasons, risk) if risk is not None else reasons
            cautions = (ESTIMATE,) if forecast.order.litres is None else (ESTIMATE, ROOM_TO_EXPAND)
        case WithheldForecast():
            sentence = _withheld(forecast, zone=zone)
            cautions = (NOT_AN_ALARM,) if forecast.state is State.URGENT else (ESTIMATE,)
    return Answer(sentence, reasons, cautions)


def risk_text(forecast: ToldForecast, settings: OrderSettings) -> str | None:
    """Say how seldom the tank runs dry when orders are placed in the window; None without a quantity.

    The risk is accepted once in each order cycle; a winter has as many cycles as the half-year ahead
    burns such orders.
    """
    litres = forecast.order.litres
    if litres is None or len(forecast.daily) <= HALF_YEAR_D:
        return None
    burned = forecast.litres.p50 - forecast.daily[HALF_YEAR_D].p50
    cycles = max(burned / litres, 1.0)
    winters = int(1.0 / (settings.risk * cycles))
    return f"Ordered by then every time, the tank runs dry less often than one winter in {winters:,}."


def _told(forecast: ToldForecast, *, zone: ZoneInfo, settings: OrderSettings) -> str:
    today = civil_date(forecast.as_of, zone)
    band = forecast.litres
    sd = max((band.p90 - band.p10) / SD_PER_BAND, 1.0)
    parts = [
        f"About {litres_text(band.p50, sd=sd)} are left ({_range(band.p10, band.p90, sd)}).",
        _order(forecast.order, settings=settings, today=today),
        _run_dry(forecast, today),
    ]
    if forecast.last_trusted is not None:
        at = moment_text(forecast.last_trusted.at, zone, today=today)
        parts.append(f"Last level of {at}.")
    return " ".join(p for p in parts if p)


def _range(low: float, high: float, sd: float) -> str:
    return f"{litres_text(low, sd=sd).removesuffix(' litres')} to {litres_text(high, sd=sd)}"


def _order(order: OrderAdvice, *, settings: OrderSettings, today: date) -> str:
    low, high = settings.lead_days
    lead = f"{low}" if low == high else f"{low} to {high}"
    takes = f"delivery takes {lead} working days"
    match order.note:
        case "order_today":
            return f"{order.text.removesuffix('.')}; {takes}."
        case "window" if order.earliest is not None and order.latest is not None:
            days = span_text(max(order.earliest, today), order.latest)
            on = "on" if max(order.earliest, today) == order.latest else "any day from"
            return f"{order.text.removesuffix('.')} {on} {days}; {takes}."
        case _:
            return order.text


def _run_dry(forecast: ToldForecast, today: date) -> str:
    first, even = forecast.run_dry.p10, forecast.run_dry.p50
    if first is None:
        return (
            f"If nothing is ordered, there is less than {chance_text(0.1).replace('1 in', '1 chance in')} "
            f"that the boiler stops within {forecast.horizon_days} days."
        )
    said = f"If nothing is ordered, there is 1 chance in 10 that the boiler stops by {_day(first, today)}"
    return f"{said} and 1 in 2 by {_day(even, today)}." if even is not None else f"{said}."


def _day(day: date, today: date) -> str:
    return day_text(day, year=day.year != today.year)


def _withheld(forecast: WithheldForecast, *, zone: ZoneInfo) -> str:
    today = civil_date(forecast.as_of, zone)
    parts = [_lead(forecast.state)]
    if forecast.last_trusted is not None:
        at = moment_text(forecast.last_trusted.at, zone)
        parts.append(
            f"The last level we trust is about {litres_text(forecast.last_trusted.litres, sd=8.0)}, of {at}."
        )
    due = forecast.appointment is not None and (forecast.appointment.order_by - today).days <= NEAR_DAYS
    if due and forecast.order_below_l is not None:
        below = litres_text(forecast.order_below_l, sd=ORDER_BELOW_STEP_L)
        parts.append(
            "We cannot see the tank and the date we gave is near: read the gauge today, and order if it is "
            f"below {below}."
        )
    else:
        parts.append("Read the gauge, or dip the tank at a dip point that you can reach from the ground.")
    return " ".join(parts)


def _lead(state: State) -> str:
    match state:
        case State.URGENT:
            return "Please look at the tank now."
        case State.BLIND:
            return "No level of this tank has been seen yet, so nothing can be said about the oil in it."
        case State.STALE:
            return "We have not seen the tank for too long to give a date."
        case _:
            return "What we see does not fit together, so we give no date."


def list_text(items: Sequence[str]) -> str:
    """Join items as in a sentence.

    Examples
    --------
    >>> list_text(["oil", "sun", "wood"])
    'oil, sun and wood'
    """
    return items[0] if len(items) == 1 else ", ".join(items[:-1]) + " and " + items[-1]
