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
            cautions = (ESTIMATE,) if forecast.order.litres is None else (ESTIMATE, ROOM_TO_EXPAND)
        case WithheldForecast():
            sentence = _withheld(forecast, zone=zone)
            cautions = (NOT_AN_ALARM,) if forecast.state is State.URGENT else (ESTIMATE,)
    return Answer(sentence, reasons, cautions)


def winters_between_run_outs(settings: OrderSettings, *, cycles_a_winter: float) -> float:
    """How many winters pass between run-outs, at the accepted risk of each order cycle.

    Examples
    --------
    >>> winters_between_run_outs(OrderSettings(risk=0.005), cycles_a_winter=2.0)
    100.0
    """
    return 1.0 / (settings.risk * cycles_a_winter)


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
    if due:
        parts.append(
            "We cannot see the tank and the day we gave for ordering is near: read the gauge today, and "
            "order unless it shows plenty."
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
